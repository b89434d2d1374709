#include "core/math/outlier.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

double medianOf(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2) return *middle;
  const double below = *std::max_element(values.begin(), middle);
  return below + (*middle - below) / 2;
}

}  // namespace

std::vector<double> modifiedZScores(std::span<const double> values) {
  std::vector<double> finite, scores(values.size(), 0.0);
  finite.reserve(values.size());
  for (const double x : values) {
    if (std::isfinite(x)) finite.push_back(x);
  }
  double median = 0, scale = 0;
  if (!finite.empty()) {
    median = medianOf(finite);
    double mean = 0;
    for (double& x : finite) {
      x = std::abs(x - median);
      mean += x / static_cast<double>(finite.size());
    }
    const double mad = medianOf(finite);
    if (mad > 0) {
      scale = 0.6745 / mad;
    } else if (mean > 0) {
      scale = 1 / (1.253314 * mean);
    }
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (std::isfinite(values[i])) {
      scores[i] = (values[i] - median) * scale;
    } else if (std::isinf(values[i])) {
      scores[i] = values[i];
    }
  }
  return scores;
}

}  // namespace understudy
