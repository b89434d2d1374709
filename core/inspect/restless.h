// Bones that shake faster than any muscle moves them: what a capture of few or hidden markers leaves.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct RestlessLimits {
  /// Degrees by which half of a bone's frames are off the middle of those beside them,
  double least = 0.75;
  double shakes = 15;    ///< to the other side this many times a second and more: muscles shake no faster than about twelve times
  double around = 0.25;  ///< seconds on each side that are looked at together
  double ease = 0.1;     ///< seconds
  double cutoff = 6;     ///< hertz of the smoothing that is proposed
};

/// Spans in which a bone shakes, each with a proposal that smooths it and what hangs on it. Where one above shakes at the same time it
/// is that one's. At few frames a second nothing shakes so fast that it could be told from a move.
[[nodiscard]] Findings restlessFindings(const RepairContext& context, const TiledMotion& motion, const RestlessLimits& limits = {});

}  // namespace understudy
