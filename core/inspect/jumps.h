// Bones that jump or flip from one frame to the next.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

/// Steps are angles between a bone's local rotations at successive frames.
struct JumpLimits {
  double least = 2;       ///< degrees; smaller steps are no jumps
  double ratio = 6;       ///< against the median step around
  int around = 8;         ///< frames on each side whose median counts
  double neighbours = 3;  ///< a jump is this many times larger than the steps before and behind it: fast motion swells over frames
  double flip = 90;       ///< degrees from which a jump that comes back is called a flip
  int longest = 15;       ///< frames within which a jump that comes back is one flaw
};

/// Pops and flips of the joints that fill roles. Jumps of single frames and of short stays propose a bridge over them, flips an untwist.
[[nodiscard]] Findings jumpFindings(const RepairContext& context, const TiledMotion& motion, const JumpLimits& limits = {});

}  // namespace understudy
