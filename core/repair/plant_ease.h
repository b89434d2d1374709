// How a foot leaves its own way and joins it again. Internal to plants.
#pragma once

#include <algorithm>

#include "core/math/quat.h"
#include "core/repair/plant_stay.h"

namespace understudy {

/// A change of a foot against its own way. `toe`: in the toes' frame below the foot.
struct Change {
  Vec3d at, foot, toe;
};
inline Change operator+(const Change& a, const Change& b) { return {a.at + b.at, a.foot + b.foot, a.toe + b.toe}; }
inline Change operator-(const Change& a, const Change& b) { return {a.at - b.at, a.foot - b.foot, a.toe - b.toe}; }
inline Change operator*(const Change& a, double s) { return {a.at * s, a.foot * s, a.toe * s}; }

[[nodiscard]] inline Change changeOf(const FootPose& own, const FootPose& wanted) {
  return {wanted.at - own.at, logOf(wanted.foot * conjugate(own.foot)),
          logOf(conjugate(conjugate(own.foot) * own.toe) * (conjugate(wanted.foot) * wanted.toe))};
}
[[nodiscard]] inline FootPose changed(const FootPose& own, const Change& c) {
  FootPose out;
  out.at = own.at + c.at;
  out.foot = normalised(expOf(c.foot) * own.foot);
  out.toe = normalised(out.foot * (conjugate(own.foot) * own.toe) * expOf(c.toe));
  return out;
}

/// A change that fades from the edge of a stay: value and slope matched there, nothing left after `length` frames.
struct Fading {
  Change value, slope;  // slope: a frame outwards
  int length = 0;
  int slopeLength = 0;
  [[nodiscard]] Change at(int distance) const {
    // Quintic with value, slope and no further curvature at the edge; all level at the far end.
    const double t = static_cast<double>(distance) / length;
    if (t >= 1) return {};
    const double u = std::min(1.0, static_cast<double>(distance) / slopeLength);
    return value * fade(t) + slope * (slopeLength * u * (1 - u * u * (6 - u * (8 - 3 * u))));
  }
};

/// The foot turned about its joint so that its toes rise by `angle`.
[[nodiscard]] inline FootPose pitched(const PlantLeg& foot, FootPose pose, double angle) {
  const Quatd turn = fromAxisAngle(normalised(rotate(pose.foot * conjugate(foot.level), foot.side), foot.side), angle);
  pose.foot = normalised(turn * pose.foot);
  pose.toe = normalised(turn * pose.toe);
  return pose;
}

}  // namespace understudy
