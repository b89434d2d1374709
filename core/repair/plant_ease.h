// How a foot differs from its own way. Internal to plants.
#pragma once

#include "core/math/quat.h"
#include "core/repair/plant_stay.h"

namespace understudy {

/// A change of a foot against its own way. `toe`: in the toes' frame below the foot.
struct Change {
  Vec3d at, foot, toe;
};
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

}  // namespace understudy
