// One frame's pose in world metres that can be changed joint by joint.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// What a limb is to do; positions and directions in the stage.
struct LimbGoal {
  Vec3d target;                      ///< where the end joint should be
  std::optional<Quatd> endRotation;  ///< world; none: the end keeps the world rotation it has
  std::optional<Vec3d> pole;         ///< as in TwoBoneGoal
  double soft = 1;                   ///< as in TwoBoneGoal
};

/// Works in doubles on the rigid rig of a RepairContext; not for several threads at once. Joints that nothing turned or moved
/// keep their bytes when the pose is stored.
class Poser {
 public:
  explicit Poser(const RepairContext& context);

  /// Reads frame `frame` of a motion on the character's skeleton.
  void load(const TiledMotion& motion, int frame);
  /// Writes the joints that were changed since load() to a motion that is writable there; their quaternions stay in the
  /// hemisphere they were read in. Moves need a translation track there, other moves are lost.
  void store(TiledMotion& motion, int frame) const;

  [[nodiscard]] const RepairContext& context() const { return context_; }
  [[nodiscard]] const Quatd& rotation(int joint) const { return rotation_[static_cast<std::size_t>(joint)]; }
  [[nodiscard]] const Vec3d& position(int joint) const { return position_[static_cast<std::size_t>(joint)]; }
  [[nodiscard]] const Quatd& local(int joint) const { return local_[static_cast<std::size_t>(joint)]; }
  /// A point of a joint's rigid frame (metres) in the stage, and back.
  [[nodiscard]] Vec3d toWorld(int joint, const Vec3d& point) const { return position(joint) + rotate(rotation(joint), point); }
  [[nodiscard]] Vec3d toJoint(int joint, const Vec3d& point) const { return rotate(conjugate(rotation(joint)), point - position(joint)); }
  /// Where a joint takes a point of the reference pose that moves with it, both in the stage.
  [[nodiscard]] Affined turned(int joint) const;
  /// World rotation of what a joint hangs on.
  [[nodiscard]] const Quatd& above(int joint) const;

  /// Turns a joint and all below it about the joint's place by a rotation of the stage.
  void turn(int joint, const Quatd& worldTurn);
  void setRotation(int joint, const Quatd& world);
  /// Of a limb's end, and with it of what hangs beside it.
  void setEnd(const LimbRig& limb, const Quatd& world);
  void setLocal(int joint, const Quatd& local);
  /// Moves a joint and all below it.
  void moveBy(int joint, const Vec3d& worldShift);
  /// Brings a limb's end to a target: the limb bends in its own plane (or towards the pole), its end keeps or takes a world
  /// rotation, a detached end follows. Returns how far the end stays from the target, metres. An incomplete limb: infinity.
  double solveLimb(const LimbRig& limb, const LimbGoal& goal);
  /// Turns a limb's middle joint about the line from root to end; the end keeps its place and world rotation.
  void swivel(const LimbRig& limb, double angle);

 private:
  void carry(int joint);

  const RepairContext& context_;
  std::vector<Quatd> local_, rotation_, loadedLocal_;
  std::vector<Vec3d> translation_, position_, loadedTranslation_;
  std::vector<char> turned_, moved_;
};

}  // namespace understudy
