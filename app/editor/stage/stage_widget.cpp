#include "app/editor/stage/stage_widget.h"

#include <QOpenGLContext>
#include <QOpenGLExtraFunctions>
#include <QPainter>
#include <QResizeEvent>
#include <algorithm>
#include <cmath>

#include "app/editor/document/nudging.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/look/appearance.h"
#include "core/repair/grip.h"

namespace understudy::editor {
namespace {

Colour toColour(const QColor& c, float alpha = 1) { return {static_cast<float>(c.redF()), static_cast<float>(c.greenF()), static_cast<float>(c.blueF()), alpha}; }

bool shows(StageLayout layout, Cast cast) {
  if (layout == StageLayout::performerAlone) return cast == Cast::performer;
  if (layout == StageLayout::characterAlone) return cast == Cast::character;
  return true;
}

}  // namespace

StageWidget::StageWidget(Document& document, Session& session, QWidget* parent) : QOpenGLWidget(parent), document_(document), session_(session) {
  setFocusPolicy(Qt::StrongFocus);
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
  connect(&session, &Session::stageChanged, this, [this, redraw] {
    redraw();
    frameAll();
  });
  connect(&document, &Document::filesChanged, this, [this, redraw] {
    framedOnce_ = false;
    redraw();
  });
  connect(&document, &Document::evaluatedChanged, this, redraw);
  connect(&document, &Document::shownChanged, this, redraw);
  connect(&document.props(), &PropsKeeper::changed, this, redraw);
  connect(&Appearance::instance(), &Appearance::changed, this, redraw);
  idle_.setSingleShot(true);
  idle_.setInterval(180);
  connect(&idle_, &QTimer::timeout, this, &StageWidget::refined);
}

StageWidget::~StageWidget() {
  makeCurrent();
  renderer_.reset();
  doneCurrent();
}

void StageWidget::refined() {
  if (session_.playing() || drag_ != Drag::none) return;
  moving_ = false;
  update();
}

void StageWidget::initializeGL() {
  auto made = StageRenderer::create([](const char* name) -> void* {
    QOpenGLContext* context = QOpenGLContext::currentContext();
    return context ? reinterpret_cast<void*>(context->getProcAddress(name)) : nullptr;
  });
  if (made) {
    renderer_ = std::move(made).value();
  } else if (!refused_) {
    refused_ = true;
    Q_EMIT failed(made.error());
  }
}

// Poses of the current frame, and where the figures stand.
void StageWidget::rebuild() {
  stale_ = false;
  shown_.clear();
  scene_ = {};
  const auto evaluated = document_.shown();
  const int frame = session_.frame();
  for (Cast cast : {Cast::performer, Cast::character}) {
    const LoadedFigure* loaded = document_.loaded(cast);
    if (!loaded || !loaded->stage || !shows(session_.layout(), cast)) continue;
    Shown shown;
    shown.cast = cast;
    shown.placement = document_.worldFromFile(cast);
    const TiledMotion* motion = !evaluated ? nullptr : cast == Cast::performer ? &evaluated->performer : &evaluated->motion;
    if (motion && motion->joints() == loaded->figure->skeleton.size() && frame < motion->frames())
      shown.world = worldAt(loaded->figure->skeleton, *motion, frame);
    else
      shown.world = cast == Cast::character ? bindWorld(*loaded->figure) : restWorld(loaded->figure->skeleton);
    const SkeletonMap& map = cast == Cast::performer ? document_.map().performer : document_.map().character;
    if (const auto role = session_.role()) shown.lit = map.at(*role).joints;
    if (const auto bone = session_.selected(); bone && bone->cast == cast && bone->joint < loaded->figure->skeleton.size() &&
                                               std::find(shown.lit.begin(), shown.lit.end(), bone->joint) == shown.lit.end())
      shown.lit.push_back(bone->joint);
    for (Role role : {Role::leftFoot, Role::leftToes, Role::rightFoot, Role::rightToes})
      if (map.joint(role) >= 0) shown.feet.push_back(map.joint(role));
    shown_.push_back(std::move(shown));
  }
  place();
  follow();
  const Colours& c = colours();
  const bool overlaid = session_.layout() == StageLayout::overlaid;
  for (const Shown& shown : shown_) {
    const LoadedFigure* loaded = document_.loaded(shown.cast);
    FigureInstance instance;
    instance.figure = loaded->stage;
    instance.placement = shown.placement;
    instance.jointWorld = shown.world;
    instance.skeletonColour = toColour(shown.cast == Cast::performer ? c.performer : c.character);
    const bool meshless = loaded->figure->meshes.empty();
    instance.showBody = meshless && !overlaid;
    instance.showSkeleton = bones_ || meshless;
    if (meshless) instance.meshTint = toColour(c.performer, 1);
    if (meshless) instance.meshAlpha = 0.55F;
    instance.skeletonWidth = meshless ? 1.15F : 0.8F;
    instance.selectedJoints = shown.lit;
    instance.feet = shown.feet;
    if (const auto hovered = session_.hovered(); hovered && hovered->cast == shown.cast) instance.hoveredJoint = hovered->joint;
    scene_.figures.push_back(instance);
  }
  addProps();
  // What of planted soles carries.
  if (evaluated && shownOf(Cast::character))
    for (const SoleMark& mark : soleMarks(document_, *evaluated, frame))
      if (mark.down) scene_.marks.push_back({mark.at + shift(), toColour(c.character), 3, false});
}

void StageWidget::addProps() {
  const auto evaluated = document_.shown();
  if (!evaluated || !evaluated->context || !shownOf(Cast::character)) return;
  const int frame = session_.frame() + evaluated->trimFirst;
  if (frame >= evaluated->untrimmed.frames()) return;
  std::vector<const Repair*> repairs;
  for (const auto& repair : *document_.take().repairs) repairs.push_back(&*repair);
  propJoint_.assign(1, Affined{});
  for (const PropItem& prop : evaluated->context->props) {
    FigureInstance instance;
    instance.figure = document_.props().figureOf(prop);
    if (!instance.figure) continue;
    const std::vector<Rigid> path = propPath(*evaluated->context, evaluated->untrimmed, prop, repairs, {frame, frame});
    if (path.empty()) continue;
    instance.placement = Affined(toMatrix(path.front().turn), path.front().at + shift());
    instance.jointWorld = propJoint_;
    instance.skeletonColour = toColour(colours().character);
    scene_.figures.push_back(instance);
  }
}

void StageWidget::place() {
  if (shown_.size() < 2) return;
  // Beside the character the performer is shown at the scale of its travel: both then cross the ground alike, with feet
  // that stand where they stand, however long their legs are.
  const auto evaluated = document_.evaluated();
  const double scale = evaluated && evaluated->report && evaluated->report->stride > 0 ? evaluated->report->stride : 1;
  const double tall = document_.height(Cast::character);
  const double half = 0.26 * (document_.height(Cast::performer) * scale + tall) + 0.09 * tall;
  for (Shown& shown : shown_) {
    Affined& placement = shown.placement;
    if (shown.cast == Cast::performer) placement = {placement.linear * scale, placement.translation * scale};
    if (session_.layout() == StageLayout::sideBySide) placement.translation.x += shown.cast == Cast::performer ? -half : half;
  }
}

void StageWidget::follow() {
  Vec3d middle;
  for (const Shown& shown : shown_) {
    const SkeletonMap& map = shown.cast == Cast::performer ? document_.map().performer : document_.map().character;
    const auto at = worldOf({shown.cast, std::max(0, map.joint(Role::hips))});
    if (at) middle += *at / static_cast<double>(shown_.size());
  }
  middle.y = 0;
  // While a bone is turned by hand the picture stays still under the mouse.
  if (follow_ && anchor_ && drag_ == Drag::none && view_ != View::top) camera_.target += middle - *anchor_;
  anchor_ = shown_.empty() ? std::nullopt : std::optional(middle);
}

void StageWidget::setFollowing(bool follow) {
  follow_ = follow;
  Q_EMIT viewChanged();
}

const StageWidget::Shown* StageWidget::shownOf(Cast cast) const {
  for (const Shown& shown : shown_)
    if (shown.cast == cast) return &shown;
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
  frame.radius = camera_.metresPerPixel(frame.origin, height()) * 54;
  return frame;
}

std::optional<Bone> StageWidget::boneAt(QPointF point, Vec3d* where) const {
  const auto hit = pick(scene_, camera_, width(), height(), point.x(), point.y());
  if (!hit || hit->figure < 0 || hit->figure >= static_cast<int>(shown_.size()) || hit->joint < 0) return {};
  if (where) *where = hit->point;
  return Bone{shown_[static_cast<std::size_t>(hit->figure)].cast, hit->joint};
}

void StageWidget::paintGL() {
  if (stale_) rebuild();
  if (!framedOnce_ && !scene_.figures.empty()) {
    framedOnce_ = true;
    frameAll();
  }
  StageStyle style;
  style.theme = Appearance::instance().kind() == Appearance::Kind::dark ? understudy::Theme::dark : understudy::Theme::light;
  style.bare = session_.bare();
  style.samples = moving_ || session_.playing() || drag_ != Drag::none ? 1 : 4;
  style.pixelRatio = static_cast<float>(devicePixelRatioF());
  if (renderer_)
    renderer_->draw(scene_, camera_, style, static_cast<int>(std::lround(width() * devicePixelRatioF())),
                    static_cast<int>(std::lround(height() * devicePixelRatioF())), defaultFramebufferObject());
  if (!session_.bare()) {
    // Painted in memory first: smooth lines and text without multisampling the whole picture.
    const qreal ratio = devicePixelRatioF();
    const QSize pixels(static_cast<int>(std::lround(width() * ratio)), static_cast<int>(std::lround(height() * ratio)));
    if (overlay_.size() != pixels) overlay_ = QImage(pixels, QImage::Format_ARGB32_Premultiplied);
    overlay_.setDevicePixelRatio(ratio);
    overlay_.fill(Qt::transparent);
    {
      QPainter painter(&overlay_);
      paintOverlay(painter);
    }
    context()->functions()->glPixelStorei(GL_UNPACK_ALIGNMENT, 4);
    context()->extraFunctions()->glPixelStorei(GL_UNPACK_ROW_LENGTH, 0);
    QPainter painter(this);
    painter.drawImage(0, 0, overlay_);
  }
  ++pictures_;
  Q_EMIT drawn();
}

void StageWidget::resizeEvent(QResizeEvent* event) {
  QOpenGLWidget::resizeEvent(event);
  if (event->oldSize().width() > 0 && !scene_.figures.empty()) moving_ = true, idle_.start();
}

void StageWidget::setView(View view) {
  view_ = view;
  camera_ = turnedTo(camera_, view);
  frameAll();
  Q_EMIT viewChanged();
}

void StageWidget::setBones(bool shown) {
  bones_ = shown;
  stale_ = true;
  update();
  Q_EMIT viewChanged();
}

void StageWidget::frameAll() {
  if (stale_) rebuild();
  Bounds all;
  for (const FigureInstance& instance : scene_.figures) all.add(boundsOf(instance));
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
