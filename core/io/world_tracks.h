// World positions and orientations of a motion's joints, whatever scale the rig carries.
#pragma once

#include <span>

#include "core/motion/motion.h"

namespace understudy {

/// Keeps references to skeleton and motion. Orientation is the rotation part of the world transform (file unit and
/// axes); without scale it is the product of the joints' rotations.
class WorldTracks {
 public:
  WorldTracks(const Skeleton& skeleton, const Motion& motion);
  /// Rest pose; one entry a joint.
  void rest(std::span<Quatd> turns, std::span<Vec3d> points) const;
  /// Frame counted from 0; one entry a joint.
  void at(int frame, std::span<Quatd> turns, std::span<Vec3d> points) const;

 private:
  void fill(std::span<const Trsd> local, std::span<Quatd> turns, std::span<Vec3d> points) const;

  const Skeleton& skeleton_;
  const Motion& motion_;
  bool scaled_ = false;
};

}  // namespace understudy
