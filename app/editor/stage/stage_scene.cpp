// What the stage's picture is made of: both figures, what they hold, the set, and what the artist asked to see besides.
#include <algorithm>
#include <cmath>

#include "app/editor/document/aligning.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"
#include "core/repair/grip.h"

namespace understudy::editor {
namespace {

constexpr int pathFrames = 90;  // to each side of the current one

Colour toColour(const QColor& c, float alpha = 1) { return {static_cast<float>(c.redF()), static_cast<float>(c.greenF()), static_cast<float>(c.blueF()), alpha}; }

bool shows(StageLayout layout, Cast cast) {
  if (layout == StageLayout::performerAlone) return cast == Cast::performer;
  if (layout == StageLayout::characterAlone || layout == StageLayout::beforeAfter || layout == StageLayout::twoTakes) return cast == Cast::character;
  return true;
}

}  // namespace

std::span<const Affined> StageWidget::keep(std::vector<Affined> pose) {
  kept_.push_back(std::make_unique<std::vector<Affined>>(std::move(pose)));
  return *kept_.back();
}

std::optional<StageWidget::Shown> StageWidget::figureShown(Cast cast, bool before) const {
  const LoadedFigure* loaded = document_.loaded(cast);
  if (!loaded || !loaded->stage || !shows(session_.layout(), cast)) return {};
  const auto evaluated = document_.shown();
  const int frame = session_.frame();
  Shown shown;
  shown.cast = cast;
  shown.before = before;
  shown.figure = loaded->figure;
  shown.stage = loaded->stage;
  shown.placement = document_.worldFromFile(cast);
  const TiledMotion* motion = !evaluated ? nullptr : cast == Cast::performer ? &evaluated->performer : before ? &evaluated->base : &evaluated->motion;
  if (motion && motion->joints() == loaded->figure->skeleton.size() && frame < motion->frames())
    shown.world = worldAt(loaded->figure->skeleton, *motion, frame);
  else
    shown.world = cast == Cast::character ? bindWorld(*loaded->figure) : restWorld(loaded->figure->skeleton);
  const SkeletonMap& map = cast == Cast::performer ? document_.map().performer : document_.map().character;
  if (const auto role = session_.role(); role && !before) shown.lit = map.at(*role).joints;
  for (const Bone& bone : before ? std::vector<Bone>{} : session_.selection())
    if (bone.cast == cast && bone.joint < loaded->figure->skeleton.size() && std::find(shown.lit.begin(), shown.lit.end(), bone.joint) == shown.lit.end())
      shown.lit.push_back(bone.joint);
  for (Role role : {Role::leftFoot, Role::leftToes, Role::rightFoot, Role::rightToes})
    if (map.joint(role) >= 0) shown.feet.push_back(map.joint(role));
  shown.hips = std::max(0, map.joint(Role::hips));
  return shown;
}

std::optional<StageWidget::Shown> StageWidget::otherShown() const {
  const auto evaluated = other_.evaluated();
  const LoadedFigure* loaded = other_.character();
  if (!evaluated || !evaluated->complete() || !loaded || !loaded->stage || evaluated->frames < 1) return {};
  Shown shown;
  shown.other = true;
  shown.figure = loaded->figure;
  shown.stage = loaded->stage;
  shown.placement = understudy::worldFromFile(*loaded->figure, evaluated->report->characterReference);
  shown.world = worldAt(loaded->figure->skeleton, evaluated->motion, other_.frameAt(session_.frame(), session_.rate()));
  const SkeletonMap& map = evaluated->map->character;
  for (Role role : {Role::leftFoot, Role::leftToes, Role::rightFoot, Role::rightToes})
    if (map.joint(role) >= 0) shown.feet.push_back(map.joint(role));
  shown.hips = std::max(0, map.joint(Role::hips));
  return shown;
}

// Poses of the current frame, and where the figures stand.
void StageWidget::rebuild() {
  stale_ = false;
  shown_.clear();
  kept_.clear();
  propOf_.clear();
  scene_ = {};
  const auto evaluated = document_.shown();
  const int frame = session_.frame();
  const auto add = [this](std::optional<Shown> shown) {
    if (shown) shown_.push_back(std::move(*shown));
  };
  add(figureShown(Cast::performer, false));
  if (session_.layout() == StageLayout::beforeAfter) add(figureShown(Cast::character, true));
  if (session_.layout() == StageLayout::twoTakes) add(otherShown());
  add(figureShown(Cast::character, false));
  place();
  if (aligning()) addReferences();
  follow();
  for (const Shown& shown : shown_) scene_.figures.push_back(instanceOf(shown));
  pickable_ = scene_.figures.size();
  if (aligning()) return;
  if (evaluated && shownOf(Cast::character)) addProps(document_.take(), *evaluated, frame, shift(), true);
  pickable_ = scene_.figures.size();
  for (const Shown& shown : shown_)
    if (shown.other) addProps(*other_.take(), *other_.evaluated(), other_.frameAt(frame, session_.rate()), shown.placement.translation - understudy::worldFromFile(*shown.figure, other_.evaluated()->report->characterReference).translation, false);
  addSet();
  if (options_.before) addBefore();
  if (options_.echoes) addEchoes();
  if (options_.path) addPath();
  if (options_.gaps) addGaps();
  // What of planted soles carries.
  if (evaluated && shownOf(Cast::character))
    for (const SoleMark& mark : soleMarks(document_, *evaluated, frame))
      if (mark.down) scene_.marks.push_back({mark.at + shift(), toColour(colours().character), 3, false});
}

void StageWidget::addReferences() {
  const auto evaluated = document_.evaluated();
  if (!evaluated || !evaluated->report) return;
  for (Shown& shown : shown_) {
    std::vector<Affined> pose = shown.cast == Cast::performer ? evaluated->report->performerReference.fileWorld : alignedReference(document_);
    if (pose.size() != shown.world.size()) continue;
    shown.world = std::move(pose);
    const Vec3d hips = apply(shown.placement, shown.world[static_cast<std::size_t>(shown.hips)].translation);
    shown.placement.translation -= Vec3d{hips.x, 0, hips.z};
  }
  // A capture's reference pose may hang anywhere: its hips go where the character's are, so that limbs lie on limbs.
  const auto height = [](const Shown& shown) { return apply(shown.placement, shown.world[static_cast<std::size_t>(shown.hips)].translation).y; };
  if (const Shown* character = shownOf(Cast::character))
    for (Shown& shown : shown_)
      if (shown.cast == Cast::performer && static_cast<std::size_t>(shown.hips) < shown.world.size()) shown.placement.translation.y += height(*character) - height(shown);
}

FigureInstance StageWidget::instanceOf(const Shown& shown) const {
  const Colours& c = colours();
  FigureInstance instance;
  const bool meshless = shown.figure->meshes.empty();
  instance.figure = shown.stage;
  instance.placement = shown.placement;
  instance.jointWorld = shown.world;
  instance.skeletonColour = toColour(shown.cast == Cast::performer ? c.performer : c.character);
  instance.showBody = meshless && session_.layout() != StageLayout::overlaid && !aligning();
  instance.showSkeleton = options_.bones || meshless || aligning();
  if (meshless) instance.meshTint = toColour(c.performer, 1);
  if (meshless) instance.meshAlpha = 0.55F;
  instance.skeletonWidth = meshless ? 1.15F : 0.8F;
  instance.selectedJoints = shown.lit;
  instance.feet = shown.feet;
  if (aligning() && !meshless) instance.meshAlpha = 0.55F;
  if (shown.cast == Cast::character && !shown.other && !options_.meshes.empty()) instance.hiddenMeshes = options_.meshes;
  if (const auto hovered = session_.hovered(); hovered && hovered->cast == shown.cast && !shown.aside()) instance.hoveredJoint = hovered->joint;
  return instance;
}

void StageWidget::addProps(const Take& take, const Evaluated& evaluated, int frame, const Vec3d& shift, bool current) {
  frame += evaluated.trimFirst;
  if (!evaluated.context || frame >= evaluated.untrimmed.frames()) return;
  std::vector<const Repair*> repairs;
  for (const auto& repair : *take.repairs) repairs.push_back(&*repair);
  propJoint_.assign(1, Affined{});
  for (const PropItem& prop : evaluated.context->props) {
    FigureInstance instance;
    instance.figure = document_.props().figureOf(prop);
    if (!instance.figure) continue;
    const std::vector<Rigid> path = propPath(*evaluated.context, evaluated.untrimmed, prop, repairs, {frame, frame});
    if (path.empty()) continue;
    instance.placement = Affined(toMatrix(path.front().turn), path.front().at + shift);
    instance.jointWorld = propJoint_;
    instance.skeletonColour = toColour(colours().character);
    scene_.figures.push_back(instance);
    if (current) propOf_.push_back(prop.id);
  }
}

void StageWidget::addSet() {
  for (const SetItem& item : *document_.take().set) {
    FigureInstance instance;
    instance.figure = set_.figureOf(item);
    if (!instance.figure) continue;
    instance.placement = Affined(toMatrix(Quatd{}), shift());
    instance.meshTint = toColour(colours().stageGrid, 0.85F);
    instance.shadow = false;
    scene_.figures.push_back(instance);
  }
}

// Lines while something moves; once it rests, bodies one can see through.
void StageWidget::addEchoes() {
  const auto evaluated = document_.shown();
  const Shown* shown = shownOf(Cast::character);
  const LoadedFigure* loaded = document_.loaded(Cast::character);
  if (!evaluated || !shown || evaluated->motion.joints() != loaded->figure->skeleton.size()) return;
  const int step = std::max(1, static_cast<int>(std::lround(evaluated->rate.hertz() / 6)));
  for (const int by : {-2 * step, 2 * step, -step, step}) {
    const int at = session_.frame() + by;
    if (at < 0 || at >= evaluated->motion.frames()) continue;
    FigureInstance echo;
    echo.figure = loaded->stage;
    echo.placement = shown->placement;
    echo.jointWorld = keep(worldAt(loaded->figure->skeleton, evaluated->motion, at));
    echo.shadow = false;
    const bool near = std::abs(by) == step;
    // The past in the performer's cool tone, what comes in the character's.
    const QColor tone = by < 0 ? colours().performer : colours().character;
    echo.showMesh = !moving_ && !session_.playing() && drag_ == Drag::none;
    echo.meshAlpha = near ? 0.2F : 0.1F;
    echo.meshTint = toColour(tone, 0.8F);
    echo.showSkeleton = true;
    echo.skeletonColour = toColour(tone, near ? 0.75F : 0.4F);
    echo.skeletonWidth = 0.5F;
    if (!options_.meshes.empty()) echo.hiddenMeshes = options_.meshes;
    scene_.figures.push_back(echo);
  }
}

void StageWidget::addBefore() {
  const auto evaluated = document_.shown();
  const Shown* shown = shownOf(Cast::character);
  const LoadedFigure* loaded = document_.loaded(Cast::character);
  if (!evaluated || !shown || session_.layout() == StageLayout::beforeAfter || evaluated->base.joints() != loaded->figure->skeleton.size() || session_.frame() >= evaluated->base.frames()) return;
  FigureInstance ghost;
  ghost.figure = loaded->stage;
  ghost.placement = shown->placement;
  ghost.jointWorld = keep(worldAt(loaded->figure->skeleton, evaluated->base, session_.frame()));
  ghost.shadow = false;
  ghost.meshAlpha = 0.34F;
  ghost.meshTint = toColour(colours().warning, 0.75F);
  ghost.showSkeleton = options_.bones;
  ghost.skeletonColour = toColour(colours().warning, 0.8F);
  ghost.skeletonWidth = 0.5F;
  if (!options_.meshes.empty()) ghost.hiddenMeshes = options_.meshes;
  scene_.figures.push_back(ghost);
}

void StageWidget::addPath() {
  const auto evaluated = document_.shown();
  const auto bone = session_.selected();
  if (!evaluated) return;
  PathOf wanted{evaluated, chosenProp_ ? std::nullopt : bone, chosenProp_, chosenPoint_, session_.frame() - pathFrames, session_.frame() + pathFrames, {}};
  const Shown* shown = chosenProp_ ? shownOf(Cast::character) : bone ? shownOf(bone->cast) : nullptr;
  if (!shown) return;
  wanted.placement = shown->placement;
  // Worked out again only where it leaves what is there: half a window ahead.
  const bool same = wanted.evaluated == pathOf_.evaluated && wanted.bone == pathOf_.bone && wanted.prop == pathOf_.prop && wanted.point == pathOf_.point && wanted.placement == pathOf_.placement;
  if (!same || session_.frame() < pathOf_.first + pathFrames / 2 || session_.frame() > pathOf_.last - pathFrames / 2) {
    path_.clear();
    if (chosenProp_) {
      path_ = propPointPath(document_, *evaluated, chosenProp_, chosenPoint_, wanted.first, wanted.last);
      for (Vec3d& point : path_) point += shift();
    } else if (const auto figure = document_.figure(bone->cast)) {
      path_ = jointPath(figure->skeleton, bone->cast == Cast::performer ? evaluated->performer : evaluated->motion, bone->joint, wanted.first, wanted.last, shown->placement);
    }
    pathOf_ = wanted;
  }
  if (path_.empty()) return;
  Trail trail;
  trail.points = path_;
  trail.colour = toColour(bone && !chosenProp_ && bone->cast == Cast::performer ? colours().performer : colours().character);
  trail.tickEvery = 5;
  trail.now = std::clamp(session_.frame() - std::max(0, pathOf_.first), 0, static_cast<int>(path_.size()) - 1);
  scene_.trails.push_back(trail);
}

// Inside: a ring in the flaws' colour. Touching: a full dot. Near: a small dot, the fainter the further; soles with a line down.
void StageWidget::addGaps() {
  const auto evaluated = document_.shown();
  if (!evaluated || !shownOf(Cast::character)) return;
  const Colours& c = colours();
  const double unit = document_.height(Cast::character) / 1.7;
  for (const GapMark& mark : gapsAt(document_, *evaluated, session_.frame())) {
    const double gap = mark.gap / unit;
    const Vec3d at = mark.at + shift();
    if (gap < -0.002) scene_.marks.push_back({at, toColour(c.flaw), 4, true});
    else if (gap <= 0.002) scene_.marks.push_back({at, toColour(c.key), 2.6F, false});
    else scene_.marks.push_back({at, toColour(c.performer, static_cast<float>(1 - 0.75 * gap / 0.03)), 1.8F, false});
    if (mark.sole && std::abs(gap) > 0.002) scene_.segments.push_back({at, {at.x, 0, at.z}, toColour(gap < 0 ? c.flaw : c.warning), 1.5F, false});
  }
}

void StageWidget::place() {
  if (shown_.size() < 2) return;
  // Beside the character the performer is shown at the scale of its travel: both then cross the ground alike, with feet
  // that stand where they stand, however long their legs are.
  const auto evaluated = document_.evaluated();
  const double scale = evaluated && evaluated->report && evaluated->report->stride > 0 ? evaluated->report->stride : 1;
  const double tall = document_.height(Cast::character);
  const bool twice = session_.layout() == StageLayout::beforeAfter || session_.layout() == StageLayout::twoTakes;
  const double half = 0.26 * ((twice ? 1 : document_.height(Cast::performer) * scale / tall) + 1) * tall + 0.09 * tall;
  for (Shown& shown : shown_) {
    Affined& placement = shown.placement;
    if (shown.cast == Cast::performer) placement = {placement.linear * scale, placement.translation * scale};
    if (session_.layout() == StageLayout::sideBySide || twice) placement.translation.x += shown.cast == Cast::performer || shown.aside() ? -half : half;
  }
}

std::optional<Vec3d> StageWidget::followed() const {
  const auto role = options_.follow == Follow::leftHand    ? std::optional(Role::leftHand)
                    : options_.follow == Follow::rightHand ? std::optional(Role::rightHand)
                    : options_.follow == Follow::leftFoot  ? std::optional(Role::leftFoot)
                    : options_.follow == Follow::rightFoot ? std::optional(Role::rightFoot)
                                                           : std::nullopt;
  if (role) {
    const Cast cast = shownOf(Cast::character) ? Cast::character : Cast::performer;
    const SkeletonMap& map = cast == Cast::performer ? document_.map().performer : document_.map().character;
    return worldOf({cast, map.joint(*role)});
  }
  const auto evaluated = document_.shown();
  if (options_.follow == Follow::prop && evaluated && evaluated->context && !evaluated->context->props.empty() && shownOf(Cast::character)) {
    const std::uint64_t prop = chosenProp_ ? chosenProp_ : evaluated->context->props.front().id;
    const auto at = propPointPath(document_, *evaluated, prop, chosenProp_ ? chosenPoint_ : Vec3d{}, session_.frame(), session_.frame());
    if (!at.empty()) return at.front() + shift();
  }
  if (shown_.empty()) return {};
  Vec3d middle;
  for (const Shown& shown : shown_) {
    if (static_cast<std::size_t>(shown.hips) < shown.world.size()) middle += apply(shown.placement, shown.world[static_cast<std::size_t>(shown.hips)].translation) / static_cast<double>(shown_.size());
  }
  middle.y = 0;
  return middle;
}

void StageWidget::follow() {
  const auto at = followed();
  // While a bone is turned by hand the picture stays still under the mouse.
  const bool figures = options_.follow == Follow::figures || options_.follow == Follow::nothing;
  if (options_.follow != Follow::nothing && anchor_ && at && drag_ == Drag::none && (!figures || view_ != View::top)) camera_.target += *at - *anchor_;
  else if (!figures && !anchor_ && at) camera_.target = *at;
  anchor_ = at;
}

}  // namespace understudy::editor
