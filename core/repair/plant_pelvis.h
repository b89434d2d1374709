// Where the feet that stand would have the pelvis. Internal to plants.
#pragma once

#include <span>

#include "core/repair/plant_pose.h"

namespace understudy {

/// How the pelvis goes against its own way: the joint that carries the trunk moves by `by`, metres, and the hips turn about it by
/// the world rotation vector `turn`.
struct PelvisMove {
  Vec3d by, turn;
  friend bool operator==(const PelvisMove&, const PelvisMove&) = default;
};
inline PelvisMove operator*(const PelvisMove& m, double s) { return {m.by * s, m.turn * s}; }
inline PelvisMove operator+(const PelvisMove& a, const PelvisMove& b) { return {a.by + b.by, a.turn + b.turn}; }

/// By how much a point that hangs on the pelvis moves. `pivot`: what the pelvis turns about.
[[nodiscard]] inline Vec3d movedBy(const PelvisMove& move, const Vec3d& pivot, const Vec3d& point) {
  return move.turn == Vec3d{} ? move.by : move.by + rotate(expOf(move.turn), point - pivot) - (point - pivot);
}

/// A leg with a say in where the pelvis goes.
struct PelvisLeg {
  const LegFrame& own;
  Vec3d hinge;      ///< see LimbRig
  Vec3d foot;       ///< where its foot's joint is to be
  double most = 1;  ///< parts of its length over which it may reach, and fold
  double least = 0;
  double weight = 1;
};

/// The move that changes the directions of thighs and shanks least: the sum of their squares, with `restShift` per square of a
/// move by a leg's length and `restTurn` per square of a turn. Gauss and Newton's steps, damped as Levenberg and Marquardt do.
struct PelvisSettings {
  double restShift = 0.25;
  double restTurn = 0.3;
  double overreach = 900;  ///< per square of a part of the leg by which it reaches too far, or folds
  int rounds = 6;
};
[[nodiscard]] PelvisMove bestPelvis(std::span<const PelvisLeg> legs, const Vec3d& pivot, const PelvisSettings& settings);
/// The best of those from `start` on that keep its turn.
[[nodiscard]] PelvisMove bestShift(std::span<const PelvisLeg> legs, const Vec3d& pivot, const PelvisSettings& settings, const PelvisMove& start);

}  // namespace understudy
