// Where a character's upper arm may point: a smooth map of its directions that leads those inside of the torso to its surface.
#pragma once

#include <array>
#include <memory>
#include <vector>

#include "core/body/body_model.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// One upper arm against the torso as both are in the reference pose. Directions turn away from straight inwards, along great circles
/// to straight outwards, up to where the arm is out; what points further out stays. The new direction is a function of the old one
/// alone and as smooth as that, so that a smooth performance stays smooth.
class ArmFit {
 public:
  ArmFit() = default;
  ArmFit(const RepairContext& context, const BodyModel& model, int side);
  /// Whether there is any direction to lead elsewhere.
  [[nodiscard]] bool none() const { return least_.empty(); }
  /// The rotation vector, radians, that leads a direction (unit) to where the arm may be. Both in the frame of what the arm hangs on,
  /// which is the stage's where that is as in the reference pose.
  [[nodiscard]] Vec3d turn(const Vec3d& direction) const;

 private:
  [[nodiscard]] double least(double way) const;

  double outwards_ = 1;        // x of straight outwards
  std::vector<double> least_;  // radians from straight inwards, by the way the circle goes, evenly around
};

/// Of both arms, worked out once for a character.
[[nodiscard]] std::shared_ptr<const std::array<ArmFit, 2>> armFits(const RepairContext& context, const BodyModel& model);

}  // namespace understudy
