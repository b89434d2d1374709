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
constexpr double window = 0.2;       // seconds on either side that are solved at once
constexpr int fewest = 6;            // and frames
constexpr double straightSlope = 10; // radians a leg's length, by which such a leg's knee bends as its hip sinks
constexpr double most = 0.015;       // part of the leg by which hips move at most
constexpr double rollUnit = 3.5;     // radians of a roll that count as much as a move by the leg's length; from memory, no source
constexpr double probe = 2e-3;       // part of the leg by which its length is changed to see what that does
constexpr double nearlyStraight = 12 * std::numbers::pi / 180;  // radians: knees bent less are taken to go on bending as evenly as there
constexpr int rounds = 2;

int windowOf(double rate) { return std::max(fewest, static_cast<int>(std::lround(window * rate))); }

constexpr std::size_t ways = 4, joined = 3, entries = joined * ways;  // along three axes, and rolling; frames that a second difference joins
/// Along the axes in parts of the leg, rolling in parts of `rollUnit`.
using Shift = std::array<double, ways>;

/// Of a leg that reaches over a part of its length. Straighter than nearlyStraight it goes on as a line to 0, a little beyond full stretch:
/// the true one grows ever steeper there, and no step that follows its slope would end where it should.
double bendAsOf(double reach) {
  static const double from = reachOf(nearlyStraight), slope = -2 / std::sin(nearlyStraight / 2);
  return reach > from ? std::max(0.0, nearlyStraight + slope * (reach - from)) : bendOfReach(reach);
}

HipShift shiftOf(const Shift& s, double leg) { return {Vec3d{s[0], s[1], s[2]} * leg, s[3] * rollUnit}; }

/// How much further a knee is bent than in the motion itself, and how that grows with each way the hips may go.
struct Bent {
  double change = 0;
  Shift slope{};
  double weight = 0;
  int stay = -1;
};

Bent bentAt(const KneeFrame& knee, const HipShift& shift, double leg) {
  if (knee.stay < 0 || !(knee.firm > 0) || !(knee.full > 0)) return {};
  const Vec3d up = knee.up + shift.by + knee.lever * shift.roll, along = normalised(up, {0, 1, 0});
  const double reach = length(up);
  const auto bend = [&](double by) { return bendAsOf((reach + by) / knee.full); };
  const double slope = (bend(probe * leg) - bend(-probe * leg)) / (2 * probe);
  return {bend(0) - knee.own, {slope * along.x, slope * along.y, slope * along.z, slope * dot(along, knee.lever) * rollUnit / leg}, knee.firm, knee.stay};
}

/// What frames f − 1, f and f + 1 ask for together: the half of a square form's derivative, as matrix · shifts = aim.
struct Wish {
  std::array<std::array<double, entries>, entries> matrix{};
  std::array<double, entries> aim{};

  /// Adds weight times the square of the sum over parts[i] · (base[i] + slope[i] · shift i).
  void square(const std::array<double, joined>& parts, const std::array<double, joined>& base, const std::array<Shift, joined>& slope, double weight) {
    std::array<double, entries> factor;
    double sum = 0;
    for (std::size_t i = 0; i < joined; ++i) {
      sum += parts[i] * base[i];
      for (std::size_t a = 0; a < ways; ++a) factor[i * ways + a] = parts[i] * slope[i][a];
    }
    for (std::size_t i = 0; i < factor.size(); ++i) {
      aim[i] -= weight * factor[i] * sum;
      for (std::size_t k = 0; k <= i; ++k) matrix[i][k] += weight * factor[i] * factor[k];
    }
  }
};

/// What the hips are to move by in the middle of a window, 0 beyond it, parts of the leg.
class Windows {
 public:
  Windows(double rate, int frames) : reach_(windowOf(rate)), frames_(frames), pull_(std::pow(2 * std::sin(std::min(std::numbers::pi / 2, std::numbers::pi * slowest / rate)), 4) * straightSlope * straightSlope) {
    const LeadOver swing(std::max(6, static_cast<int>(4 * legHoming * rate)), pullOf(legHoming * rate), {});
    for (std::size_t i = 0; i < 2; ++i)
      for (std::size_t k = 0; k < 2; ++k) lands_[i][k] = swing.growth()[2 + i][2 + k], leaves_[i][k] = swing.growth()[i][k];
  }

  /// Looks at knees as they are while the hips move by `shift`, parts of the leg.
  void look(const std::array<std::vector<Bent>, 2>& knees, const std::vector<Shift>& shift) {
    wishes_.assign(static_cast<std::size_t>(frames_), {});
    for (int f = 1; f + 1 < frames_; ++f) wishes_[static_cast<std::size_t>(f)] = wishAt(knees, shift, f);
  }

  [[nodiscard]] Shift middle(const std::vector<Shift>& shift, int frame) const {
    const int first = std::max(0, frame - reach_), last = std::min(frames_ - 1, frame + reach_);
    const auto n = static_cast<std::size_t>(last - first + 1) * ways;
    Band band(n, entries - 1);
    std::vector<double> x(n);
    for (std::size_t i = 0; i < n; ++i) {
      band.add(i, i, pull_);
      x[i] = -pull_ * shift[static_cast<std::size_t>(first) + i / ways][i % ways];
    }
    for (int f = std::max(1, first - 1); f <= std::min(frames_ - 2, last + 1); ++f) {
      const Wish& wish = wishes_[static_cast<std::size_t>(f)];
      // Frames beyond the window stay as they are.
      const std::size_t off = f > first ? static_cast<std::size_t>(f - 1 - first) * ways : 0, skip = static_cast<std::size_t>(std::max(0, first - (f - 1))) * ways;
      for (std::size_t i = skip; i < entries && off + i - skip < n; ++i) {
        x[off + i - skip] += wish.aim[i];
        for (std::size_t k = skip; k <= i; ++k) band.add(off + i - skip, off + k - skip, wish.matrix[i][k]);
      }
    }
    band.solve(x);
    Shift out;
    std::copy_n(x.begin() + static_cast<std::ptrdiff_t>(frame - first) * static_cast<std::ptrdiff_t>(ways), ways, out.begin());
    return out;
  }

 private:
  [[nodiscard]] Wish wishAt(const std::array<std::vector<Bent>, 2>& knees, const std::vector<Shift>& shift, int f) const {
    Wish out;
    const auto at = [&](const auto& values, int k) -> const auto& { return values[static_cast<std::size_t>(f + k)]; };
    constexpr std::array<double, joined> second{1, -2, 1};
    for (std::size_t way = 0; way < ways; ++way) {
      Shift one{};
      one[way] = 1;
      out.square(second, {at(shift, -1)[way], at(shift, 0)[way], at(shift, 1)[way]}, {one, one, one}, 1);
    }
    for (const std::vector<Bent>& knee : knees) {
      const Bent &a = at(knee, -1), &b = at(knee, 0), &c = at(knee, 1);
      const std::array<double, joined> base{a.change, b.change, c.change};
      const std::array<Shift, joined> slope{a.slope, b.slope, c.slope};
      const bool before = a.stay >= 0 && a.stay == b.stay, after = b.stay >= 0 && b.stay == c.stay;
      if (before && after) out.square(second, base, slope, std::min({a.weight, b.weight, c.weight}));
      // Where a foot lands or leaves, the leg that swings leads to what its knee has there, and as fast: the form's two squares.
      const auto end = [&](const std::array<std::array<double, 2>, 2>& g, std::size_t from, double weight) {
        std::array<double, joined> both{}, one{};
        both[from] = g[1][0] / g[1][1];
        both[from + 1] = one[from] = 1;
        out.square(both, base, slope, weight * g[1][1]);
        out.square(one, base, slope, weight * std::max(0.0, g[0][0] - g[0][1] * g[0][1] / g[1][1]));
      };
      if (after && !before) end(lands_, 1, std::min(b.weight, c.weight));
      if (before && !after) end(leaves_, 0, std::min(a.weight, b.weight));
    }
    return out;
  }

  int reach_, frames_;
  double pull_;
  std::array<std::array<double, 2>, 2> lands_{}, leaves_{};
  std::vector<Wish> wishes_;  // by their middle frame
};

}  // namespace

int steadyReach(double rate) { return rounds * (windowOf(rate) + 2); }

std::vector<HipShift> steadied(const std::array<std::vector<KneeFrame>, 2>& knees, double rate, double leg) {
  const std::size_t n = knees[0].size();
  std::vector<Shift> shift(n, Shift{});
  std::vector<HipShift> out(n);
  if (n < 3 || !(leg > 0)) return out;
  Windows windows(rate, static_cast<int>(n));
  for (int round = 0; round < rounds; ++round) {
    std::array<std::vector<Bent>, 2> bent;
    for (std::size_t side = 0; side < 2; ++side)
      for (std::size_t f = 0; f < n; ++f) bent[side].push_back(bentAt(knees[side][f], out[f], leg));
    windows.look(bent, shift);
    std::vector<Shift> next(n);
    for (std::size_t f = 0; f < n; ++f) {
      next[f] = windows.middle(shift, static_cast<int>(f));
      double far = 0;
      for (std::size_t way = 0; way < ways; ++way) {
        next[f][way] += shift[f][way];
        far += next[f][way] * next[f][way];
      }
      far = std::sqrt(far);
      if (far > 0)
        for (double& v : next[f]) v *= most * std::tanh(far / most) / far;
    }
    shift = std::move(next);
    for (std::size_t f = 0; f < n; ++f) out[f] = shiftOf(shift[f], leg);
  }
  return out;
}

}  // namespace understudy
