#include "core/repair/clearance_calm.h"

#include <algorithm>
#include <iterator>

#include "core/math/b_spline.h"
#include "core/math/smooth_step.h"

namespace understudy {
namespace {

constexpr double parts[] = {1, 0.5, 0.25};

/// From the third parameter on, which say where a hand that stays is, by `loose` of that.
ArmChanges partly(const ArmChanges& a, const ArmChanges& b, double t, std::size_t arms, double loose = 1) {
  ArmChanges out = a;
  for (std::size_t arm = 0; arm < arms; ++arm)
    for (std::size_t i = 0; i < ArmChange::size; ++i) out[arm].x[i] += (i < 3 ? t : t * loose) * (b[arm].x[i] - a[arm].x[i]);
  return out;
}

}  // namespace

void calm(std::vector<ArmChanges>& series, int first, int stride, std::size_t arms, const std::vector<double>& haste, const CalmAsks& asks) {
  const int count = static_cast<int>(haste.size()), places = static_cast<int>(series.size());
  const auto at = [](int n) { return static_cast<std::size_t>(n); };
  std::vector<double> wanted(haste.size(), 0);
  for (int n = 0; n < count; ++n)
    for (int k = std::max(0, n - CalmPasses::near); k <= std::min(count - 1, n + CalmPasses::near); ++k)
      wanted[at(n)] = std::max(wanted[at(n)], bellWeight(k - n, CalmPasses::near) * haste[at(k)]);
  if (std::all_of(wanted.begin(), wanted.end(), [](double w) { return w <= 0; })) return;
  std::vector<double> fit(haste.size()), least(haste.size()), taken(haste.size());
  // What a list of nodes comes to at a place of the series.
  const auto shareOf = [&](const std::vector<double>& list, int k) {
    const int away = k - first, n = away >= 0 ? away / stride : -1;
    const auto part = [&](int node) { return list[at(std::clamp(node, 0, count - 1))]; };
    const auto [a, b, c, d] = splineShares((away - n * stride) / static_cast<double>(stride));
    return a * part(n - 1) + b * part(n) + c * part(n + 1) + d * part(n + 2);
  };
  // Places nearer to a node than to others.
  const auto from = [&](int n) { return std::max(0, first + n * stride - stride / 2); };
  const auto to = [&](int n) { return std::min(places - 1, first + n * stride + (stride - 1) / 2); };
  const auto looseAt = [&](int k) { return asks.loose ? asks.loose(k) : 1.0; };
  std::vector<ArmChanges> even, lacks(series.size());
  std::vector<double> size(series.size());
  for (const int radius : CalmPasses::radii) {
    const int reach = radius * stride;
    even = series;
    for (int k = 0; k < places; ++k)
      if (const double w = shareOf(wanted, k); w > 0) even[at(k)] = partly(series[at(k)], mixed(series, k, reach, arms), w, arms, looseAt(k));
    for (int round = 0; asks.push && round < CalmPasses::pushes; ++round) {
      bool any = false;
      for (int k = 0; k < places; ++k) size[at(k)] = 0;
      for (int n = 0; n < count; ++n)
        for (int k = from(n); k <= to(n) && wanted[at(n)] > 0; ++k) {
          const ArmChanges x = mixed(even, k, stride, arms);
          if (asks.fits(k, x)) continue;
          const ArmChanges out = asks.push(k, x);
          if (out == x) continue;
          size[at(k)] = asks.far(out, x);
          const double loose = looseAt(k);
          for (std::size_t arm = 0; arm < arms; ++arm)
            for (std::size_t i = 0; i < ArmChange::size; ++i) lacks[at(k)][arm].x[i] = (i < 3 ? 1 : loose) * (out[arm].x[i] - x[arm].x[i]);
          any = any || size[at(k)] > 0;
        }
      if (!any) break;
      addAround(even, lacks, size, CalmPasses::pushed * stride, arms);
    }
    for (int n = 0; n < count; ++n) {
      fit[at(n)] = 0;
      if (wanted[at(n)] <= 0) continue;
      // All frames nearer to this node than to others are asked.
      std::size_t part = 0;
      for (int k = from(n); k <= to(n) && part < std::size(parts); ++k) {
        const ArmChanges now = mixed(series, k, stride, arms), calmed = mixed(even, k, stride, arms);
        if (now == calmed) continue;
        while (part < std::size(parts) && !asks.fits(k, partly(now, calmed, parts[part], arms))) ++part;
      }
      if (part < std::size(parts)) fit[at(n)] = parts[part];
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
      if (const double t = shareOf(taken, k); t > 0) next[at(k)] = partly(series[at(k)], even[at(k)], t, arms);
    }
    series = std::move(next);
  }
}

}  // namespace understudy
