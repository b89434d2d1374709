// Props that hands lead into the ground, with grips that keep them out of it.
#pragma once

#include <vector>

#include "core/inspect/finding.h"
#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// A finding (sink) for every time in which a prop of the context lies deeper than `limit` (metres of a character 1.7 m tall) below the
/// ground while a bone or a grip holds it; `repairs` are all of the take's. Where one hand only carries it, a grip of that hand is
/// proposed along which the prop runs up its handle; where a grip holds it, the cause is told.
[[nodiscard]] Findings propSinks(const RepairContext& context, const TiledMotion& motion, const std::vector<const Repair*>& repairs, double limit);

}  // namespace understudy
