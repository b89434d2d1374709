// Values over a range of frames, smoothed and covered. Internal to plants.
#pragma once

#include <algorithm>
#include <vector>

#include "core/base/frame_rate.h"

namespace understudy {

/// Weights of a smooth bump of 2·reach + 1 frames that add up to 1.
inline std::vector<double> bump(int reach) {
  std::vector<double> out;
  double sum = 0;
  for (int k = -reach; k <= reach; ++k) {
    const double x = static_cast<double>(k) / (reach + 1), w = (1 - x * x) * (1 - x * x);
    out.push_back(w);
    sum += w;
  }
  for (double& w : out) w /= sum;
  return out;
}

/// Values over a range of frames; 0 outside.
template <class T>
struct StripOf {
  int first = 0;
  std::vector<T> values;
  explicit StripOf(FrameSpan span) : first(span.first), values(static_cast<std::size_t>(span.count()), T{}) {}
  [[nodiscard]] T at(int frame) const {
    const int k = frame - first;
    return k < 0 || k >= static_cast<int>(values.size()) ? T{} : values[static_cast<std::size_t>(k)];
  }
  T& operator[](int frame) { return values[static_cast<std::size_t>(frame - first)]; }
  [[nodiscard]] FrameSpan span() const { return {first, first + static_cast<int>(values.size()) - 1}; }
};
using Strip = StripOf<double>;

inline Strip smoothed(const Strip& in, FrameSpan span, const std::vector<double>& kernel) {
  Strip out(span);
  const int reach = static_cast<int>(kernel.size()) / 2;
  for (int f = span.first; f <= span.last; ++f) {
    double sum = 0;
    for (int k = -reach; k <= reach; ++k) sum += kernel[static_cast<std::size_t>(k + reach)] * in.at(f + k);
    out[f] = sum;
  }
  return out;
}

/// Smooth and nowhere below `need`: the largest within `reach` frames, smoothed over as many.
inline Strip covering(const Strip& need, FrameSpan span, const std::vector<double>& kernel) {
  const int reach = static_cast<int>(kernel.size()) / 2;
  Strip envelope(widened(span, reach, reach));
  for (int f = envelope.first; f <= envelope.span().last; ++f)
    for (int k = -reach; k <= reach; ++k) envelope[f] = std::max(envelope[f], need.at(f + k));
  return smoothed(envelope, span, kernel);
}

/// Smooth, nowhere below `need` and nearer to it than covering(), with the same support of twice `reach`: what lacks is added smoothly
/// twice, what still lacks is covered over fewer frames.
inline Strip closelyCovering(const Strip& need, FrameSpan span, int reach) {
  const int narrow = reach / 4, wide = std::max(1, reach - narrow);
  const std::vector<double> kernel = bump(wide), last = bump(narrow);
  constexpr double gain = 1.3;
  FrameSpan at = widened(span, 2 * (narrow + wide), 2 * (narrow + wide));
  Strip sum(at);
  const auto lacking = [&] {
    Strip out(at);
    for (int f = at.first; f <= at.last; ++f) out[f] = std::max(0.0, need.at(f) - sum.at(f));
    return out;
  };
  for (int round = 0; round < 2; ++round) {
    const Strip lacks = lacking();
    at = widened(at, -wide, -wide);
    const Strip more = smoothed(lacks, at, kernel);
    Strip next(at);
    for (int f = at.first; f <= at.last; ++f) next[f] = sum.at(f) + gain * more.at(f);
    sum = std::move(next);
  }
  const Strip rest = covering(lacking(), span, last);
  Strip out(span);
  for (int f = span.first; f <= span.last; ++f) out[f] = sum.at(f) + rest.at(f);
  return out;
}

}  // namespace understudy
