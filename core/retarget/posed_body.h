// A figure in its reference pose, ready to be compared with another one. Internal to retargeting and its analyses.
#pragma once

#include <optional>

#include "core/retarget/retarget.h"
#include "core/retarget/rig.h"

namespace understudy {

/// World metres, Y up, facing +Z.
struct PosedBody {
  const Figure* figure = nullptr;
  const SkeletonMap* map = nullptr;
  ReferencePose pose;
  RigidRig rig;
  std::vector<Quatd> rotation;      ///< of every joint in the reference pose
  std::vector<Vec3d> position;
  std::vector<Quatd> local;         ///< local rotations that give `rotation`
  std::vector<Vec3d> translation;   ///< local translations in the reference pose, file unit
  std::vector<char> displaced;      ///< joints whose reference translation differs from their rest translation
  bool fromClip = false;            ///< the reference is a frame of the clip, not a pose made as one

  [[nodiscard]] int joint(Role role) const { return map->joint(role); }
  [[nodiscard]] bool has(Role role) const { return joint(role) >= 0; }
  [[nodiscard]] std::optional<Vec3d> at(Role role) const {
    const int j = joint(role);
    return j < 0 ? std::nullopt : std::optional<Vec3d>(position[j]);
  }
};

[[nodiscard]] Result<PosedBody> posedBody(const Figure& figure, const SkeletonMap& map, const Motion* motion, const ReferenceSettings& settings);

/// Role whose joint ends the role's segment (upper arm → lower arm …); −1 joint where there is none on this body.
[[nodiscard]] int segmentEnd(const SkeletonMap& map, Role role);

}  // namespace understudy
