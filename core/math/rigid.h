// Rigid placements: a turn and a place.
#pragma once

#include "core/math/quat.h"

namespace understudy {

/// Takes a point p of its own frame to turn·p + at in the frame around it.
struct Rigid {
  Quatd turn;
  Vec3d at;
  friend constexpr bool operator==(const Rigid&, const Rigid&) = default;
};

[[nodiscard]] inline Rigid operator*(const Rigid& a, const Rigid& b) { return {normalised(a.turn * b.turn), rotate(a.turn, b.at) + a.at}; }
[[nodiscard]] inline Vec3d apply(const Rigid& a, const Vec3d& p) { return rotate(a.turn, p) + a.at; }
[[nodiscard]] inline Rigid inverse(const Rigid& a) { return {conjugate(a.turn), -rotate(conjugate(a.turn), a.at)}; }
/// Part of the way from `a` to `b`: places along the line, turns the short way round.
[[nodiscard]] inline Rigid blend(const Rigid& a, const Rigid& b, double t) { return {slerp(a.turn, b.turn, t), lerp(a.at, b.at, t)}; }

}  // namespace understudy
