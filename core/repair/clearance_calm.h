// Brings haste out of what changes over time, where there is room for it.
#pragma once

#include <functional>
#include <vector>

#include "core/repair/change_series.h"

namespace understudy {

/// How changes are calmed.
struct CalmPasses {
  static constexpr int radii[] = {8, 5, 3};  ///< half widths over which changes are evened out, in nodes, one after another
  static constexpr int near = 8;             ///< nodes around a hasty one that take part
  static constexpr int pushes = 2;           ///< how often what is evened out is brought out of what it comes into,
  static constexpr int pushed = 2;           ///< with so many nodes around
  /// Nodes on either side of one that its outcome depends on.
  [[nodiscard]] static constexpr int support() {
    int sum = near + 1;
    for (const int r : radii) sum += 2 * r + 3 + pushes * (pushed + 1);
    return sum;
  }
};

/// What calm() asks of what it evens out, by place in the series.
struct CalmAsks {
  std::function<bool(int place, const ArmChanges&)> fits;           ///< asked for places near haste only
  std::function<ArmChanges(int place, const ArmChanges&)> push;     ///< a change near one that does not fit which may; null: none
  std::function<double(const ArmChanges&, const ArmChanges&)> far;  ///< how far apart changes of the place pushed last are, metres
  std::function<double(int place)> loose = {};                      ///< how much of the hand's own change may be evened out, 0 … 1; null: all
};

/// Evens out a series of changes, one a frame, around nodes that are in haste: each node goes as far towards what its neighbours do as it
/// fits, so that a change which has to be there at one moment comes and goes over the time that is free around it. `first`: place in the
/// series of the first node, others follow every `stride` places; `haste`: 0 … 1 by node. What does not fit is pushed aside first, so that
/// changes also go round what is in the way; what lies between an old way and such a new one may be in the way, and is not asked for.
void calm(std::vector<ArmChanges>& series, int first, int stride, std::size_t arms, const std::vector<double>& haste, const CalmAsks& asks);

}  // namespace understudy
