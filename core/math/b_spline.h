// Uniform cubic B-splines.
#pragma once

#include <array>

namespace understudy {

/// Shares of four neighbours in a place between the second (t = 0) and the third (t = 1): no overshoot, curvature goes on across them. Sum 1.
[[nodiscard]] inline std::array<double, 4> splineShares(double t) {
  const double s = 1 - t, first = s * s * s / 6, last = t * t * t / 6, second = (4 - 6 * t * t + 3 * t * t * t) / 6;
  return {first, second, 1 - first - second - last, last};
}

}  // namespace understudy
