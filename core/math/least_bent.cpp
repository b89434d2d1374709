#include "core/math/least_bent.h"

#include <algorithm>
#include <array>

#include "core/math/band.h"

namespace understudy {

std::vector<double> leastBentAbove(const std::vector<double>& least, double pull, SequenceEnds ends) {
  const std::size_t n = least.size();
  std::vector<double> x(n, 0.0);
  std::vector<char> down(n);  // those that lie on their bound
  for (std::size_t i = 0; i < n; ++i) down[i] = least[i] > 0;
  if (std::find(down.begin(), down.end(), 1) == down.end()) return x;
  // Rows of the sum's matrix from the diagonal on.
  std::vector<std::array<double, 3>> rows(n, {pull, 0, 0});
  const int count = static_cast<int>(n);
  constexpr std::array<double, 3> difference{1, -2, 1};
  for (int middle = ends.freeBefore ? 1 : -1; middle <= (ends.freeAfter ? count - 2 : count); ++middle)
    for (int a = 0; a < 3; ++a)
      for (int b = a; b < 3; ++b)
        if (middle - 1 + a >= 0 && middle - 1 + b < count) rows[static_cast<std::size_t>(middle - 1 + a)][static_cast<std::size_t>(b - a)] += difference[static_cast<std::size_t>(a)] * difference[static_cast<std::size_t>(b)];
  for (int round = 0; round < 60; ++round) {
    // Rows of what is known say so, and what that does to the others goes to the right side.
    Band band(n);
    std::vector<double> right(n, 0.0);
    for (std::size_t i = 0; i < n; ++i) {
      band.add(i, i, down[i] ? 1 : rows[i][0]);
      if (down[i]) right[i] = least[i];
      for (std::size_t k = 1; k < 3 && i + k < n; ++k) {
        const double v = rows[i][k];
        if (!down[i] && !down[i + k]) band.add(i + k, i, v);
        else if (!down[i]) right[i] -= v * least[i + k];
        else if (!down[i + k]) right[i + k] -= v * least[i];
      }
    }
    band.solve(right);
    x = std::move(right);
    // What holds a bound up is how the sum grows there.
    std::vector<double> grows(n, 0.0);
    for (std::size_t i = 0; i < n; ++i) {
      grows[i] += rows[i][0] * x[i];
      for (std::size_t k = 1; k < 3 && i + k < n; ++k) {
        grows[i] += rows[i][k] * x[i + k];
        grows[i + k] += rows[i][k] * x[i];
      }
    }
    bool settled = true;
    for (std::size_t i = 0; i < n; ++i) {
      const bool now = down[i] ? grows[i] > 0 : x[i] < least[i] - 1e-12;
      settled &= now == (down[i] != 0);
      down[i] = now;
    }
    if (settled) return x;
  }
  for (std::size_t i = 0; i < n; ++i) x[i] = std::max(x[i], least[i]);
  return x;
}

}  // namespace understudy
