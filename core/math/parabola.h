// Evening out of evenly spaced samples that keeps their bends.
#pragma once

#include <cstdlib>
#include <vector>

#include "core/math/smooth_step.h"

namespace understudy {

/// The share of each of 2 · `reach` + 1 evenly spaced samples in the middle of the parabola that is nearest to them, weighted by bellWeight():
/// noise becomes less, speeds and accelerations stay. (Savitzky and Golay, "Smoothing and Differentiation of Data", 1964, here with weights.)
[[nodiscard]] inline std::vector<double> parabolaShares(int reach) {
  std::vector<double> out;
  double s0 = 0, s2 = 0, s4 = 0;
  for (int k = -reach; k <= reach; ++k) {
    const double w = bellWeight(std::abs(k), reach), square = static_cast<double>(k) * k;
    s0 += w;
    s2 += w * square;
    s4 += w * square * square;
    out.push_back(w);
  }
  for (int k = -reach; k <= reach; ++k) {
    const double square = static_cast<double>(k) * k;
    double& w = out[static_cast<std::size_t>(k + reach)];
    w *= reach > 0 ? (s4 - s2 * square) / (s0 * s4 - s2 * s2) : 1;
  }
  return out;
}

}  // namespace understudy
