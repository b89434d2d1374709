// A step from 0 to 1, and a bell.
#pragma once

#include <algorithm>

namespace understudy {

/// 0 up to 0, 1 from 1 on, level at both and smooth between.
[[nodiscard]] inline double smoothStep(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

/// Weight of a place `distance` places from the middle of a window that goes `reach` places to each side: (1 − u²)², u the distance over
/// reach + 1. 1 in the middle, level there and where it ends.
[[nodiscard]] inline double bellWeight(int distance, int reach) {
  const double u = distance / (reach + 1.0);
  return (1 - u * u) * (1 - u * u);
}

}  // namespace understudy
