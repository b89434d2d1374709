#include "core/repair/prop_floor.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/math/smooth_step.h"
#include "core/repair/grip.h"

namespace understudy {
namespace {

/// Metres of a character of 1.7 m. A tilt keeps a little more off the ground than the handle's way through the hands, so that hands
/// that can tilt the prop keep their places on it.
constexpr double tiltLevel = 0.0025, tiltSoft = 0.008, runLevel = 0.0005, runSoft = 0.001;
constexpr double furthestTilt = 20 * std::numbers::pi / 180;

/// `x` where it is above `soft`, 0 below −soft, smooth between; never less than x.
double above0(double x, double soft) { return x <= -soft ? 0 : x >= soft ? x : (x + soft) * (x + soft) / (4 * soft); }

/// Height of the lowest of some points of a prop, and which it is.
struct Lowest {
  double height = 1e300;
  const Vec3d* point = nullptr;
};
Lowest lowestOf(const std::vector<Vec3d>& points, const Rigid& place) {
  const Vec3d up = rotate(conjugate(place.turn), Vec3d{0, 1, 0});
  Lowest out;
  for (const Vec3d& p : points)
    if (const double y = dot(up, p); y < out.height) out = {y, &p};
  out.height += place.at.y;
  return out;
}

}  // namespace

std::vector<Vec3d> propSurface(const PropItem& prop) {
  if (!prop.outline.empty()) return prop.outline;
  std::vector<Vec3d> out;
  if (!prop.path.empty()) return out;
  // Four lines along the shaft.
  const double length = prop.length * prop.scale, radius = prop.radius * prop.scale;
  const int rings = std::clamp(static_cast<int>(std::lround(length / 0.04)) + 1, 2, 48);
  for (int r = 0; r < rings; ++r)
    for (const Vec3d& way : {Vec3d{1, 0, 0}, Vec3d{0, 0, 1}, Vec3d{-1, 0, 0}, Vec3d{0, 0, -1}}) out.push_back(Vec3d{0, length * r / (rings - 1), 0} + way * radius);
  return out;
}

std::optional<PropHandle> handleOfGrip(const PropItem& prop, const GripRepair& grip, double height) {
  if (!prop.end || !isFinite(*prop.end)) return std::nullopt;
  const Rigid lead = rigidOf(grip.leadGrip);
  PropHandle handle;
  handle.up = rotate(normalised(prop.leadGrip.rotation), Vec3d{0, 1, 0});
  if (dot(lead.at - *prop.end, handle.up) < 0) handle.up = -handle.up;
  const Vec3d foot = prop.foot.value_or(*prop.end);
  double nearest = dot(lead.at - foot, handle.up);
  if (grip.support) nearest = std::min(nearest, dot(grip.supportGrip.position - foot, handle.up));
  handle.room = std::max(0.0, nearest - 0.025 * height);  // half a palm
  return handle;
}

std::optional<PropFloor> PropFloor::of(const PropItem& prop, const GripRepair& grip, double height) {
  if (!grip.floor) return std::nullopt;
  const std::optional<PropHandle> handle = handleOfGrip(prop, grip, height);
  std::vector<Vec3d> points = propSurface(prop);
  if (!handle || points.empty()) return std::nullopt;
  PropFloor out;
  out.points_ = std::make_shared<const std::vector<Vec3d>>(std::move(points));
  out.handle_ = *handle;
  out.size_ = height > 0 ? height / 1.7 : 1;
  return out;
}

double lowestHeight(const std::vector<Vec3d>& points, const Rigid& place) { return lowestOf(points, place).height; }

double PropFloor::lowest(const Rigid& prop) const { return lowestHeight(*points_, prop); }

Quatd PropFloor::tilt(const Rigid& prop, const Vec3d& pivot) const {
  const double low = lowest(prop), wanted = low + above0(tiltLevel * size_ - low, tiltSoft * size_);
  if (!(wanted > low)) return {};
  const Vec3d down = -rotate(prop.turn, handle_.up), across{-down.z, 0, down.x};
  const double lean = length(across), room = furthestTilt * smoothStep((lean - 0.15) / 0.25);
  if (room <= 0) return {};
  const Vec3d axis = across / lean;  // about it the working end rises
  double angle = 0;
  for (int step = 0; step < 6; ++step) {
    const Quatd turn = fromAxisAngle(axis, angle);
    const Rigid now = Rigid{turn, pivot - rotate(turn, pivot)} * prop;
    const Lowest least = lowestOf(*points_, now);
    const double missing = wanted - least.height, rise = cross(axis, apply(now, *least.point) - pivot).y;
    if (rise < 1e-3 || std::abs(missing) < 1e-7) break;
    angle = std::clamp(angle + missing / rise, 0.0, room);
  }
  return fromAxisAngle(axis, angle);
}

double PropFloor::run(const Rigid& prop) const {
  const double deep = above0(runLevel * size_ - lowest(prop), runSoft * size_), rise = rotate(prop.turn, handle_.up).y;
  // Along a handle that lies nearly level nothing is lifted.
  return deep > 0 && rise > 0 ? std::min(deep / std::max(rise, 0.2) * smoothStep((rise - 0.1) / 0.1), handle_.room) : 0;
}

Rigid PropFloor::above(const Rigid& prop, double share) const {
  if (share <= 0) return prop;
  const double way = share * run(prop);
  return way > 0 ? Rigid{prop.turn, prop.at + rotate(prop.turn, handle_.up) * way} : prop;
}

double propTouched(const RepairContext& context, const std::vector<const Repair*>& repairs, std::uint64_t prop, int frame, int frames) {
  double most = 0;
  for (const Repair* repair : repairs) {
    const auto* touch = std::get_if<TouchRepair>(&repair->action);
    if (!touch || touch->prop != prop || prop == 0 || repair->muted || repair->weight <= 0) continue;
    most = std::max(most, std::clamp(repair->weight, 0.0, 1.0) * spanWeight(repairFrames(*repair, context.rate, frames), frame));
  }
  return most;
}

}  // namespace understudy
