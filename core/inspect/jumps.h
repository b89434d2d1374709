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
  /// One frame that lies off the course of those before and behind it by `least` (less a tenth), by `ratio` times the median step and by
  /// this many times the steps on both sides, jumps too: fast bones hide it from the rule of neighbours.
  double offCourse = 1.5;
  double flip = 90;       ///< degrees from which a jump that comes back is called a flip
  double stretched = 12;  ///< degrees from straight below which a knee or elbow that jumps snaps
  double twoSteps = 0.03; ///< seconds up to which two steps of the trunk the same way are a jump; others are a move
  int longest = 15;       ///< frames within which a jump that comes back is one flaw
  int apart = 1;          ///< frames within which several bones jump together
  double parent = 1, parentRatio = 2;  ///< degrees, and times the steps before and behind, from which a jumping bone's parent jumps with it
  double against = 0.5;   ///< part of a bone's jump by which those on it turn back against it to be rebuilt with it
  double withRatio = 3;   ///< times its median step from which a bone jumps with two it hangs on
  std::size_t wholeBody = 8;  ///< bones from which on the whole body is rebuilt, with its way
  int stray = 2;          ///< frames at a clip's ends that a jump may cut off from the rest
};

/// Pops, snaps and flips of the joints that fill roles. Bones that jump together are one finding, the worst of them first. Each
/// proposes a bridge over its frames. `threads` as in parallelFor().
[[nodiscard]] Findings jumpFindings(const RepairContext& context, const TiledMotion& motion, const JumpLimits& limits = {}, int threads = 0);

}  // namespace understudy
