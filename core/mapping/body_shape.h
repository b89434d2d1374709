// The tree of a figure in one pose, and the body found in it from topology, geometry and (as far as they are trusted) names.
#pragma once

#include <array>
#include <vector>

#include "core/mapping/name_rules.h"
#include "core/math/vec.h"

namespace understudy {

/// Joints with their positions in one pose (world metres, Y up). `bone` joints may fill roles, `tip` joints only show
/// where a chain ends.
struct BodyTree {
  std::vector<int> parents;
  std::vector<std::vector<int>> bones;  ///< children that are bones
  std::vector<std::vector<int>> tips;   ///< children that are tips
  std::vector<char> isBone, isTip;
  std::vector<NameCue> cues;
  bool isSure = false;  ///< a skin or curves tell bones from tips
  double trust = 0;     ///< how far the names are believed, 0 … 1
  std::vector<Vec3d> at;

  [[nodiscard]] int size() const { return static_cast<int>(parents.size()); }
  [[nodiscard]] bool under(int ancestor, int joint) const;  ///< also true for the joint itself
};

/// One limb: the chain from the trunk outwards, and the places of its three main joints in it (−1: not there).
struct Limb {
  std::vector<int> chain;
  int upper = -1, lower = -1, end = -1;
  int detachedFoot = -1;  ///< foot that hangs elsewhere in the tree

  [[nodiscard]] int joint(int place) const { return place < 0 ? -1 : chain[place]; }
};

/// What was found. Side 0 and side 1 of legs and arms belong together; which of them is left is not known here.
struct BodyShape {
  double score = -1;               ///< how much this pose and tree look like an upright body; < 0: nothing found
  std::array<Limb, 2> legs, arms;  ///< arms' chains are empty for a lower body
  int hips = -1;
  std::vector<int> spine;  ///< from above the hips to the joint that carries the arms
  std::vector<int> neck;
  int head = -1;
  double leg = 0;  ///< thigh + shank, metres
  Vec3d lateral;   ///< unit, horizontal, from side 1 to side 0
};

/// Finds the body that fits best. Arms or head may be missing; without two legs the score stays below 0.
[[nodiscard]] BodyShape findBody(const BodyTree& tree);

}  // namespace understudy
