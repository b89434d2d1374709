#include "core/repair/part_choice.h"

#include <algorithm>
#include <array>

#include "core/math/smooth_step.h"

namespace understudy {
namespace {

constexpr std::array<double, 5> parts{0, 0.25, 0.5, 0.75, 1};
/// How much more than the best part a smaller one may leave.
constexpr double hardly = 1.15;

}  // namespace

std::vector<double> partsTaken(const std::vector<char>& changed, double bound, const PartWindow& window, const std::function<double(std::size_t, double)>& left) {
  const int count = static_cast<int>(changed.size());
  const auto at = [](int place) { return static_cast<std::size_t>(place); };
  std::vector<std::array<double, parts.size()>> stays(changed.size(), std::array<double, parts.size()>{});
  std::vector<char> near(changed.size(), 0), asked(changed.size(), 0);
  const auto mark = [&](std::vector<char>& list, int k) {
    for (int n = std::max(0, k - window.judged); n <= std::min(count - 1, k + window.judged); ++n) list[at(n)] = 1;
  };
  for (int k = 0; k < count; ++k) {
    if (!changed[at(k)]) continue;
    stays[at(k)].back() = std::max(0.0, left(at(k), 1) - bound);
    if (stays[at(k)].back() > 0) mark(near, k);
  }
  for (int k = 0; k < count; ++k)
    if (near[at(k)]) mark(asked, k);
  for (int k = 0; k < count; ++k)
    for (std::size_t i = 0; i + 1 < parts.size() && asked[at(k)] && changed[at(k)]; ++i) stays[at(k)][i] = std::max(0.0, left(at(k), parts[i]) - bound);
  std::vector<double> taken(changed.size(), 1.0);
  for (int k = 0; k < count; ++k) {
    if (!near[at(k)]) continue;
    std::array<double, parts.size()> sum{};
    for (int n = std::max(0, k - window.judged); n <= std::min(count - 1, k + window.judged); ++n)
      for (std::size_t i = 0; i < parts.size(); ++i) sum[i] += bellWeight(n - k, window.judged) * stays[at(n)][i] * stays[at(n)][i];
    const double least = *std::min_element(sum.begin(), sum.end());
    taken[at(k)] = parts[at(static_cast<int>(std::find_if(sum.begin(), sum.end(), [&](double s) { return s <= hardly * least; }) - sum.begin()))];
  }
  std::vector<double> out(changed.size());
  for (int k = 0; k < count; ++k) {
    double sum = 0, total = 0;
    for (int n = -window.fades; n <= window.fades; ++n) {
      const double w = bellWeight(n, window.fades);
      sum += w * taken[at(std::clamp(k + n, 0, count - 1))];
      total += w;
    }
    out[at(k)] = sum / total;
  }
  return out;
}

}  // namespace understudy
