// Pelvis and legs of one frame, as far as plants need them. Internal to plants.
#pragma once

#include <array>
#include <vector>

#include "core/motion/tiled_motion.h"
#include "core/repair/plant_leg.h"
#include "core/repair/poser.h"

namespace understudy {

/// A leg at one frame of the motion, world.
struct LegFrame {
  Vec3d hip, knee;
  Quatd above, thigh, shank;  ///< above: of what the thigh hangs on
  FootPose foot;
  double straight = 0;  ///< see straightness()
  double openest = 1;   ///< distance of hip and foot with the knee opened as far as it goes, as part of the leg's length
};

/// Distance of hip and foot as part of the leg's length; beyond 1 by as much as a knee bent backwards lacks. `hinge`: see LimbRig.
[[nodiscard]] double straightness(const LegFrame& leg, const Vec3d& hinge);

/// The least part of its length over which a leg may be folded: near where thigh and shank lie on each other, or as far as it was.
[[nodiscard]] double mayFold(const LegFrame& leg);

/// The leg bent at its knee and swung about its hip so that its foot comes to `target`, or as near as it gets; the knee bends
/// `backwards` where that is asked for.
[[nodiscard]] LegFrame bentTo(const LegFrame& leg, const Vec3d& hinge, const FootPose& target, bool backwards = false);

/// The whole leg turned about its hip.
[[nodiscard]] LegFrame swung(LegFrame leg, const Quatd& turn);

/// By how much a knee is bent about the axis it is bent about here, radians, less than 0 backwards: what of its bend goes sideways does
/// not count. A knee bent to `bend`, the foot as it is turned and in the same direction from the hip.
[[nodiscard]] double kneeBend(const LegFrame& leg, const Vec3d& hinge);
[[nodiscard]] LegFrame withKneeBend(const LegFrame& leg, const Vec3d& hinge, double bend);

/// A place of the foot brought within `reach` of its hip: straight towards it, or where it `rises` upwards first, by no more than twice
/// what lacks: where a leg is almost level a long way up hardly helps.
[[nodiscard]] Vec3d broughtWithin(const Vec3d& hip, Vec3d at, double reach, bool rises);

/// Forward kinematics of the pelvis, both legs and what they hang on: a poser for a fifth of the joints. Works in doubles;
/// not for several threads at once.
class LegsPose {
 public:
  LegsPose(const RepairContext& context, const std::array<PlantLeg, 2>& legs);

  void load(const TiledMotion& motion, int frame);
  [[nodiscard]] LegFrame leg(int side) const;
  /// What the pelvis turns about: the joint below the hips that carries the trunk, else the hips' own.
  [[nodiscard]] const Vec3d& pivot() const { return position_[static_cast<std::size_t>(trunk_ >= 0 ? trunk_ : slotOf_[static_cast<std::size_t>(context_.joint(Role::hips))])]; }
  [[nodiscard]] const Quatd& pelvis() const { return rotation_[static_cast<std::size_t>(slotOf_[static_cast<std::size_t>(context_.joint(Role::hips))])]; }
  [[nodiscard]] const Quatd& trunk() const { return trunk_ >= 0 ? rotation_[static_cast<std::size_t>(trunk_)] : pelvis(); }
  /// Moves the hips and all below, legs and feet that hang elsewhere included; `turn` (a world rotation vector) turns the pelvis about
  /// the pivot with all that hangs on it but the trunk, which `trunk` turns.
  void move(const Vec3d& by, const Vec3d& turn = {}, const Vec3d& trunk = {});
  /// Turns a leg, its hip where it is already.
  void set(int side, const LegFrame& leg);
  /// Changes a poser of the same frame in the same way.
  void carryTo(Poser& pose) const;
  /// Writes what was changed since load().
  void store(TiledMotion& motion, int frame) const;

 private:
  [[nodiscard]] const Quatd& above(int slot) const;
  [[nodiscard]] std::vector<int> slotsBelow(int joint) const;
  void carry(const std::vector<int>& slots);
  void turn(int slot, const Quatd& world);
  void shift(int slot, const Vec3d& by);

  const RepairContext& context_;
  const std::array<PlantLeg, 2>& legs_;
  std::vector<int> joints_, parents_;      // ascending; parents as slots, −1 for what a root hangs on
  std::vector<int> slotOf_;
  std::array<std::vector<int>, 2> legSlots_;  // thigh and all below it, feet that hang elsewhere too
  std::vector<int> hipSlots_;              // hips and all below them
  std::vector<int> trunkSlots_;            // joints below the hips that carry trunk, head or arms
  int trunk_ = -1;                         // the first of them
  std::vector<Quatd> local_, rotation_;
  std::vector<Vec3d> translation_, position_;
  std::vector<char> turned_, moved_;
};

}  // namespace understudy
