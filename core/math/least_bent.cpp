#include "core/math/least_bent.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "core/math/band.h"

namespace understudy {
namespace {

constexpr std::array<double, 3> bending{6, -4, 1};  // a row of the squared second differences, from its diagonal on

}  // namespace

std::vector<double> leastBentAbove(const std::vector<double>& least, double pull) {
  const std::size_t n = least.size();
  std::vector<double> x(n, 0.0);
  std::vector<char> down(n);
  bool any = false;
  for (std::size_t i = 0; i < n; ++i) any |= (down[i] = least[i] > 0) != 0;
  if (!any) return x;
  const auto entry = [&](std::size_t k) { return bending[k] + (k == 0 ? pull : 0); };
  for (int round = 0; round < 60; ++round) {
    // Those that lie on their bound are known: their rows say so, and what they do to the others goes to the right side.
    Band band(n);
    std::vector<double> right(n, 0.0);
    for (std::size_t i = 0; i < n; ++i) {
      if (down[i]) {
        band.add(i, i, 1);
        right[i] = least[i];
        continue;
      }
      band.add(i, i, entry(0));
      for (std::size_t k = 1; k < bending.size(); ++k) {
        if (i >= k && down[i - k]) right[i] -= entry(k) * least[i - k];
        if (i + k >= n) continue;
        if (down[i + k]) right[i] -= entry(k) * least[i + k];
        else band.add(i + k, i, entry(k));
      }
    }
    band.solve(right);
    x = std::move(right);
    bool settled = true;
    for (std::size_t i = 0; i < n; ++i) {
      // What holds a bound up is the slope of the sum there.
      double slope = entry(0) * x[i];
      for (std::size_t k = 1; k < bending.size(); ++k) slope += entry(k) * ((i >= k ? x[i - k] : 0) + (i + k < n ? x[i + k] : 0));
      const bool now = down[i] ? slope > 0 : x[i] < least[i] - 1e-12;
      settled &= now == (down[i] != 0);
      down[i] = now;
    }
    if (settled) return x;
  }
  for (std::size_t i = 0; i < n; ++i) x[i] = std::max(x[i], least[i]);
  return x;
}

}  // namespace understudy
