// A step from 0 to 1.
#pragma once

#include <algorithm>

namespace understudy {

/// 0 up to 0, 1 from 1 on, level at both and smooth between.
[[nodiscard]] inline double smoothStep(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

}  // namespace understudy
