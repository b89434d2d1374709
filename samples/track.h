// Curves through keys.
#pragma once

#include <algorithm>
#include <vector>

#include "core/math/vec.h"

namespace understudy::samples {

[[nodiscard]] inline double eased(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return t * t * (3 - 2 * t);
}

/// Cubic Hermite through keys; tangents follow the neighbours and are zero at an extremum, so that
/// a held value stays exactly held.
class Track {
 public:
  Track() = default;
  Track(std::initializer_list<std::pair<double, double>> keys) {
    for (const auto& [time, value] : keys) add(time, value);
  }
  void add(double time, double value) { keys_.push_back({time, value}); }
  [[nodiscard]] double at(double time) const {
    if (keys_.empty()) return 0;
    if (time <= keys_.front().first) return keys_.front().second;
    if (time >= keys_.back().first) return keys_.back().second;
    std::size_t i = 0;
    while (keys_[i + 1].first < time) ++i;
    const double span = keys_[i + 1].first - keys_[i].first;
    const double u = (time - keys_[i].first) / span, a = keys_[i].second, b = keys_[i + 1].second;
    const double m0 = slope(i) * span, m1 = slope(i + 1) * span;
    return a * (1 + 2 * u) * (1 - u) * (1 - u) + m0 * u * (1 - u) * (1 - u) + b * u * u * (3 - 2 * u) + m1 * u * u * (u - 1);
  }

 private:
  [[nodiscard]] double slope(std::size_t i) const {
    if (i == 0 || i + 1 == keys_.size()) return 0;
    const double before = (keys_[i].second - keys_[i - 1].second) / (keys_[i].first - keys_[i - 1].first);
    const double after = (keys_[i + 1].second - keys_[i].second) / (keys_[i + 1].first - keys_[i].first);
    if (before * after <= 0) return 0;
    // Fritsch–Carlson's bound keeps the curve monotone between monotone keys.
    const double mean = (before + after) / 2, limit = 3 * std::min(std::abs(before), std::abs(after));
    return std::clamp(mean, -limit, limit);
  }
  std::vector<std::pair<double, double>> keys_;
};

/// Gaussian smoothing over frames; `deviation` in frames, ends held.
template <class T>
std::vector<T> smoothed(const std::vector<T>& values, double deviation) {
  const int n = static_cast<int>(values.size()), reach = static_cast<int>(3 * deviation) + 1;
  std::vector<T> out(values.size());
  for (int i = 0; i < n; ++i) {
    double sum = 0;
    T mean{};
    for (int k = -reach; k <= reach; ++k) {
      const double w = std::exp(-0.5 * k * k / (deviation * deviation));
      mean += values[std::clamp(i + k, 0, n - 1)] * w;
      sum += w;
    }
    out[i] = mean * (1 / sum);
  }
  return out;
}

/// The highest smooth curve below `ceiling`: a running minimum, then a running mean over the same window.
inline std::vector<double> below(const std::vector<double>& ceiling, int window) {
  const int n = static_cast<int>(ceiling.size());
  std::vector<double> low(ceiling.size()), out(ceiling.size());
  for (int i = 0; i < n; ++i) {
    low[i] = ceiling[i];
    for (int k = -window; k <= window; ++k) low[i] = std::min(low[i], ceiling[std::clamp(i + k, 0, n - 1)]);
  }
  for (int i = 0; i < n; ++i) {
    double sum = 0, share = 0;
    for (int k = -window; k <= window; ++k) {
      const double w = window + 1 - std::abs(k);
      sum += w * low[std::clamp(i + k, 0, n - 1)];
      share += w;
    }
    out[i] = sum / share;
  }
  return out;
}

}  // namespace understudy::samples
