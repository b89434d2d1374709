// The points of a cloud that lie farthest out.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "core/math/vec.h"

namespace understudy {

/// Places of those points that lie farthest along any of `directions` directions, spread evenly over the sphere (a golden spiral); ascending,
/// each once.
[[nodiscard]] inline std::vector<std::size_t> outermost(const std::vector<Vec3d>& points, int directions) {
  std::vector<std::size_t> out;
  for (int k = 0; k < directions && !points.empty(); ++k) {
    const double y = 1 - (2 * k + 1.0) / directions, across = std::sqrt(1 - y * y), turn = k * std::numbers::pi * (3 - std::sqrt(5.0));
    const Vec3d way{across * std::cos(turn), y, across * std::sin(turn)};
    std::size_t far = 0;
    for (std::size_t i = 1; i < points.size(); ++i)
      if (dot(points[i], way) > dot(points[far], way)) far = i;
    out.push_back(far);
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

}  // namespace understudy
