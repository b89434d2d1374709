// The part of a character's skin that can touch the ground.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"

namespace understudy {

/// A point fixed to a joint.
struct JointPoint {
  int joint = -1;
  Vec3d local;   ///< in the joint's own frame (its world transform in the pose `fileWorld`), file unit
};

/// A vertex of the skin that moves mainly with foot and toes, in the reference pose.
struct SoleVertex {
  Vec3d position;   ///< file unit and axes
  float toes = 0;   ///< weight of the toes' joints; what is left of 1 counts as the foot's
  float other = 0;  ///< weight of joints above the foot
};

/// Support points of one foot: the lowest points of its skin (or rigid meshes) seen from a fan of downward directions;
/// the joints and their leaves where the figure has no mesh there.
struct Sole {
  std::vector<JointPoint> points;
  std::vector<SoleVertex> skin;  ///< all that may bear weight; without a mesh the points again
  bool fromSkin = false;
};

/// Soles of both feet (left, right). `fileWorld` is the reference pose, `upFile` the unit up direction, both in the
/// file's unit and axes. A foot without a mapped joint gives an empty sole.
[[nodiscard]] std::array<Sole, 2> findSoles(const Figure& figure, const SkeletonMap& map, std::span<const Affined> fileWorld, const Vec3d& upFile);

}  // namespace understudy
