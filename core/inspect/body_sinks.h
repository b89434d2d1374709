// Trunks and legs in the ground, where the performer sits, kneels or lies.
#pragma once

#include <vector>

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct BodySinkLimits {
  double least = 0.01;  ///< metres of a character 1.7 m tall that trunk, thighs or shanks may lie below the ground
  double join = 0.5;    ///< seconds of a break over which it is one time
  double ease = 0.6;    ///< seconds over which the hips rise, and sink again
};

/// A finding (sink) for every time in which the skin of trunk, thighs or shanks lies in the ground: y = 0, or lower where plants among `repairs`
/// stand lower. Proposes a ground repair, but for shanks alone whose feet such plants hold: nothing lifts those, and the cause says so.
[[nodiscard]] Findings bodySinks(const RepairContext& context, const TiledMotion& motion, const std::vector<const Repair*>& repairs, const BodySinkLimits& limits = {});

}  // namespace understudy
