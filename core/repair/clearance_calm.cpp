#include "core/repair/clearance_calm.h"

#include <algorithm>
#include <iterator>

#include "core/math/b_spline.h"
#include "core/math/smooth_step.h"

namespace understudy {
namespace {

constexpr double parts[] = {1, 0.5, 0.25};

ArmChanges partly(const ArmChanges& a, const ArmChanges& b, double t, std::size_t arms) {
  ArmChanges out = a;
  for (std::size_t arm = 0; arm < arms; ++arm)
    for (std::size_t i = 0; i < ArmChange::size; ++i) out[arm].x[i] += t * (b[arm].x[i] - a[arm].x[i]);
  return out;
}

}  // namespace

void calm(std::vector<ArmChanges>& series, int first, int stride, std::size_t arms, const std::vector<double>& haste, const std::function<bool(int, const ArmChanges&)>& fits) {
  const int count = static_cast<int>(haste.size()), places = static_cast<int>(series.size());
  const auto at = [](int n) { return static_cast<std::size_t>(n); };
  std::vector<double> wanted(haste.size(), 0);
  for (int n = 0; n < count; ++n)
    for (int k = std::max(0, n - CalmPasses::near); k <= std::min(count - 1, n + CalmPasses::near); ++k)
      wanted[at(n)] = std::max(wanted[at(n)], bellWeight(k - n, CalmPasses::near) * haste[at(k)]);
  if (std::all_of(wanted.begin(), wanted.end(), [](double w) { return w <= 0; })) return;
  std::vector<double> fit(haste.size()), least(haste.size()), taken(haste.size());
  for (const int radius : CalmPasses::radii) {
    const int reach = radius * stride;
    for (int n = 0; n < count; ++n) {
      fit[at(n)] = 0;
      if (wanted[at(n)] <= 0) continue;
      // All frames nearer to this node than to others are asked.
      const int from = std::max(0, first + n * stride - stride / 2), to = std::min(places - 1, first + n * stride + (stride - 1) / 2);
      std::size_t part = 0;
      for (int k = from; k <= to && part < std::size(parts); ++k) {
        const ArmChanges now = mixed(series, k, stride, arms), even = mixed(series, k, reach, arms);
        if (now == even) continue;
        while (part < std::size(parts) && !fits(k, partly(now, even, parts[part] * wanted[at(n)], arms))) ++part;
      }
      if (part < std::size(parts)) fit[at(n)] = parts[part] * wanted[at(n)];
    }
    // No node is given more than fits it, and the farther the way may be the more slowly that comes and goes.
    const int fades = std::max(1, radius / 2);
    for (int n = 0; n < count; ++n) {
      least[at(n)] = 1;
      for (int k = n - fades; k <= n + fades; ++k) least[at(n)] = std::min(least[at(n)], fit[at(std::clamp(k, 0, count - 1))]);
    }
    for (int n = 0; n < count; ++n) {
      double sum = 0, total = 0;
      for (int k = 1 - fades; k <= fades - 1; ++k) {
        const double w = bellWeight(k, fades);
        sum += w * least[at(std::clamp(n + k, 0, count - 1))];
        total += w;
      }
      taken[at(n)] = sum / total;
    }
    std::vector<ArmChanges> next = series;
    for (int k = 0; k < places; ++k) {
      const int away = k - first, n = away >= 0 ? away / stride : -1;
      const auto part = [&](int node) { return taken[at(std::clamp(node, 0, count - 1))]; };
      const auto [a, b, c, d] = splineShares((away - n * stride) / static_cast<double>(stride));
      const double t = a * part(n - 1) + b * part(n) + c * part(n + 1) + d * part(n + 2);
      if (t > 0) next[at(k)] = partly(series[at(k)], mixed(series, k, reach, arms), t, arms);
    }
    series = std::move(next);
  }
}

}  // namespace understudy
