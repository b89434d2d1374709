// Rotations as angles people read, over time, and back.
#pragma once

#include <array>
#include <vector>

#include "core/motion/tiled_motion.h"
#include "core/skeleton/skeleton.h"

namespace understudy::editor {

/// Degrees. Which three they are is said by Angles.
using Triple = std::array<double, 3>;

enum class Angles {
  turns,  ///< about X, Y and Z of the joint: q = Rx · Ry · Rz
  limb,   ///< to the side, forward (the bone's direction) and twist about the bone: q = swing · twist
};

/// The angles of a rotation relative to rest, the ones nearest to `near` of all that mean the same.
[[nodiscard]] Triple anglesOf(const Quatd& q, Angles angles, const Vec3d& axis, const Triple& near);
/// The rotation that angles mean; exact inverse of anglesOf.
[[nodiscard]] Quatd rotationOf(const Triple& degrees, Angles angles, const Vec3d& axis);
/// Direction of a bone in its own frame at rest: to its only child or the middle of its children, its own offset for a tip; +Y where
/// there is none.
[[nodiscard]] Vec3d boneAxis(const Skeleton& skeleton, int joint);
/// Rotation of a joint relative to its rest pose.
[[nodiscard]] Quatd relative(const Skeleton& skeleton, const TiledMotion& motion, int joint, int frame);
/// A joint's angles at every frame of a motion, without leaps that the rotation does not make.
[[nodiscard]] std::array<std::vector<double>, 3> rotationCurves(const Skeleton& skeleton, const TiledMotion& motion, int joint, Angles angles = Angles::turns);

}  // namespace understudy::editor
