#include "core/repair/steady_choice.h"

#include <algorithm>

namespace understudy {

std::vector<int> steadyChoice(const std::vector<std::vector<double>>& worth, int around, const std::function<double(std::size_t, int, int)>& step) {
  const int moments = static_cast<int>(worth.size());
  const auto ways = [&](int m) { return static_cast<int>(worth[static_cast<std::size_t>(m)].size()); };
  std::vector<int> chosen(worth.size(), 0);
  std::vector<std::vector<double>> steps(worth.size());
  for (int m = 1; m < moments; ++m)
    if (ways(m) > 1 || ways(m - 1) > 1)
      for (int a = 0; a < ways(m - 1); ++a)
        for (int b = 0; b < ways(m); ++b) steps[static_cast<std::size_t>(m)].push_back(step(static_cast<std::size_t>(m), a, b));
  std::vector<std::vector<int>> from;
  std::vector<double> total, next;
  for (int m = 0; m < moments; ++m) {
    if (ways(m) < 2) continue;
    const int first = std::max(0, m - around), last = std::min(moments - 1, m + around);
    total = worth[static_cast<std::size_t>(first)];
    from.assign(static_cast<std::size_t>(last - first), {});
    for (int k = first + 1; k <= last; ++k) {
      const std::vector<double>& own = worth[static_cast<std::size_t>(k)];
      const std::vector<double>& between = steps[static_cast<std::size_t>(k)];
      next.assign(own.size(), 0);
      std::vector<int>& best = from[static_cast<std::size_t>(k - first - 1)];
      best.assign(own.size(), 0);
      for (std::size_t b = 0; b < own.size(); ++b) {
        const auto through = [&](std::size_t a) { return total[a] + (between.empty() ? 0 : between[a * own.size() + b]); };
        for (std::size_t a = 1; a < total.size(); ++a)
          if (through(a) < through(static_cast<std::size_t>(best[b]))) best[b] = static_cast<int>(a);
        next[b] = through(static_cast<std::size_t>(best[b])) + own[b];
      }
      std::swap(total, next);
    }
    int at = static_cast<int>(std::min_element(total.begin(), total.end()) - total.begin());
    for (int k = last; k > m; --k) at = from[static_cast<std::size_t>(k - first - 1)][static_cast<std::size_t>(at)];
    chosen[static_cast<std::size_t>(m)] = at;
  }
  return chosen;
}

}  // namespace understudy
