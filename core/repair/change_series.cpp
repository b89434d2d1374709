#include "core/repair/change_series.h"

#include <algorithm>

#include "core/math/b_spline.h"
#include "core/math/smooth_step.h"

namespace understudy {

ArmChanges mixed(const std::vector<ArmChanges>& series, int at, int radius, std::size_t arms) {
  ArmChanges out;
  double sum = 0;
  const int last = static_cast<int>(series.size()) - 1;
  const auto other = [&](int k) -> const ArmChanges& { return series[static_cast<std::size_t>(std::clamp(at + k, 0, last))]; };
  // Where nothing is changed, as mostly, there is nothing to mix.
  const auto none = [&](int k) { return other(k)[0].none() && (arms < 2 || other(k)[1].none()); };
  int idle = -radius;
  while (idle <= radius && none(idle)) ++idle;
  if (idle > radius) return out;
  for (int k = -radius; k <= radius; ++k) {
    const double w = bellWeight(k, radius);
    for (std::size_t a = 0; a < arms; ++a)
      for (std::size_t i = 0; i < ArmChange::size; ++i) out[a].x[i] += w * other(k)[a].x[i];
    sum += w;
  }
  for (std::size_t a = 0; a < arms; ++a)
    for (double& v : out[a].x) v /= sum;
  return out;
}

ArmChanges between(const ArmChanges& a, const ArmChanges& b, const ArmChanges& c, const ArmChanges& d, double t) {
  const auto [wa, wb, wc, wd] = splineShares(t);
  ArmChanges out;
  for (std::size_t arm = 0; arm < out.size(); ++arm)
    for (std::size_t i = 0; i < ArmChange::size; ++i) out[arm].x[i] = wa * a[arm].x[i] + wb * b[arm].x[i] + wc * c[arm].x[i] + wd * d[arm].x[i];
  return out;
}

void addAround(std::vector<ArmChanges>& series, const std::vector<ArmChanges>& lacks, const std::vector<double>& size, int reach, std::size_t arms) {
  const int count = static_cast<int>(series.size());
  for (int k = 0; k < count; ++k) {
    double most = 0, share = 0;
    int of = -1;
    for (int n = std::max(0, k - reach); n <= std::min(count - 1, k + reach); ++n) {
      const double w = bellWeight(n - k, reach), weighted = w * size[static_cast<std::size_t>(n)];
      if (weighted > most) most = weighted, share = w, of = n;
    }
    if (of < 0) continue;
    for (std::size_t a = 0; a < arms; ++a)
      for (std::size_t i = 0; i < ArmChange::size; ++i) series[static_cast<std::size_t>(k)][a].x[i] += share * lacks[static_cast<std::size_t>(of)][a].x[i];
  }
}

}  // namespace understudy
