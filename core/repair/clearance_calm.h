// Brings haste out of what changes over time, where there is room for it.
#pragma once

#include <functional>
#include <vector>

#include "core/repair/change_series.h"

namespace understudy {

/// How changes are calmed.
struct CalmPasses {
  static constexpr int radii[] = {8, 6, 4, 3, 2};  ///< half widths over which changes are evened out, in nodes, one after another
  static constexpr int near = 8;                   ///< nodes around a hasty one that take part
  /// Nodes on either side of one that its outcome depends on.
  [[nodiscard]] static constexpr int support() {
    int sum = near + 1;
    for (const int r : radii) sum += 2 * r + 3;
    return sum;
  }
};

/// Evens out a series of changes, one a frame, around nodes that are in haste: each node goes as far towards what its neighbours do as it
/// fits, so that a change which has to be there at one moment comes and goes over the time that is free around it. `first`: place in the
/// series of the first node, others follow every `stride` places; `haste`: 0 … 1 by node; `fits(place, change)`: asked for places near haste only.
void calm(std::vector<ArmChanges>& series, int first, int stride, std::size_t arms, const std::vector<double>& haste, const std::function<bool(int, const ArmChanges&)>& fits);

}  // namespace understudy
