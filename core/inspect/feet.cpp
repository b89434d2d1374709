#include "core/inspect/feet.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "core/math/rigid.h"
#include "core/repair/poser.h"
#include "core/repair/skin_frames.h"

namespace understudy {
namespace {

/// Phase at a frame, from the marks of a plant.
PlantPhase phaseAt(const PlantRepair& plant, FrameRate rate, int frame) {
  PlantPhase phase = plant.marks.empty() ? PlantPhase::flat : plant.marks.front().phase;
  for (const PlantMark& mark : plant.marks)
    if (std::lround(mark.time * rate.hertz()) <= frame) phase = mark.phase;
  return phase;
}

/// Foot, toes and shank in one pose.
struct FootJoints {
  Rigid foot, toes, shank;
};
FootJoints jointsAt(const Poser& poser, const LimbRig& leg) {
  const auto of = [&](int joint) { return joint < 0 ? Rigid{} : Rigid{poser.rotation(joint), poser.position(joint)}; };
  return {of(leg.end), of(leg.tip), of(leg.mid)};
}

/// Heights over the ground of what each joint carries, as sums over a point's own numbers.
struct FootSlopes {
  struct Slope {
    Vec3d way;
    double at = 0;
    [[nodiscard]] double of(const Vec3d& point) const { return dot(way, point) + at; }
  };
  Slope foot, toes, shank;
  FootSlopes(const FootJoints& joints, const Vec3d& normal, double ground) {
    const auto slope = [&](const Rigid& joint) { return Slope{rotate(conjugate(joint.turn), normal), dot(joint.at, normal) - ground}; };
    foot = slope(joints.foot), toes = slope(joints.toes), shank = slope(joints.shank);
  }
};

/// A point of the skin, in the rigid frames of the joints that carry it, metres.
struct SkinPoint {
  Vec3d foot, toes, shank;
  double toesWeight = 0, shankWeight = 0;

  /// As if the shank had no part in it.
  [[nodiscard]] Vec3d rigidAt(const FootJoints& joints) const {
    const double rest = 1 - shankWeight;
    if (toesWeight <= 0 || rest <= 0) return apply(joints.foot, foot);
    return apply(joints.foot, foot) * (1 - toesWeight / rest) + apply(joints.toes, toes) * (toesWeight / rest);
  }
  [[nodiscard]] Vec3d at(const FootJoints& joints) const {
    Vec3d p = apply(joints.foot, foot) * (1 - toesWeight - shankWeight);
    if (toesWeight > 0) p += apply(joints.toes, toes) * toesWeight;
    if (shankWeight > 0) p += apply(joints.shank, shank) * shankWeight;
    return p;
  }
  /// The heights of both, but for rounding.
  [[nodiscard]] double rigidHeight(const FootSlopes& slopes) const {
    const double rest = 1 - shankWeight, share = toesWeight <= 0 || rest <= 0 ? 0 : toesWeight / rest;
    return slopes.foot.of(foot) * (1 - share) + (share > 0 ? slopes.toes.of(toes) * share : 0);
  }
  [[nodiscard]] double height(const FootSlopes& slopes) const {
    double h = slopes.foot.of(foot) * (1 - toesWeight - shankWeight);
    if (toesWeight > 0) h += slopes.toes.of(toes) * toesWeight;
    if (shankWeight > 0) h += slopes.shank.of(shank) * shankWeight;
    return h;
  }
};

/// Where points are in one pose, worked out as they are asked for.
class Places {
 public:
  explicit Places(const std::vector<SkinPoint>& points) : points_(&points), at_(points.size()), known_(points.size(), 0) {}
  void load(const FootJoints& joints) {
    joints_ = joints;
    std::fill(known_.begin(), known_.end(), 0);
    loaded_ = true;
  }
  void clear() { loaded_ = false; }
  [[nodiscard]] explicit operator bool() const { return loaded_; }
  [[nodiscard]] const Vec3d& at(std::size_t i) {
    if (!known_[i]) at_[i] = (*points_)[i].at(joints_), known_[i] = 1;
    return at_[i];
  }
  [[nodiscard]] Vec3d rigidAt(std::size_t i) { return (*points_)[i].shankWeight > 0 ? (*points_)[i].rigidAt(joints_) : at(i); }

 private:
  const std::vector<SkinPoint>* points_;
  FootJoints joints_;
  std::vector<Vec3d> at_;
  std::vector<char> known_;
  bool loaded_ = false;
};

/// Points of a foot's skin that can be lowest while it stands or rolls.
std::vector<SkinPoint> bearingPoints(const RepairContext& context, int side) {
  const LimbRig& leg = context.legs[static_cast<std::size_t>(side)];
  const std::vector<SoleVertex>& skin = context.soles[static_cast<std::size_t>(side)].skin;
  if (leg.end < 0 || skin.empty()) return {};
  const Affined toWorld = worldFromFile(*context.figure, context.body.pose);
  std::vector<Vec3d> world;
  for (const SoleVertex& v : skin) world.push_back(apply(toWorld, v.position));
  // What bends apart has its own lowest points: toes, and skin that the shank draws along.
  std::array<std::vector<std::size_t>, 4> groups;
  for (std::size_t i = 0; i < skin.size(); ++i) groups[(skin[i].toes > 0.5F ? 1U : 0U) + (skin[i].other > 0.1F ? 2U : 0U)].push_back(i);
  std::vector<std::size_t> chosen;
  const auto choose = [&](const Vec3d& direction) {
    for (const std::vector<std::size_t>& group : groups)
      if (!group.empty())
        chosen.push_back(*std::max_element(group.begin(), group.end(), [&](std::size_t a, std::size_t b) { return dot(world[a], direction) < dot(world[b], direction); }));
  };
  constexpr double degree = std::numbers::pi / 180;
  choose({0, -1, 0});
  for (const double tilt : {2.0, 5.0, 10.0, 17.0, 25.0, 35.0, 45.0, 55.0, 65.0, 75.0})
    for (int k = 0; k < 24; ++k) {
      const double round = k * 15 * degree;
      choose({std::sin(tilt * degree) * std::cos(round), -std::cos(tilt * degree), std::sin(tilt * degree) * std::sin(round)});
    }
  // Of what the shank draws along no two points go the same way: which of them stays is known only where all are looked at.
  if (std::any_of(skin.begin(), skin.end(), [](const SoleVertex& v) { return v.other > 0.005F; })) {
    double low = 1e300;
    for (const Vec3d& p : world) low = std::min(low, p.y);
    for (std::size_t i = 0; i < world.size(); ++i)
      if (world[i].y - low < 0.02 * context.height) chosen.push_back(i);
  }
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  const SkinFrames frames(context);
  const auto in = [&](int joint, std::size_t i) { return joint < 0 ? Vec3d{} : frames.local(joint, skin[i].position); };
  std::vector<SkinPoint> points;
  for (const std::size_t i : chosen)
    points.push_back({in(leg.end, i), in(leg.tip, i), in(leg.mid, i), leg.tip < 0 ? 0.0 : static_cast<double>(skin[i].toes),
                      leg.mid < 0 || skin[i].other <= 0.005F ? 0.0 : static_cast<double>(skin[i].other)});
  return points;
}

/// Those of both feet, found once a character.
struct BearingPoints {
  std::array<std::vector<SkinPoint>, 2> feet;
};

std::string millimetres(double metres) {
  char text[32];
  std::snprintf(text, sizeof text, metres < 0.00995 ? "%.1f mm" : "%.0f mm", 1000 * metres);
  return text;
}

}  // namespace

std::optional<PlantKept> plantKept(const RepairContext& context, const TiledMotion& motion, const Repair& repair, const FeetLimits& limits) {
  const auto* plant = std::get_if<PlantRepair>(&repair.action);
  if (!plant || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) return std::nullopt;
  const auto bearing = context.parts->get<BearingPoints>([&] { return BearingPoints{{bearingPoints(context, 0), bearingPoints(context, 1)}}; });
  const std::size_t side = plant->part == PlantPart::leftFoot ? 0 : 1;
  const std::vector<SkinPoint>& points = bearing->feet[side];
  const LimbRig& leg = context.legs[side];
  const RepairFrames frames = repairFrames(repair, context.rate, context.frames);
  if (points.empty() || frames.span.empty() || frames.span.last >= motion.frames()) return std::nullopt;
  PlantKept kept;
  kept.held = frames.span;
  if (plant->release) kept.held.last = std::clamp(static_cast<int>(std::lround(*plant->release * context.rate.hertz())), kept.held.first, kept.held.last);
  Poser poser(context);
  for (const SkinPoint& point : points) kept.soft = std::max(kept.soft, point.shankWeight);
  // Of most points it is enough to know that they are not down: where others are is worked out for those of interest.
  Places start(points), before(points), now(points);
  struct Down {
    std::size_t point = 0;
    double height = 0;
    Vec3d at;
  };
  std::vector<double> heights(points.size()), rigidHeights(points.size());
  std::vector<Down> downs, rigidDowns;
  constexpr double rounding = 1e-9;
  int flatFrames = 0, stillFrames = 0;
  int moving = 0;
  const double down = context.scaled(0.002), most = context.scaled(limits.height), farthest = context.scaled(limits.slide);
  const bool soft = kept.soft > 0;
  double lowBefore = 0;
  Vec3d carried;
  const auto beyond = [](FrameSpan& span, int f) { span = span.empty() ? FrameSpan{f, f} : FrameSpan{span.first, f}; };
  const auto slidTo = [&](double slid, int f) {
    if (slid > farthest) beyond(kept.slides, f);
    if (slid > kept.slide) {
      kept.slide = slid;
      kept.slideFrame = f;
    }
  };
  for (int f = kept.held.first; f <= kept.held.last; ++f) {
    // When a foot comes and goes is known to a frame.
    if ((f == kept.held.first && f > 0) || (f == kept.held.last && f + 1 < motion.frames())) continue;
    poser.load(motion, f);
    const FootJoints joints = jointsAt(poser, leg);
    now.load(joints);
    const FootSlopes slopes(joints, plant->normal, plant->ground);
    const auto overGround = [&](const Vec3d& p) { return dot(p, plant->normal) - plant->ground; };
    double nearlyLow = 1e300, nearlyRigidLow = 1e300;
    for (std::size_t i = 0; i < points.size(); ++i) {
      heights[i] = points[i].height(slopes);
      nearlyLow = std::min(nearlyLow, heights[i]);
      if (!soft) continue;
      rigidHeights[i] = points[i].shankWeight > 0 ? points[i].rigidHeight(slopes) : heights[i];
      nearlyRigidLow = std::min(nearlyRigidLow, rigidHeights[i]);
    }
    double low = 1e300, rigidLow = 1e300;
    downs.clear();
    rigidDowns.clear();
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (heights[i] <= nearlyLow + down + rounding) {
        const Vec3d& p = now.at(i);
        downs.push_back({i, overGround(p), p});
        low = std::min(low, downs.back().height);
      }
      if (soft && rigidHeights[i] <= nearlyRigidLow + down + rounding) {
        const Vec3d p = now.rigidAt(i);
        rigidDowns.push_back({i, overGround(p), p});
        rigidLow = std::min(rigidLow, rigidDowns.back().height);
      }
    }
    if (!soft) rigidLow = low;
    kept.rigidAbove = std::max(kept.rigidAbove, rigidLow);
    kept.rigidBelow = std::max(kept.rigidBelow, -rigidLow);
    if (low > most) beyond(kept.floats, f);
    if (-low > most) beyond(kept.sinks, f);
    if (low > kept.above) {
      kept.above = low;
      kept.aboveFrame = f;
    }
    if (-low > kept.below) {
      kept.below = -low;
      kept.belowFrame = f;
    }
    if (phaseAt(*plant, context.rate, f) != PlantPhase::flat) {
      start.clear();
      before.clear();
      carried = {};
      continue;
    }
    if (!start) start.load(joints);
    const auto slideOf = [&](const Vec3d& way) { return length(way - plant->normal * dot(way, plant->normal)); };
    for (const Down& rigid : rigidDowns)
      if (rigid.height <= rigidLow + down) kept.rigidSlide = std::max(kept.rigidSlide, slideOf(rigid.at - start.rigidAt(rigid.point)));
    double moved = before ? 0 : 1e300, farMoved = 0, least = 1e300;
    Vec3d step;
    for (const Down& lies : downs) {
      if (lies.height > low + down) continue;
      if (before) {
        const Vec3d& was = before.at(lies.point);
        farMoved = std::max(farMoved, dot(lies.at - was, lies.at - was));
        if (soft && overGround(was) <= lowBefore + down && slideOf(lies.at - was) < least) {
          step = lies.at - was;
          least = slideOf(step);
        }
      }
      if (!soft) slidTo(slideOf(lies.at - start.at(lies.point)), f);
    }
    if (before) moved = std::sqrt(farMoved);
    if (soft && before) {
      // Skin that the shank draws along cannot all stay; what counts is what stands still while it touches.
      carried += step;
      moved = least;
      slidTo(slideOf(carried), f);
    }
    if (before) {
      ++flatFrames;
      const bool stays = moved < context.scaled(limits.step);
      stillFrames += stays;
      moving = stays ? 0 : moving + 1;
      kept.moving = std::max(kept.moving, moving);
    }
    std::swap(before, now);
    lowBefore = low;
  }
  if (!soft) kept.rigidSlide = kept.slide;
  if (flatFrames > 0) kept.still = static_cast<double>(stillFrames) / flatFrames;
  return kept;
}

Findings feetFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& plants, const FeetLimits& limits) {
  Findings out;
  for (const Repair& repair : plants) {
    const std::optional<PlantKept> kept = plantKept(context, motion, repair, limits);
    if (!kept) continue;
    const bool planted = kept->still >= limits.stillPart && kept->slide < context.scaled(limits.rollOff) &&
                         context.rate.seconds(kept->moving) <= limits.rollTime;
    const bool left = std::get<PlantRepair>(repair.action).part == PlantPart::leftFoot;
    const std::string foot = left ? "left foot" : "right foot";
    const auto add = [&](FindingKind kind, double metres, double rigid, double limit, FrameSpan span, int frame, std::string sentence) {
      if (metres <= context.scaled(limit)) return;
      Finding finding;
      finding.kind = kind;
      finding.measure = 1000 * metres;
      finding.severity = std::clamp(metres / context.scaled(0.04), 0.02, 1.0);
      finding.span = span;
      finding.worst = frame;
      finding.bones = {left ? "@leftFoot" : "@rightFoot"};
      finding.sentence = std::move(sentence);
      finding.proposal = {repair};
      if (kept->soft > 0 && rigid < 0.5 * metres)
        finding.cause = "The skin of the sole hangs by up to " + std::to_string(static_cast<int>(std::lround(100 * kept->soft))) + " % on the shank and goes along with it: the foot itself is off by " +
                        millimetres(rigid);
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    };
    if (!planted) add(FindingKind::slide, kept->slide, kept->rigidSlide, limits.slide, kept->slides, kept->slideFrame, "The " + foot + " slides " + millimetres(kept->slide) + " while it stands");
    add(FindingKind::afloat, kept->above, kept->rigidAbove, limits.height, kept->floats, kept->aboveFrame, "The " + foot + " stands up to " + millimetres(kept->above) + " above the ground");
    add(FindingKind::sink, kept->below, kept->rigidBelow, limits.height, kept->sinks, kept->belowFrame, "The " + foot + " sinks " + millimetres(kept->below) + " into the ground");
  }
  return out;
}

}  // namespace understudy
