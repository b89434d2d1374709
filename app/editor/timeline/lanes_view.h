// Lanes of the timeline: repairs as spans with their eases, keys as pins that can be dragged to another frame.
#pragma once

#include "app/editor/timeline/track_view.h"

namespace understudy::editor {

class LanesView : public TrackView {
  Q_OBJECT
 public:
  LanesView(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

  static constexpr int laneHeight = 25;
  /// Top of a lane: 0 repairs, 1 keys.
  [[nodiscard]] static int laneTop(int lane) { return rulerHeight + 8 + lane * laneHeight; }
  /// Where the pin of a repair is drawn.
  [[nodiscard]] QPointF pinOf(int repair) const;

 protected:
  void paintEvent(QPaintEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  bool event(QEvent* event) override;

 private:
  [[nodiscard]] int repairAt(QPointF point) const;
  int dragged_ = -1;
};

}  // namespace understudy::editor
