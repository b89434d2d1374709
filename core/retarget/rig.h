// A skeleton reduced to what rotations need: rigid joints in world metres.
#pragma once

#include <span>
#include <vector>

#include "core/figure/figure.h"

namespace understudy {

/// Joints as rigid frames in world metres (Y up, figure facing +Z). Constant scale of the file's nodes is folded into
/// `stretch`, mirrored nodes into `post`, so that world rotations follow from local ones by
/// W[j] = W[parent] · q[j] · post[j] and positions by p[j] = p[parent] + W[parent] · stretch[j] · t[j].
struct RigidRig {
  std::vector<int> parents;
  std::vector<Quatd> post;        ///< identity except on mirrored nodes
  std::vector<char> hasPost;
  std::vector<Mat3d> stretch;     ///< parent's constant stretch × metres per unit (with −1 where mirrored)
  std::vector<Vec3d> translation; ///< t[j], file unit: rest translation
  Quatd base;                     ///< world rotation of a root's parent
  bool sheared = false;           ///< some joint has non-uniform scale above it: rotations are approximate there

  [[nodiscard]] int size() const { return static_cast<int>(parents.size()); }
  [[nodiscard]] Vec3d offset(int joint) const { return stretch[joint] * translation[joint]; }
};

/// `facing` turns the figure to +Z after its Space.
[[nodiscard]] RigidRig rigidRig(const Figure& figure, const Quatd& facing);

/// World rotations and positions of every joint for local rotations; `translations` (file unit, one a joint) may be
/// empty for rest translations.
void worldOf(const RigidRig& rig, std::span<const Quatd> local, std::span<const Vec3d> translations, std::span<Quatd> rotation,
             std::span<Vec3d> position);

/// Local rotations that give the world rotations.
void localOf(const RigidRig& rig, std::span<const Quatd> world, std::span<Quatd> local);

}  // namespace understudy
