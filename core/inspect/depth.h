// Arms inside the body.
#pragma once

#include "core/inspect/finding.h"
#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

struct DepthSettings {
  /// Metres of a character 1.7 m tall; what is less deep is no flaw. Where the body is bent grids tell 2 mm less than there is, here and there more.
  double least = 0.0035;
  double join = 0.25;      ///< seconds between spans of one arm that are told as one
};

/// One finding for each stay of an arm in torso, head or thighs, with the clearance of the whole clip as proposal. Where the
/// character has no skin there is nothing to find.
[[nodiscard]] Findings depthFindings(const RepairContext& context, const TiledMotion& motion, const DepthSettings& settings = {});

}  // namespace understudy
