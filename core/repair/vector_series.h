// Vectors in a row, spread over their neighbours and led from one to the next.
#pragma once

#include <vector>

#include "core/math/vec.h"

namespace understudy {

/// Each place over `radius` places on either side, weighted by (1 − u²)², where u is the distance over `radius` + 1. Beyond the ends the last one
/// counts.
[[nodiscard]] std::vector<Vec3d> evenedOut(const std::vector<Vec3d>& series, int radius);

/// Each place gets the longest vector within `radius` of it (the first of several), and that series is evened out: a single vector is met in
/// full at its place, and comes and goes smoothly.
[[nodiscard]] std::vector<Vec3d> spreadAround(const std::vector<Vec3d>& series, int radius);

/// Uniform cubic B-spline between the second and the third.
[[nodiscard]] Vec3d splineAt(const Vec3d& a, const Vec3d& b, const Vec3d& c, const Vec3d& d, double t);

}  // namespace understudy
