// Heads in the ground.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct HeadSinkLimits {
  double least = 0.01;  ///< metres of a character 1.7 m tall that the head may lie below the ground
  double join = 0.5;    ///< seconds of a break over which it is one time
  double ease = 0.3;    ///< seconds over which the back straightens, and bends again
  double most = 0.35;   ///< radians (20°) by which one joint of the back may straighten
};

/// A finding (sink) for every time in which the head's skin lies in the ground (y = 0), as a large head does where the performer bends low.
/// Proposes an offset of all joints between hips and head that straightens the back by as little as brings it out.
[[nodiscard]] Findings headSinks(const RepairContext& context, const TiledMotion& motion, const HeadSinkLimits& limits = {});

}  // namespace understudy
