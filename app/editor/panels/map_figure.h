// The bone map as limbs over the character's own skin: sure ones plain, doubtful ones notched with a question mark, missing ones a gap.
#pragma once

#include <QImage>
#include <QWidget>
#include <algorithm>

#include "app/editor/document/document.h"
#include "app/editor/document/job_lane.h"
#include "app/editor/document/mapping.h"
#include "app/editor/document/session.h"

namespace understudy::editor {

/// A role's limb in the picture, and how sure the map is of it.
struct MapLimb {
  Role role = Role::hips;
  RowState state = RowState::unused;
  Vec3d from, to;  ///< world metres in the reference pose; of a missing role the ends of the gap
};
/// Limbs of all roles that are mapped, and of required ones that are not, from the hips outwards.
[[nodiscard]] std::vector<MapLimb> mapLimbs(const Document& document);

class MapFigure : public QWidget {
  Q_OBJECT
 public:
  MapFigure(Document& document, Session& session, QWidget* parent = nullptr);
  /// Where a role's limb is drawn; nothing where it is not.
  [[nodiscard]] std::optional<QLineF> lineOf(Role role) const;
  [[nodiscard]] std::optional<QPointF> pointOf(int joint) const;
  [[nodiscard]] std::optional<Role> roleAt(QPointF point) const;
  [[nodiscard]] JobLane& lane() { return lane_; }
  QSize sizeHint() const override { return {250, 250}; }
  QSize minimumSizeHint() const override { return {160, 150}; }

 Q_SIGNALS:
  void drawn();

 protected:
  void paintEvent(QPaintEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;

 private:
  void refresh();
  [[nodiscard]] std::optional<QPointF> picture(const Vec3d& world) const;
  /// Height of the picture; the name of the role stands below it.
  [[nodiscard]] int drawnHeight() const { return std::max(20, height() - 22); }
  [[nodiscard]] int jointAt(QPointF point) const;

  Document& document_;
  Session& session_;
  std::vector<MapLimb> limbs_;
  std::vector<Vec3d> joints_;  ///< of the character, world metres
  Camera camera_;
  QImage skin_;
  std::optional<Role> hovered_;
  std::uint64_t asked_ = 0;
  /// What the picture was drawn of.
  std::shared_ptr<const BoneMap> drawnMap_;
  std::shared_ptr<const RetargetReport> drawnReport_;
  StageFigurePtr drawnStage_;
  JobLane lane_;
};

}  // namespace understudy::editor
