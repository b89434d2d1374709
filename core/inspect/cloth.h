// Skirts, coats and hair: bones that no role fills and that carry skin, where the body comes through.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct ClothLimits {
  double least = 0.012;  ///< metres of a character 1.7 m tall; grids are right to a few millimetres, and cloth lies close
  double join = 0.25;    ///< seconds between spans of one bone that are told as one
  int points = 24;       ///< of a bone's skin that are looked at
};

/// Warnings, one for each stay of a loose bone's skin in another part of the body: what hangs on hips and trunk against the thighs, what
/// hangs on the head against the torso, deeper than in the reference pose. Bones below hands and feet are none of these. Nothing is
/// proposed: such bones follow what they hang on, and are animated in the character's own program. Empty without a skin.
/// `threads` as in parallelFor().
[[nodiscard]] Findings clothFindings(const RepairContext& context, const TiledMotion& motion, const ClothLimits& limits = {}, int threads = 0);

}  // namespace understudy
