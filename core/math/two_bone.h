// Bending a two-bone limb (thigh and shank, upper arm and forearm) so that its end meets a target.
#pragma once

#include <optional>

#include "core/math/quat.h"

namespace understudy {

/// Where a limb's joints are, all in one frame of reference and one unit: hip, knee, ankle; shoulder, elbow, wrist.
struct TwoBoneLimb {
  Vec3d root, mid, end;
};

/// What the limb should do; vectors in the limb's frame of reference.
struct TwoBoneGoal {
  Vec3d target;  ///< where the end should be
  /// Direction, from the root–target line, of the side the middle joint bends to. Without it, or where it points along
  /// that line, the limb keeps its own bend plane: the plane is carried by the shortest turn of the root–end line.
  std::optional<Vec3d> pole;
  /// Axis about which a positive turn of the second bone opens the joint; used (its part at right angles to the first
  /// bone) where the limb is within 0.5° of straight and its own plane is not to be trusted. Zero: the limb's plane as
  /// long as it has one, then any.
  Vec3d hinge;
  /// Part of the full length up to which targets are met exactly. Beyond, the end falls behind and nears full stretch
  /// without reaching it, so that the middle joint does not snap straight. 1: no such zone.
  double soft = 1;
  double weight = 1;  ///< 0: the limb stays; 1: the whole turn of both joints; clamped to 0 … 1
};

/// Turns in the limb's frame of reference, to be applied on the left of the joints' orientations:
/// root′ = rootTurn · root; mid′ = rootTurn · midTurn · mid.
struct TwoBoneSolution {
  Quatd rootTurn, midTurn;
  Vec3d mid, end;        ///< where the joints come to be, worked out from the turns
  double miss = 0;       ///< distance from `end` to the target
  bool reached = false;  ///< miss at most 1e-6 of the limb's length
};

/// Triangle solution by the law of cosines; lengths are kept, a target out of reach (too far, or nearer than the
/// difference of the bones) is approached along its line. A bone of no length, or numbers that are not finite: nothing
/// turns, and `reached` is false unless the end is there already.
[[nodiscard]] TwoBoneSolution solveTwoBone(const TwoBoneLimb& limb, const TwoBoneGoal& goal);

/// Angle in radians at the middle joint of a limb with bones `first` and `second` (both positive) whose root and end are
/// `reach` apart, which is clamped to what the limb allows. π: straight.
[[nodiscard]] double interiorAngle(double first, double second, double reach);

/// The distance at which the end of a limb of full length `full` stands for a target at `wanted`: the same up to
/// soft · full, beyond that an exponential approach to `full` with matching slope.
[[nodiscard]] double softReach(double wanted, double full, double soft);

}  // namespace understudy
