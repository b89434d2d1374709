#include "core/repair/plant_even.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/math/band.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
constexpr int rounds = 5;
constexpr double probe = 1e-3;         // radians by which pitches are changed to see what that does
constexpr double stretching = 2e4;     // how much a stretch counts against a turn, squares of parts against radians
constexpr double leaving = 0.15;        // how much that counts once the foot may leave
constexpr double rolled = 4 * degree;   // a heel that is up less far is almost down
constexpr double longest = 6 * degree; // a step of one round
constexpr double beyondOwn = 15 * degree;     // a heel rises at most this much beyond the foot's own pitch,
constexpr double beyondAtRelease = 40 * degree; // and this much where it lets go: what may rise freely from there on at a stroke would

class Evening {
 public:
  explicit Evening(const RollTask& task) : task_(task), n_(task.own.size()), edge_(static_cast<std::size_t>(std::clamp(task.stay.release - task.stay.span.first, 1, static_cast<int>(n_))) - 1) {
    if (task.before) before_.emplace(task.before->gap, task.gapPull, task.before->bends);
    if (task.after) after_.emplace(task.after->gap, task.gapPull, task.after->bends);
    for (std::size_t i = 0; i < n_; ++i) sign_.push_back(i > edge_ ? -1 : task.stay.rolls[i]);
  }
  Roll run(Roll roll) const {
    if (n_ < 3 || std::all_of(sign_.begin(), sign_.end(), [](int s) { return s == 0; })) return roll;
    const Roll first = roll;
    Legs legs = legsOf(roll);
    double cost = costOf(legs);
    for (int round = 0; round < rounds; ++round) {
      const std::vector<double> step = stepOf(roll, legs);
      bool better = false;
      for (double part = 1; part > 0.2 && !better; part /= 2) {
        Roll next = roll;
        for (std::size_t i = 0; i < n_; ++i) next.pitch[i] = bounded(i, first, roll, next, std::clamp(step[i], -longest, longest) * part);
        Legs then = legsOf(next, &legs);
        const double costs = costOf(then);
        if (!(costs < cost)) continue;
        better = true;
        roll = std::move(next);
        legs = std::move(then);
        const bool done = costs > 0.999 * cost;
        cost = costs;
        if (done) return roll;
      }
      if (!better) break;
    }
    return roll;
  }

 private:
  [[nodiscard]] double bounded(std::size_t i, const Roll& first, const Roll& roll, const Roll& next, double step) const {
    const double now = roll.pitch[i];
    if (sign_[i] == 0) return now;
    if (sign_[i] > 0) return std::clamp(now + step, 0.0, std::max(now, 75 * degree));
    const double own = task_.leg.pitchOf(task_.own[i].foot.foot, task_.stay.plane.normal);
    if (i > edge_) {
      // One that lets go where it lies almost flat turns no further than either it would or did: what was down behind would slip.
      const double steepest = next.pitch[edge_] > -rolled ? std::max(first.pitch[i], own) : -85 * degree;
      return std::clamp(now + step, std::min(now, steepest), std::max(std::min(now, steepest), next.pitch[edge_]));
    }
    return std::clamp(now + step, std::min(now, std::max(-75 * degree, std::min(own, 0.0) - beyondAt(i))), 0.0);
  }
  [[nodiscard]] double beyondAt(std::size_t i) const {
    if (task_.stay.release > task_.stay.span.last || task_.leaving < 1) return beyondOwn;
    return beyondOwn + (beyondAtRelease - beyondOwn) * fade(static_cast<double>(edge_ - i) / (task_.leaving + 1));
  }
  [[nodiscard]] double stretchingAt(std::size_t i) const { return i > edge_ ? leaving * stretching : stretching; }
  struct Legs {
    std::vector<LegTurn> turns;
    std::vector<double> stretched;
  };
  /// `known`: of legs whose flat frames are the same.
  [[nodiscard]] Legs legsOf(const Roll& roll, const Legs* known = nullptr) const {
    const std::vector<FootPose> feet = standingFeet(task_.stay, task_.leg, task_.own, task_.moves, roll);
    Legs out;
    for (std::size_t i = 0; i < n_; ++i) {
      if (known && sign_[i] == 0) {
        out.turns.push_back(known->turns[i]);
        out.stretched.push_back(known->stretched[i]);
        continue;
      }
      const RolledLeg leg = task_.legAt(static_cast<int>(i), feet[i]);
      out.turns.push_back(leg.turn);
      out.stretched.push_back(leg.stretched);
    }
    return out;
  }
  [[nodiscard]] LegTurn bend(const std::vector<LegTurn>& t, std::size_t i) const { return LegTurn(task_.bends[i]).add(t[i - 1], 1).add(t[i], -2).add(t[i + 1], 1); }
  [[nodiscard]] GapEnds endsBefore(const std::vector<LegTurn>& t) const { return {task_.before->turns[0], task_.before->turns[1], t[0], t[1]}; }
  [[nodiscard]] GapEnds endsAfter(const std::vector<LegTurn>& t) const { return {t[n_ - 2], t[n_ - 1], task_.after->turns[0], task_.after->turns[1]}; }
  [[nodiscard]] double costOf(const Legs& legs) const {
    const std::vector<LegTurn>& t = legs.turns;
    double sum = 0;
    for (std::size_t i = 0; i < n_; ++i) {
      if (i > 0 && i + 1 < n_) {
        const LegTurn b = bend(t, i);
        sum += dot(b, b);
      }
      if (sign_[i] != 0) sum += task_.pull * (dot(t[i], t[i]) + stretchingAt(i) * legs.stretched[i] * legs.stretched[i]);
    }
    if (before_) sum += before_->cost(endsBefore(t));
    if (after_) sum += after_->cost(endsAfter(t));
    return sum;
  }
  [[nodiscard]] std::vector<double> stepOf(const Roll& roll, const Legs& legs) const {
    const std::vector<LegTurn>& turns = legs.turns;
    Roll probed = roll;
    for (std::size_t i = 0; i < n_; ++i) probed.pitch[i] += sign_[i] * probe;
    Legs changes = legsOf(probed, &legs);
    std::vector<LegTurn>& slope = changes.turns;
    for (std::size_t i = 0; i < n_; ++i) slope[i] = sign_[i] == 0 ? LegTurn{} : LegTurn{}.add(slope[i], sign_[i] / probe).add(turns[i], -sign_[i] / probe);
    Band h(n_);
    std::vector<double> g(n_, 0.0);
    constexpr std::array<double, 3> second{1, -2, 1};
    for (std::size_t i = 1; i + 1 < n_; ++i) {
      const LegTurn b = bend(turns, i);
      for (std::size_t j = 0; j < 3; ++j) {
        g[i - 1 + j] -= second[j] * dot(slope[i - 1 + j], b);
        for (std::size_t k = 0; k <= j; ++k) h.add(i - 1 + j, i - 1 + k, second[j] * second[k] * dot(slope[i - 1 + j], slope[i - 1 + k]));
      }
    }
    const auto end = [&](const LeadOver& lead, const GapEnds& ends, std::size_t from, std::size_t at) {
      const GapEnds s = lead.slope(ends);
      for (std::size_t j = 0; j < 2; ++j) {
        g[at + j] -= dot(slope[at + j], s[from + j]);
        for (std::size_t k = 0; k <= j; ++k) h.add(at + j, at + k, lead.growth()[from + j][from + k] * dot(slope[at + j], slope[at + k]));
      }
    };
    if (before_) end(*before_, endsBefore(turns), 2, 0);
    if (after_) end(*after_, endsAfter(turns), 0, n_ - 2);
    for (std::size_t i = 0; i < n_; ++i) {
      const double size = dot(slope[i], slope[i]);
      h.add(i, i, sign_[i] == 0 ? 1.0 : task_.pull * size + 1e-6 * (size + 1));
      if (sign_[i] == 0) {
        g[i] = 0;
        continue;
      }
      const double stretches = sign_[i] * (changes.stretched[i] - legs.stretched[i]) / probe;
      h.add(i, i, task_.pull * stretchingAt(i) * stretches * stretches);
      g[i] -= task_.pull * (dot(slope[i], turns[i]) + stretchingAt(i) * stretches * legs.stretched[i]);
    }
    h.solve(g);
    return g;
  }

  const RollTask& task_;
  std::size_t n_, edge_;
  std::optional<LeadOver> before_, after_;
  std::vector<int> sign_;  // of pitches that may change; 0: flat
};

}  // namespace

Roll evenedOut(const RollTask& task, Roll roll) { return Evening(task).run(std::move(roll)); }

}  // namespace understudy
