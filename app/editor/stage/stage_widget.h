// The stage: both figures on their ground, seen through a camera the artist moves; bones are selected and turned here.
#pragma once

#include <QImage>
#include <QOpenGLWidget>
#include <QTimer>
#include <memory>
#include <optional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/stage/stage_handles.h"
#include "app/editor/stage/turn_handle.h"
#include "render/stage.h"

namespace understudy::editor {

class StageWidget : public QOpenGLWidget {
  Q_OBJECT
 public:
  StageWidget(Document& document, Session& session, QWidget* parent = nullptr);
  ~StageWidget() override;

  [[nodiscard]] View view() const { return view_; }
  [[nodiscard]] bool showsBones() const { return bones_; }
  [[nodiscard]] bool following() const { return follow_; }
  [[nodiscard]] const Camera& camera() const { return camera_; }
  /// Where a joint is in the window, device-independent pixels of this widget; nothing while it is not shown.
  [[nodiscard]] std::optional<QPointF> pointOf(Bone bone) const;
  /// Where the middle of a bone is: between the joint and its first child.
  [[nodiscard]] std::optional<QPointF> middleOf(Bone bone) const;
  /// Where a place of the repairs' world is in the window.
  [[nodiscard]] std::optional<QPointF> pictureOf(const Vec3d& world) const;
  /// Pictures drawn since the start, and the mean milliseconds of the last ones.
  [[nodiscard]] int pictures() const { return pictures_; }

 public Q_SLOTS:
  void setView(understudy::View view);
  void setBones(bool shown);
  /// The camera goes along with the figures' hips across the ground.
  void setFollowing(bool follow);
  /// Moves the camera so that all figures fit.
  void frameAll();
  void frameSelection();
  void nudgeSelected();

 Q_SIGNALS:
  void viewChanged();
  void drawn();
  void failed(const understudy::Issue& issue);

 protected:
  void initializeGL() override;
  void paintGL() override;
  void resizeEvent(QResizeEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void leaveEvent(QEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;

 private:
  /// What hands hold at the current frame.
  void addProps();
  struct Shown {
    Cast cast = Cast::character;
    Affined placement;
    std::vector<Affined> world;   // file unit and axes
    std::vector<int> lit;
    std::vector<int> feet;
  };
  enum class Drag { none, orbit, pan, turnRing, pullBone, handle };

  void rebuild();
  void place();
  void follow();
  [[nodiscard]] const Shown* shownOf(Cast cast) const;
  [[nodiscard]] std::optional<Vec3d> worldOf(Bone bone) const;
  [[nodiscard]] std::optional<Bone> boneAt(QPointF point, Vec3d* where = nullptr) const;
  [[nodiscard]] std::optional<HandleFrame> handleFrame() const;
  void beginTurn(Drag drag, const HandleFrame& frame, QPointF point, const Vec3d& grabbed);
  void continueTurn(QPointF point, Qt::KeyboardModifiers modifiers);
  void paintOverlay(QPainter& painter);
  void paintHandles(QPainter& painter);
  void paintFindings(QPainter& painter);
  void paintLabel(QPainter& painter, QPointF at, const QString& text, const QColor& bar);
  /// From the repairs' world to where the stage shows the character.
  [[nodiscard]] Vec3d shift() const;
  /// Index into handlesOf() of the handle under a point, −1: none.
  [[nodiscard]] int handleAt(QPointF point) const;
  void refined();

  Document& document_;
  Session& session_;
  std::unique_ptr<StageRenderer> renderer_;
  bool refused_ = false;
  Camera camera_;
  View view_ = View::free;
  bool bones_ = true, moving_ = false, framedOnce_ = false, stale_ = true, follow_ = true;
  std::optional<Vec3d> anchor_;
  std::vector<Shown> shown_;
  std::vector<Affined> propJoint_;
  Scene scene_;
  Drag drag_ = Drag::none;
  TurnDrag turn_;
  std::optional<HandleDrag> held_;
  int hoveredHandle_ = -1;
  int hoveredRing_ = -1, ring_ = -1, dragJoint_ = -1, drags_ = 0, pictures_ = 0;
  Vec3d base_;
  QPointF pressed_, last_;
  bool clicked_ = false;
  std::optional<Bone> pressedBone_;
  QTimer idle_;
  QImage overlay_;
};

}  // namespace understudy::editor
