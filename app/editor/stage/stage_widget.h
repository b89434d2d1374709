// The stage: both figures on their ground, seen through a camera the artist moves; bones are selected and turned here.
#pragma once

#include <QTimer>
#include <QWidget>
#include <array>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/other_take.h"
#include "app/editor/document/session.h"
#include "app/editor/stage/stage_canvas.h"
#include "app/editor/stage/stage_extras.h"
#include "app/editor/stage/stage_handles.h"
#include "app/editor/stage/turn_handle.h"
#include "render/stage.h"

namespace understudy::editor {

class StageNumber;

/// Asks for the OpenGL that the stage draws with; to be called before the application is made.
void askForStageFormat();

class StageWidget : public QWidget {
  Q_OBJECT
 public:
  StageWidget(Document& document, Session& session, QWidget* parent = nullptr);
  ~StageWidget() override;

  [[nodiscard]] View view() const { return view_; }
  [[nodiscard]] const StageOptions& options() const { return options_; }
  /// Changes what is shown.
  void change(const std::function<void(StageOptions&)>& by);
  void showMesh(int mesh, MeshShow how);
  void isolateMesh(int mesh);
  void showAllMeshes();
  /// The character's mesh under the mouse is seen through, then hidden, then shown again; false where there is none.
  bool cycleHoveredMesh();
  bool isolateHoveredMesh();
  [[nodiscard]] const Camera& camera() const { return camera_; }
  /// Where a joint is in the window, device-independent pixels of this widget; nothing while it is not shown.
  [[nodiscard]] std::optional<QPointF> pointOf(Bone bone) const;
  /// Where the middle of a bone is: between the joint and its first child.
  [[nodiscard]] std::optional<QPointF> middleOf(Bone bone) const;
  /// Where a place of the repairs' world is in the window.
  [[nodiscard]] std::optional<QPointF> pictureOf(const Vec3d& world) const;
  /// Handles that can be taken hold of now, arrows included.
  [[nodiscard]] std::vector<StageHandle> handles() const;
  /// Where a ring of the selected bone's handle is on its near side; nothing without one.
  [[nodiscard]] std::optional<QPointF> ringPoint(int ring) const;
  [[nodiscard]] const Scene& scene() const { return scene_; }
  /// Pictures drawn since the start, and the mean milliseconds of the last ones.
  [[nodiscard]] int pictures() const { return pictures_; }
  /// The take that is shown beside the current one.
  [[nodiscard]] OtherTake& otherTake() { return other_; }
  /// What is painted over the picture: handles, labels, findings; device-independent pixels of this widget.
  void paintMarks(QPainter& painter);
  /// Labels give way to what lies over this part of the widget; empty: nothing does.
  void keepClear(const QRectF& part) {
    clear_ = part;
    QWidget::update();
  }
  /// Asks for a new picture; what only comes into sight again is painted from the last one.
  void update() {
    fresh_ = false;
    QWidget::update();
  }

 public Q_SLOTS:
  void setView(understudy::View view);
  /// Moves the camera so that all figures fit.
  void frameAll();
  void frameSelection();
  void nudgeSelected();

 Q_SIGNALS:
  void viewChanged();
  void drawing();   ///< a picture begins
  void drawn();
  void failed(const understudy::Issue& issue);

 protected:
  void paintEvent(QPaintEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void leaveEvent(QEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  void focusInEvent(QFocusEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;
  bool event(QEvent* event) override;

 private:
  /// What hands hold at a frame of a take; those of the current one can be picked.
  void addProps(const Take& take, const Evaluated& evaluated, int frame, const Vec3d& shift, bool current);
  void addSet();
  void addEchoes();
  void addBefore();
  void addPath();
  void addGaps();
  /// A pose that stays as long as the scene.
  [[nodiscard]] std::span<const Affined> keep(std::vector<Affined> pose);
  struct Shown {
    Cast cast = Cast::character;
    bool before = false;          // the character without its repairs
    bool other = false;           // of the other take
    std::shared_ptr<const Figure> figure;
    StageFigurePtr stage;
    Affined placement;
    std::vector<Affined> world;   // file unit and axes
    std::vector<int> lit;
    std::vector<int> feet;
    int hips = 0;
    /// To look at only.
    [[nodiscard]] bool aside() const { return before || other; }
  };
  enum class Drag { none, orbit, pan, turnRing, pullBone, handle, box };

  void rebuild();
  [[nodiscard]] std::optional<Shown> figureShown(Cast cast, bool before) const;
  [[nodiscard]] std::optional<Shown> otherShown() const;
  /// Both figures in their reference poses, hips over hips.
  void addReferences();
  [[nodiscard]] bool aligning() const { return session_.layout() == StageLayout::references; }
  void place();
  void follow();
  [[nodiscard]] std::optional<Vec3d> followed() const;
  [[nodiscard]] FigureInstance instanceOf(const Shown& shown) const;
  [[nodiscard]] const Shown* shownOf(Cast cast) const;
  [[nodiscard]] std::optional<Vec3d> worldOf(Bone bone) const;
  struct Under {
    std::optional<Bone> bone;
    std::uint64_t prop = 0;       // and where on it, in its own frame
    Vec3d propPoint;
    int mesh = -1;                // of the character
    Vec3d where;
  };
  [[nodiscard]] Under under(QPointF point) const;
  [[nodiscard]] std::optional<Bone> boneAt(QPointF point, Vec3d* where = nullptr) const;
  [[nodiscard]] std::vector<Bone> bonesIn(const QRectF& box) const;
  void hover(QPointF point);
  void dragTo(QPointF point, Qt::KeyboardModifiers modifiers);
  void typed(double value);
  [[nodiscard]] std::optional<HandleFrame> handleFrame() const;
  void beginTurn(Drag drag, const HandleFrame& frame, QPointF point, const Vec3d& grabbed);
  void continueTurn(QPointF point, Qt::KeyboardModifiers modifiers);
  /// Gives a turn of the dragged bone, since the drag began, to what it changes: role, offset or nudge.
  void takeTurn(const Quatd& turn);
  [[nodiscard]] Vec3d turnedSoFar() const;

  void paintHandles(QPainter& painter);
  void paintRings(QPainter& painter);
  void paintFindings(QPainter& painter);
  void paintNames(QPainter& painter);
  /// A card that gives way to those painted before it; `pale`: small and quiet. Where it is; empty: there was no room.
  QRectF paintLabel(QPainter& painter, QPointF at, const QString& text, const QColor& bar, bool pale = false);
  /// From the repairs' world to where the stage shows the character.
  [[nodiscard]] Vec3d shift() const;
  /// Index into handles() of the handle under a point, −1: none.
  [[nodiscard]] int handleAt(QPointF point) const;
  void refined();

  Document& document_;
  Session& session_;
  OtherTake other_;
  StageCanvas canvas_;
  bool refused_ = false, fresh_ = false;
  Camera camera_;
  View view_ = View::free;
  /// The camera each view was left with, and what it followed there.
  std::array<std::optional<std::pair<Camera, Vec3d>>, 4> left_;
  StageOptions options_;
  bool moving_ = false, framedOnce_ = false, posed_ = false, stale_ = true;
  std::optional<Vec3d> anchor_;
  std::vector<Shown> shown_;
  std::vector<Affined> propJoint_;
  std::vector<std::unique_ptr<std::vector<Affined>>> kept_;
  std::vector<Vec3d> path_;
  /// The path as it was worked out: of which evaluation, what, and the frames.
  struct PathOf {
    std::shared_ptr<const Evaluated> evaluated;
    std::optional<Bone> bone;
    std::uint64_t prop = 0;
    Vec3d point;
    int first = 0, last = 0;
    Affined placement;
    friend bool operator==(const PathOf&, const PathOf&) = default;
  } pathOf_;
  std::uint64_t chosenProp_ = 0;
  Vec3d chosenPoint_;
  SetPictures set_;
  Scene scene_;
  std::size_t pickable_ = 0;
  mutable PickCache picks_;
  std::vector<std::uint64_t> propOf_;  ///< of the figures after the shown ones
  Drag drag_ = Drag::none;
  TurnDrag turn_;
  std::optional<HandleDrag> held_;
  int hoveredHandle_ = -1, hoveredMesh_ = -1;
  std::uint64_t hoveredProp_ = 0;
  int hoveredRing_ = -1, ring_ = -1, dragJoint_ = -1, drags_ = 0, pictures_ = 0;
  Vec3d base_;
  QPointF pressed_, last_;
  bool clicked_ = false;
  std::optional<Under> pressedOn_;
  QTimer idle_;
  std::vector<QRectF> labels_;         ///< painted in this picture
  QRectF clear_;
  StageNumber* number_;
  int numberRing_ = -1;
  std::optional<StageHandle> numberHandle_;
};

}  // namespace understudy::editor
