#include "core/repair/plant_steady.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/math/band.h"
#include "core/repair/plant_run.h"
#include "core/repair/plant_swing.h"

namespace understudy {
namespace {

constexpr double slowest = 6;        // hertz: of a leg that is almost straight, changes slower than this are left alone
constexpr double window = 0.12;      // seconds on either side that are solved at once
constexpr int fewest = 6;            // and frames
constexpr double straightSlope = 10; // radians a leg's length, by which such a leg's knee bends as its hip sinks
constexpr double most = 0.015;       // part of the leg by which hips rise or sink at most
constexpr double probe = 2e-3;       // part of the leg by which the hips are moved to see what that does
constexpr int rounds = 2;

int windowOf(double rate) { return std::max(fewest, static_cast<int>(std::lround(window * rate))); }

/// How much further a knee is bent than in the motion itself, and how that grows as the hips rise by a leg's length.
struct Bent {
  double change = 0, slope = 0, weight = 0;
  int stay = -1;
};

Bent bentAt(const KneeFrame& knee, double rise, double leg) {
  if (knee.stay < 0 || !(knee.firm > 0) || !(knee.full > 0)) return {};
  const auto bend = [&](double by) { return bendOfReach(std::min(1.0, length(knee.up + Vec3d{0, by, 0}) / knee.full)); };
  return {bend(rise) - knee.own, (bend(rise + probe * leg) - bend(rise - probe * leg)) / (2 * probe), knee.firm, knee.stay};
}

/// What the hips are to rise by in the middle of a window, 0 beyond it, parts of the leg.
class Windows {
 public:
  Windows(double rate, int frames) : reach_(windowOf(rate)), frames_(frames), pull_(std::pow(2 * std::sin(std::min(std::numbers::pi / 2, std::numbers::pi * slowest / rate)), 4) * straightSlope * straightSlope) {
    const LeadOver swing(std::max(6, static_cast<int>(4 * legHoming * rate)), pullOf(legHoming * rate), {});
    for (std::size_t i = 0; i < 2; ++i)
      for (std::size_t k = 0; k < 2; ++k) lands_[i][k] = swing.growth()[2 + i][2 + k], leaves_[i][k] = swing.growth()[i][k];
  }

  [[nodiscard]] double middle(const std::array<std::vector<Bent>, 2>& knees, const std::vector<double>& rise, int frame) const {
    const int first = std::max(0, frame - reach_), last = std::min(frames_ - 1, frame + reach_), n = last - first + 1;
    Band band(static_cast<std::size_t>(n));
    std::vector<double> x(static_cast<std::size_t>(n), 0.0);
    const auto at = [](const auto& values, int f) -> const auto& { return values[static_cast<std::size_t>(f)]; };
    /// Adds weight times the square of sum over parts[i] · (base[i] + slope[i] · v of frame from + i).
    const auto square = [&](int from, const auto& parts, const auto& base, const auto& slope, double weight) {
      double sum = 0;
      for (std::size_t i = 0; i < parts.size(); ++i) sum += parts[i] * base[i];
      for (std::size_t i = 0; i < parts.size(); ++i) {
        const int fi = from + static_cast<int>(i) - first;
        if (fi < 0 || fi >= n) continue;
        x[static_cast<std::size_t>(fi)] -= weight * parts[i] * slope[i] * sum;
        for (std::size_t k = 0; k <= i; ++k) {
          const int fk = from + static_cast<int>(k) - first;
          if (fk >= 0) band.add(static_cast<std::size_t>(fi), static_cast<std::size_t>(fk), weight * parts[i] * parts[k] * slope[i] * slope[k]);
        }
      }
    };
    constexpr std::array<double, 3> second{1, -2, 1};
    const std::array<double, 3> one{1, 1, 1};
    for (int f = first; f <= last; ++f) {
      band.add(static_cast<std::size_t>(f - first), static_cast<std::size_t>(f - first), pull_);
      x[static_cast<std::size_t>(f - first)] -= pull_ * at(rise, f);
    }
    for (int f = first - 1; f <= last + 1; ++f) {
      if (f < 1 || f + 1 >= frames_) continue;
      const std::array<double, 3> had{at(rise, f - 1), at(rise, f), at(rise, f + 1)};
      square(f - 1, second, had, one, 1);
      for (const std::vector<Bent>& knee : knees) {
        const std::array<Bent, 3> b{at(knee, f - 1), at(knee, f), at(knee, f + 1)};
        if (b[0].stay < 0 || b[0].stay != b[1].stay || b[1].stay != b[2].stay) continue;
        square(f - 1, second, std::array<double, 3>{b[0].change, b[1].change, b[2].change}, std::array<double, 3>{b[0].slope, b[1].slope, b[2].slope},
               std::min({b[0].weight, b[1].weight, b[2].weight}));
      }
    }
    // Where a foot lands or leaves, the leg that swings leads to what its knee has there, and as fast.
    for (int f = first - 1; f <= last; ++f) {
      if (f < 0 || f + 1 >= frames_) continue;
      for (const std::vector<Bent>& knee : knees) {
        const Bent &a = at(knee, f), &b = at(knee, f + 1);
        if (a.stay < 0 || a.stay != b.stay) continue;
        const bool lands = f > 0 && at(knee, f - 1).stay != a.stay, leaves = f + 2 < frames_ && at(knee, f + 2).stay != a.stay;
        for (const auto* growth : {lands ? &lands_ : nullptr, leaves ? &leaves_ : nullptr}) {
          if (!growth) continue;
          // The form's two squares.
          const auto& g = *growth;
          const double weight = std::min(a.weight, b.weight), left = g[0][0] - g[0][1] * g[0][1] / g[1][1];
          const std::array<double, 2> base{a.change, b.change}, slope{a.slope, b.slope};
          square(f, std::array<double, 2>{g[1][0] / g[1][1], 1}, base, slope, weight * g[1][1]);
          square(f, std::array<double, 2>{1, 0}, base, slope, weight * std::max(0.0, left));
        }
      }
    }
    band.solve(x);
    return x[static_cast<std::size_t>(frame - first)];
  }

 private:
  int reach_, frames_;
  double pull_;
  std::array<std::array<double, 2>, 2> lands_{}, leaves_{};
};

}  // namespace

int steadyReach(double rate) { return rounds * (windowOf(rate) + 2); }

std::vector<double> steadied(const std::array<std::vector<KneeFrame>, 2>& knees, double rate, double leg) {
  const std::size_t n = knees[0].size();
  std::vector<double> rise(n, 0.0);
  if (n < 3 || !(leg > 0)) return rise;
  const Windows windows(rate, static_cast<int>(n));
  for (int round = 0; round < rounds; ++round) {
    std::array<std::vector<Bent>, 2> bent;
    for (std::size_t side = 0; side < 2; ++side)
      for (std::size_t f = 0; f < n; ++f) bent[side].push_back(bentAt(knees[side][f], rise[f] * leg, leg));
    std::vector<double> next(n);
    for (std::size_t f = 0; f < n; ++f) {
      const double sum = rise[f] + windows.middle(bent, rise, static_cast<int>(f));
      next[f] = most * std::tanh(sum / most);
    }
    rise = std::move(next);
  }
  for (double& v : rise) v *= leg;
  return rise;
}

}  // namespace understudy
