#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/repair/plant.h"
#include "core/math/median.h"
#include "core/repair/plant_parts.h"
#include "core/repair/plant_stay.h"
#include "core/repair/set_shape.h"

namespace understudy {
namespace {

/// Mean direction of the foot over frames first … last of those that are flat (all but spins where none is); nothing where
/// there is no frame.
std::optional<double> meanYaw(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, std::size_t first, std::size_t last) {
  for (const bool flatOnly : {true, false}) {
    double x = 0, z = 0;
    int count = 0;
    for (std::size_t i = first; i <= last && i < own.size(); ++i) {
      if (flatOnly ? stay.phases[i] != PlantPhase::flat : stay.phases[i] == PlantPhase::spin) continue;
      const double yaw = leg.yawOf(own[i].foot.foot);
      x += std::sin(yaw);
      z += std::cos(yaw);
      ++count;
    }
    if (count > 0) return std::atan2(x, z);
  }
  return std::nullopt;
}

/// The foot's direction before its first spin, and how far it goes on in each: between the mean directions around it, the way round
/// that the motion itself takes.
void turnOver(PlantRepair& plant, const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, double rate) {
  std::vector<double> yaws{leg.yawOf(own.front().foot.foot)};  // unrolled
  for (std::size_t i = 1; i < own.size(); ++i) yaws.push_back(yaws.back() + std::remainder(leg.yawOf(own[i].foot.foot) - yaws.back(), 2 * std::numbers::pi));
  struct Spin {
    std::size_t first, last;
  };
  std::vector<Spin> spins;
  for (std::size_t i = 0; i < own.size(); ++i) {
    if (stay.phases[i] != PlantPhase::spin) continue;
    if (!spins.empty() && spins.back().last + 1 == i) spins.back().last = i;
    else spins.push_back({i, i});
  }
  // Between spins, the value near the motion's own there.
  const auto between = [&](std::size_t first, std::size_t last, std::size_t near) {
    return first > last || last >= own.size() ? yaws[near] : yaws[near] + std::remainder(meanYaw(stay, leg, own, first, last).value_or(yaws[near]) - yaws[near], 2 * std::numbers::pi);
  };
  double before = spins.empty() ? between(0, own.size() - 1, own.size() / 2) : spins.front().first == 0 ? yaws.front() : between(0, spins.front().first - 1, spins.front().first - 1);
  plant.yaw = std::remainder(before, 2 * std::numbers::pi);
  for (std::size_t s = 0; s < spins.size(); ++s) {
    const std::size_t from = spins[s].last + 1, to = s + 1 < spins.size() ? spins[s + 1].first - 1 : own.size() - 1;
    const double after = from >= own.size() ? yaws.back() : between(from, to, from);
    plant.turn += after - before;
    if (spins.size() > 1) {
      // Of marks that follow each other in one spin the first carries it all.
      const double time = (stay.span.first + static_cast<double>(spins[s].first)) / rate;
      PlantMark* holds = nullptr;
      for (PlantMark& mark : plant.marks)
        if (mark.phase == PlantPhase::spin && mark.time <= time + 1e-6 / rate && (!holds || mark.time >= holds->time)) holds = &mark;
      if (holds) holds->turn = after - before;
    }
    before = after;
  }
}

/// Brings a place near enough to all hips: within `radius` of `centre` at each frame, as far as that can be had.
struct Disc {
  double x, z, radius;
};
void bringWithin(const std::vector<Disc>& discs, double& x, double& z) {
  for (int pass = 0; pass < 60; ++pass) {
    double worst = 1e-6, wx = 0, wz = 0;
    for (const Disc& d : discs) {
      const double away = std::hypot(x - d.x, z - d.z), over = away - d.radius;
      if (over <= worst || away <= 0) continue;
      worst = over;
      wx = (d.x - x) / away * over;
      wz = (d.z - z) / away * over;
    }
    if (worst <= 1e-6) return;
    x += wx;
    z += wz;
  }
}

/// Ground that nobody has stated is the nearest surface of the set below a foot that stands nearer to it than to the floor.
void standOnSet(PlantRepair& plant, const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const RepairContext& context) {
  if (plant.ground != 0 || plant.normal != Vec3d{0, 1, 0} || context.set.empty()) return;
  Vec3d sole;
  int count = 0;
  for (std::size_t i = 0; i < own.size(); ++i)
    if (stay.phases[i] == PlantPhase::flat || i == own.size() / 2) sole += own[i].foot.at, ++count;
  sole = sole / static_cast<double>(count) - Vec3d{0, leg.height, 0};
  double nearest = std::abs(sole.y);
  for (const SetItem& item : context.set) {
    const Result<SetShape> shape = setShapeOf(item);
    if (!shape) continue;
    const SurfacePoint at = nearestOn(*shape, sole);
    if (at.normal.y < 0.7 || std::abs(at.distance) >= nearest) continue;
    nearest = std::abs(at.distance);
    plant.normal = at.normal;
    // The plane's height right below the foot.
    plant.ground = at.point.y + (at.normal.x * (at.point.x - sole.x) + at.normal.z * (at.point.z - sole.z)) / at.normal.y;
  }
}

}  // namespace

Repair anchoredPlant(Repair repair, const RepairContext& context, const TiledMotion& motion) {
  auto* plant = std::get_if<PlantRepair>(&repair.action);
  if (!plant || plant->anchored) return repair;
  const RepairFrames frames = repairFrames(repair, context.rate, motion.frames());
  if (frames.span.empty()) return repair;
  if (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot) {
    anchorPart(*plant, context, motion, frames);
    return repair;
  }
  const std::array<PlantLeg, 2>& legs = context.standing->legs;
  const PlantLeg& leg = legs[plant->part == PlantPart::leftFoot ? 0 : 1];
  plant->turn = plant->yaw = plant->lift = 0;
  for (PlantMark& mark : plant->marks) mark.turn.reset();
  plant->anchor = {};
  std::optional<Stay> stay = stayOf(context, repair, frames, leg);
  if (!stay || context.joint(Role::hips) < 0) return repair;
  LegsPose pose(context, legs);
  std::vector<LegFrame> own;
  for (int f = stay->span.first; f <= stay->span.last; ++f) {
    pose.load(motion, f);
    own.push_back(pose.leg(stay->side));
  }

  standOnSet(*plant, *stay, leg, own, context);
  stay = stayOf(context, repair, frames, leg);

  turnOver(*plant, *stay, leg, own, context.rate.hertz());
  stay = stayOf(context, repair, frames, leg);

  // The pelvis follows the flat foot; where none is flat, the lower part of the stay.
  const Vec3d& n = stay->plane.normal;
  stay->base = {0, plant->ground, 0};
  stay->plane = groundPlane(stay->base, n);
  std::vector<double> lifts;
  for (const bool flatOnly : {true, false}) {
    if (!lifts.empty()) break;
    for (std::size_t i = 0; i < own.size(); ++i)
      if (!flatOnly || stay->phases[i] == PlantPhase::flat) lifts.push_back((leg.height - stay->plane.above(own[i].foot.at)) / std::max(n.y, 0.1));
  }
  plant->lift = stay->lift = median(std::move(lifts));

  // Where the foot stands so that what is left to move it by is least, within reach of the hip. How it rolls depends on where it
  // stands, so the place is found in a few rounds, from under the flat foot.
  const std::size_t held = std::clamp<std::size_t>(static_cast<std::size_t>(stay->release - stay->span.first), 1, own.size());
  const PlantSettings& settings = plantSettings();
  double x = 0, z = 0;
  for (int round = 0; round < 4; ++round) {
    std::vector<FootPose> feet;
    if (round > 0) {
      feet = standingFeet(*stay, leg, own);
      for (FootPose& f : feet) f.at -= Vec3d{x, 0, z};
    }
    double nx = 0, nz = 0, count = 0;
    for (std::size_t i = 0; i < held; ++i) {
      if (round == 0 && held > 1 && stay->phases[i] != PlantPhase::flat && i != held / 2) continue;
      nx += own[i].foot.at.x - (feet.empty() ? 0 : feet[i].at.x);
      nz += own[i].foot.at.z - (feet.empty() ? 0 : feet[i].at.z);
      ++count;
    }
    x = nx / count;
    z = nz / count;
    // Without the pelvis sinking where that takes the foot not far from its own place, or at least with all it may sink.
    for (const double sink : {settings.pelvisLimit, 0.0}) {
      if (feet.empty()) break;
      std::vector<Disc> discs;
      for (std::size_t i = 0; i < held; ++i) {
        const double most = settings.straightest * (distance(own[i].hip, own[i].knee) + distance(own[i].knee, own[i].foot.at));
        const double dy = own[i].hip.y + plant->lift - sink * context.leg - feet[i].at.y;
        discs.push_back({own[i].hip.x - feet[i].at.x, own[i].hip.z - feet[i].at.z, std::sqrt(std::max(0.0, most * most - dy * dy))});
      }
      nx = x, nz = z;
      bringWithin(discs, nx, nz);
      if (sink > 0 || std::hypot(nx - x, nz - z) < 0.02 * context.leg) x = nx, z = nz;
    }
    stay->base = {x, plant->ground, z};
    stay->plane = groundPlane(stay->base, n);
  }
  plant->anchor = Vec3d{x, plant->ground, z} + n * leg.height;
  plant->anchored = true;
  return repair;
}

}  // namespace understudy
