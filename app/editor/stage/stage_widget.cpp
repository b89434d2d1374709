#include "app/editor/stage/stage_widget.h"

#include <QPainter>
#include <QResizeEvent>
#include <QSurfaceFormat>
#include <algorithm>
#include <cmath>
#include <utility>

#include "app/editor/document/aligning.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/nudging.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_number.h"

namespace understudy::editor {

void askForStageFormat() {
  QSurfaceFormat format;
  format.setVersion(3, 3);
  format.setProfile(QSurfaceFormat::CoreProfile);
  format.setDepthBufferSize(24);
  format.setSwapInterval(0);
  QSurfaceFormat::setDefaultFormat(format);
}

StageWidget::StageWidget(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session), other_(document),
      set_(document, [this] {
        stale_ = true;
        update();
      }),
      number_(new StageNumber(this)) {
  setFocusPolicy(Qt::StrongFocus);
  setAttribute(Qt::WA_OpaquePaintEvent);
  setMouseTracking(true);
  setAccessibleName(tr("Stage"));
  setAccessibleDescription(tr("Performer and character; arrow keys with Alt turn the camera"));
  setMinimumSize(200, 160);
  const auto redraw = [this] {
    stale_ = true;
    moving_ = true;
    idle_.start();
    update();
  };
  connect(&session, &Session::frameChanged, this, redraw);
  connect(&session, &Session::selectionChanged, this, redraw);
  connect(&session, &Session::hoverChanged, this, redraw);
  connect(&other_, &OtherTake::changed, this, [this, redraw] {
    redraw();
    if (session_.layout() == StageLayout::twoTakes) frameAll();
  });
  connect(&session, &Session::stageChanged, this, [this, redraw] {
    other_.want(session_.layout() == StageLayout::twoTakes);
    redraw();
    frameAll();
  });
  connect(number_, &StageNumber::entered, this, &StageWidget::typed);
  connect(number_, &StageNumber::closed, this, [this] { setFocus(); });
  connect(&document, &Document::filesChanged, this, [this, redraw] {
    framedOnce_ = posed_ = false;
    left_ = {};
    chosenProp_ = 0;
    const auto character = document_.figure(Cast::character);
    if (!character || options_.meshes.size() != character->meshes.size()) options_.meshes.clear();
    redraw();
  });
  connect(&document, &Document::evaluatedChanged, this, [this, redraw] {
    // A capture's rest pose may lie anywhere: what was framed before it moved is framed anew.
    if (!std::exchange(posed_, document_.evaluated() != nullptr) && posed_) framedOnce_ = false;
    redraw();
  });
  connect(&document, &Document::shownChanged, this, redraw);
  connect(&document.props(), &PropsKeeper::changed, this, redraw);
  // What was found is told at its place.
  for (auto signal : {&FindingsKeeper::changed, &FindingsKeeper::chosenChanged}) connect(&document.findings(), signal, this, redraw);
  connect(&Appearance::instance(), &Appearance::changed, this, redraw);
  idle_.setSingleShot(true);
  idle_.setInterval(180);
  connect(&idle_, &QTimer::timeout, this, &StageWidget::refined);
}

StageWidget::~StageWidget() = default;

void StageWidget::refined() {
  if (session_.playing() || drag_ != Drag::none) return;
  moving_ = false;
  update();
}

const StageWidget::Shown* StageWidget::shownOf(Cast cast) const {
  for (const Shown& shown : shown_)
    if (shown.cast == cast && !shown.aside()) return &shown;
  return nullptr;
}

std::optional<Vec3d> StageWidget::worldOf(Bone bone) const {
  const Shown* shown = shownOf(bone.cast);
  if (!shown || bone.joint < 0 || bone.joint >= static_cast<int>(shown->world.size())) return {};
  return apply(shown->placement, shown->world[static_cast<std::size_t>(bone.joint)].translation);
}

Vec3d StageWidget::shift() const {
  const Shown* shown = shownOf(Cast::character);
  return shown ? shown->placement.translation - document_.worldFromFile(Cast::character).translation : Vec3d{};
}

std::optional<QPointF> StageWidget::pointOf(Bone bone) const {
  const auto at = worldOf(bone);
  if (!at) return {};
  const Projected p = project(camera_, width(), height(), *at);
  return p.visible ? std::optional(QPointF(p.x, p.y)) : std::nullopt;
}

std::optional<QPointF> StageWidget::middleOf(Bone bone) const {
  const auto figure = document_.figure(bone.cast);
  const auto a = pointOf(bone);
  if (!figure || !a) return {};
  for (int j = 0; j < figure->skeleton.size(); ++j)
    if (figure->skeleton.parents[static_cast<std::size_t>(j)] == bone.joint)
      if (const auto b = pointOf({bone.cast, j}); b && QLineF(*a, *b).length() > 4) return (*a + *b) / 2;
  return a;
}

std::optional<HandleFrame> StageWidget::handleFrame() const {
  const auto bone = session_.selected();
  const auto evaluated = document_.evaluated();
  if (!bone || bone->cast != Cast::character || session_.bare() || session_.playing() || !evaluated || !evaluated->complete()) return {};
  const Shown* shown = shownOf(Cast::character);
  if (!shown || bone->joint >= static_cast<int>(shown->world.size())) return {};
  const PolarParts<double> parts = polarParts(shown->placement * shown->world[static_cast<std::size_t>(bone->joint)]);
  HandleFrame frame;
  frame.origin = parts.translation;
  frame.rotation = parts.rotation;
  if (aligning()) {
    if (!alignedRole(document_, bone->joint)) return {};
    if (options_.axes != NudgeSpace::bone) frame.axes = handleAxes(options_.axes == NudgeSpace::view ? NudgeSpace::view : NudgeSpace::world, *evaluated, bone->joint, 0, camera_);
  } else if (options_.axes != NudgeSpace::bone) {
    frame.axes = handleAxes(options_.axes, *evaluated, bone->joint, session_.frame(), camera_);
  }
  frame.radius = camera_.metresPerPixel(frame.origin, height()) * 54;
  return frame;
}

StageWidget::Under StageWidget::under(QPointF point) const {
  Under found;
  // Echoes and ghosts let the mouse through.
  Scene solid;
  solid.figures.assign(scene_.figures.begin(), scene_.figures.begin() + static_cast<std::ptrdiff_t>(std::min(pickable_, scene_.figures.size())));
  const auto hit = pick(solid, camera_, width(), height(), point.x(), point.y(), {}, &picks_);
  if (!hit || hit->figure < 0) return found;
  found.where = hit->point;
  const auto at = static_cast<std::size_t>(hit->figure);
  if (at < shown_.size()) {
    if (shown_[at].aside()) return found;
    if (hit->joint >= 0) found.bone = Bone{shown_[at].cast, hit->joint};
    if (shown_[at].cast == Cast::character) found.mesh = hit->mesh;
  } else if (at - shown_.size() < propOf_.size()) {
    found.prop = propOf_[at - shown_.size()];
    found.propPoint = apply(inverse(solid.figures[at].placement), hit->point);
  }
  return found;
}

std::optional<Bone> StageWidget::boneAt(QPointF point, Vec3d* where) const {
  const Under found = under(point);
  if (where && found.bone) *where = found.where;
  return found.bone;
}

std::vector<Bone> StageWidget::bonesIn(const QRectF& box) const {
  std::vector<Bone> best;
  for (const Shown& shown : shown_) {
    const LoadedFigure* loaded = document_.loaded(shown.cast);
    if (shown.aside() || !loaded || !loaded->stage) continue;
    std::vector<Bone> here;
    for (const int joint : drawnJoints(*loaded->stage))
      if (const auto at = pointOf({shown.cast, joint}); at && box.contains(*at)) here.push_back({shown.cast, joint});
    // Of both figures the one with more in the box; the character where it is a draw.
    if (here.size() >= best.size() && !here.empty()) best = std::move(here);
  }
  return best;
}

void StageWidget::paintEvent(QPaintEvent*) {
  Q_EMIT drawing();
  const qreal ratio = devicePixelRatioF();
  const QSize pixels(static_cast<int>(std::lround(width() * ratio)), static_cast<int>(std::lround(height() * ratio)));
  const QImage* picture = &canvas_.picture();
  if (!fresh_ || stale_ || picture->size() != pixels) {
    fresh_ = true;
    if (stale_) rebuild();
    if (!framedOnce_ && !scene_.figures.empty()) {
      framedOnce_ = true;
      frameAll();
    }
    StageStyle style;
    style.theme = Appearance::instance().kind() == Appearance::Kind::dark ? understudy::Theme::dark : understudy::Theme::light;
    style.bare = session_.bare();
    style.samples = moving_ || session_.playing() || drag_ != Drag::none ? 1 : 4;
    style.pixelRatio = static_cast<float>(ratio);
    picture = &canvas_.draw(scene_, camera_, style, pixels);
    ++pictures_;
  }
  if (canvas_.problem() && !std::exchange(refused_, true)) Q_EMIT failed(*canvas_.problem());
  QPainter painter(this);
  if (picture->isNull()) painter.fillRect(rect(), colours().stageBottom);
  else painter.drawImage(QRectF(rect()), *picture);
  if (!session_.bare()) paintMarks(painter);
  painter.end();
  Q_EMIT drawn();
}

void StageWidget::resizeEvent(QResizeEvent* event) {
  QWidget::resizeEvent(event);
  if (event->oldSize().width() > 0 && !scene_.figures.empty()) moving_ = true, idle_.start();
}

// Each view keeps its framing: coming back to it shows the same part, moved along with what the camera follows.
void StageWidget::setView(View view) {
  if (stale_) rebuild();
  const Vec3d here = anchor_.value_or(Vec3d{});
  left_[static_cast<std::size_t>(view_)] = std::pair{camera_, here};
  const auto& kept = left_[static_cast<std::size_t>(view)];
  const bool known = kept.has_value() && view != view_;
  view_ = view;
  if (known) {
    camera_ = kept->first;
    if (options_.follow != Follow::nothing) camera_.target += here - kept->second;
    update();
  } else {
    camera_ = turnedTo(camera_, view);
    frameAll();
  }
  Q_EMIT viewChanged();
}

void StageWidget::change(const std::function<void(StageOptions&)>& by) {
  StageOptions next = options_;
  by(next);
  if (next == options_) return;
  if (next.follow != options_.follow) anchor_.reset();
  options_ = next;
  stale_ = true;
  update();
  Q_EMIT viewChanged();
}

void StageWidget::showMesh(int mesh, MeshShow how) {
  const auto character = document_.figure(Cast::character);
  if (!character || mesh < 0 || mesh >= static_cast<int>(character->meshes.size())) return;
  change([&](StageOptions& o) {
    o.meshes.resize(character->meshes.size(), 0);
    o.meshes[static_cast<std::size_t>(mesh)] = static_cast<std::uint8_t>(how);
    if (std::all_of(o.meshes.begin(), o.meshes.end(), [](std::uint8_t m) { return m == 0; })) o.meshes.clear();
  });
}

void StageWidget::isolateMesh(int mesh) {
  const auto character = document_.figure(Cast::character);
  if (!character || mesh < 0 || mesh >= static_cast<int>(character->meshes.size())) return;
  change([&](StageOptions& o) {
    o.meshes.assign(character->meshes.size(), static_cast<std::uint8_t>(MeshShow::hidden));
    o.meshes[static_cast<std::size_t>(mesh)] = 0;
  });
}

void StageWidget::showAllMeshes() {
  change([](StageOptions& o) { o.meshes.clear(); });
}

bool StageWidget::cycleHoveredMesh() {
  if (hoveredMesh_ < 0) return false;
  const auto at = static_cast<std::size_t>(hoveredMesh_);
  const auto now = static_cast<MeshShow>(at < options_.meshes.size() ? options_.meshes[at] : 0);
  showMesh(hoveredMesh_, now == MeshShow::shown ? MeshShow::through : now == MeshShow::through ? MeshShow::hidden : MeshShow::shown);
  return true;
}

bool StageWidget::isolateHoveredMesh() {
  if (hoveredMesh_ < 0) return false;
  isolateMesh(hoveredMesh_);
  return true;
}

void StageWidget::frameAll() {
  if (stale_) rebuild();
  Bounds all;
  for (std::size_t i = 0; i < std::min(pickable_, scene_.figures.size()); ++i) all.add(boundsOf(scene_.figures[i]));
  if (all.empty()) all.add({-0.8, 0, -0.8}), all.add({0.8, 1.8, 0.8});
  all.low.y = std::min(all.low.y, 0.0);
  camera_ = framed(camera_, all, static_cast<double>(width()) / std::max(1, height()), 0.1);
  update();
}

void StageWidget::frameSelection() {
  const auto bone = session_.selected();
  const auto at = bone ? worldOf(*bone) : std::nullopt;
  if (!at) return frameAll();
  Bounds around;
  around.add(*at);
  around.grow(0.22 * document_.height(bone->cast));
  camera_ = framed(camera_, around, static_cast<double>(width()) / std::max(1, height()), 0.1);
  update();
}

void StageWidget::nudgeSelected() {
  const auto bone = session_.selected();
  if (!bone || bone->cast != Cast::character) return;
  if (const auto id = ensureNudge(document_, bone->joint, session_.frame())) session_.setRepair(id);
}

}  // namespace understudy::editor
