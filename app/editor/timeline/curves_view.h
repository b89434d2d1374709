// The selected bone's rotation over time: three angles, before the repairs (dashed) and after.
#pragma once

#include <array>
#include <vector>

#include "app/editor/timeline/track_view.h"

namespace understudy::editor {

/// Angles about X, Y and Z in degrees, unrolled over time, of a joint's rotation relative to its rest pose
/// (q = Rx · Ry · Rz in the joint's own frame).
[[nodiscard]] std::array<std::vector<double>, 3> rotationCurves(const Skeleton& skeleton, const TiledMotion& motion, int joint);

class CurvesView : public TrackView {
  Q_OBJECT
 public:
  CurvesView(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

 protected:
  void paintEvent(QPaintEvent* event) override;
  void showEvent(QShowEvent* event) override;

 private:
  void refresh();
  std::array<std::vector<double>, 3> before_, after_;
  double low_ = -10, high_ = 10;
};

}  // namespace understudy::editor
