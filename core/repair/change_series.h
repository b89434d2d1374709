// Changes of arms in a row, evened out and led from one to the next.
#pragma once

#include <vector>

#include "core/repair/arm_solve.h"

namespace understudy {

/// The changes of the first `arms` arms around a place, weighted by (1 − u²)², where u is the distance over `radius` + 1. Beyond the ends the
/// last one counts.
[[nodiscard]] ArmChanges mixed(const std::vector<ArmChanges>& series, int at, int radius, std::size_t arms);

/// Uniform cubic B-spline through changes that are smooth already, between the second and the third: no overshoot, curvature goes on across
/// nodes.
[[nodiscard]] ArmChanges between(const ArmChanges& a, const ArmChanges& b, const ArmChanges& c, const ArmChanges& d, double t);

/// Adds what places of a series lack, with a weight as in mixed() to those within `reach`. Of several that reach a place the one counts whose
/// weighted `size` is largest; size 0: nothing is lacking.
void addAround(std::vector<ArmChanges>& series, const std::vector<ArmChanges>& lacks, const std::vector<double>& size, int reach, std::size_t arms);

}  // namespace understudy
