#include "core/repair/arm_solve.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

/// Solves M x = b for the first `n` unknowns, M symmetric and positive definite, in place (Cholesky).
template <class Row>
void solveInPlace(std::array<Row, std::tuple_size_v<Row>>& m, Row& b, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      double s = m[i][j];
      for (std::size_t k = 0; k < j; ++k) s -= m[i][k] * m[j][k];
      m[i][j] = i == j ? std::sqrt(std::max(s, 1e-18)) : s / m[j][j];
    }
    double s = b[i];
    for (std::size_t k = 0; k < i; ++k) s -= m[i][k] * b[k];
    b[i] = s / m[i][i];
  }
  for (std::size_t i = n; i-- > 0;) {
    double s = b[i];
    for (std::size_t k = i + 1; k < n; ++k) s -= m[k][i] * b[k];
    b[i] = s / m[i][i];
  }
}

double squares(const ArmClearer::Likeness& a, const ArmClearer::Likeness& b) {
  double sum = 0;
  for (std::size_t k = 0; k < a.size(); ++k) sum += (a[k] - b[k]) * (a[k] - b[k]);
  return sum;
}

/// Hands that stay do not fall behind their goal, whatever else.
constexpr double reachWeight = 40;
/// Nor do they come much nearer to full stretch than they were, where small steps of the hand are large ones of the elbow.
constexpr double bentWeight = 2;

}  // namespace

ArmGroup::Watches ArmGroup::watch(const ArmChanges& change) {
  Watches out;
  for (std::size_t a = 0; a < arms_.size(); ++a) out[a] = arms_[a]->watch(change[a]);
  return out;
}

double ArmGroup::depth(const ArmChanges& change, const Watches& watches, double least) {
  for (std::size_t a = 0; a < arms_.size(); ++a) least = arms_[a]->depth(change[a], watches[a], least);
  return least;
}

double ArmGroup::depthUpTo(const ArmChanges& change, double enough) {
  double out = -1;
  for (std::size_t a = 0; a < arms_.size() && out < enough; ++a) out = arms_[a]->depthUpTo(change[a], out, enough);
  return out;
}

bool ArmGroup::mayBeDeeper(const ArmChanges& change, double than) {
  for (std::size_t a = 0; a < arms_.size(); ++a)
    if (arms_[a]->mayBeDeeper(change[a], than)) return true;
  return false;
}

bool ArmGroup::deeper(const ArmChanges& change, const Watches& watches, double than) {
  for (std::size_t a = 0; a < arms_.size(); ++a)
    if (arms_[a]->deeper(change[a], watches[a], than)) return true;
  return false;
}

void ArmGroup::pose(State& state) const {
  for (std::size_t a = 0; a < arms_.size(); ++a) {
    state.carry[a] = arms_[a]->carry(state.x[a]);
    state.likeness[a] = arms_[a]->likeness(state.x[a], state.carry[a]);
  }
}

double ArmGroup::cost(const ArmChanges& change, const ArmChanges& anchor) const {
  double sum = 0;
  for (std::size_t a = 0; a < arms_.size(); ++a)
    sum += squares(arms_[a]->likeness(change[a], arms_[a]->carry(change[a])), arms_[a]->likeness(anchor[a], arms_[a]->carry(anchor[a])));
  return std::sqrt(sum);
}

ArmGroup::Goal ArmGroup::near(const ArmChanges& change) const {
  Goal out;
  for (std::size_t a = 0; a < arms_.size(); ++a) out.wanted[a] = arms_[a]->likeness(change[a], arms_[a]->carry(change[a]));
  out.firm = 1000;
  return out;
}

ArmGroup::Goal ArmGroup::least(const ArmChanges& home) const {
  Goal out;
  for (std::size_t a = 0; a < arms_.size(); ++a) {
    const ArmClearer::Likeness there = arms_[a]->likeness(home[a], arms_[a]->carry(home[a]));
    for (std::size_t i = 0; i < 3; ++i) out.wanted[a][i] = 0.5 * there[i];
  }
  out.firm = 60;
  return out;
}

void ArmGroup::findSlope(std::size_t a, std::size_t i, const std::array<bool, most>& used) {
  if (sloped_[a][i]) return;
  sloped_[a][i] = 1;
  const ArmClearer::Row& row = now_.rows[a][i];
  for (std::size_t k = 0; k < each(); ++k)
    if (const std::size_t g = at(a, k); used[g])
      slopes_[a][i][g] = (row.index < 0 ? now_.carry[a].over - beside_[a][k].over : arms_[a]->gain(row, beside_[a][k])) / steps_[a][k];
}

ArmClearer::Carry ArmGroup::changeOf(std::size_t a, const Row12& change, const std::array<bool, most>& used) const {
  ArmClearer::Carry out;
  out.by[0] = {{{}, {}, {}}, {}};  // stays
  for (std::size_t g = 1; g < out.by.size(); ++g) {
    const Affined& now = now_.carry[a].by[g];
    Affined& sum = out.by[g] = {{{}, {}, {}}, {}};
    for (std::size_t k = 0; k < each(); ++k) {
      if (!used[at(a, k)]) continue;
      const Affined& there = beside_[a][k].by[g];
      const double part = change[at(a, k)] / steps_[a][k];
      sum.linear.cx += (there.linear.cx - now.linear.cx) * part;
      sum.linear.cy += (there.linear.cy - now.linear.cy) * part;
      sum.linear.cz += (there.linear.cz - now.linear.cz) * part;
      sum.translation += (there.translation - now.translation) * part;
    }
  }
  return out;
}

bool ArmGroup::clearAfter(const ArmClearer::Row& row, std::size_t a, const ArmClearer::Carry& together) const {
  // Both ways of summing up agree to far less than that.
  constexpr double hair = 1e-6;
  return row.index >= 0 && row.need - arms_[a]->moved(row, together) < -hair;
}

ArmChanges ArmGroup::solve(const ArmChanges& start, const Goal& goal, const Watches& watches, double margin, int steps, const ArmFreedom& freedom) {
  const std::size_t n = dims(), count = arms_.size();
  now_.x = start;
  for (std::size_t a = 0; a < count; ++a) arms_[a]->clamp(now_.x[a]);
  const double firm = goal.firm;
  const std::array<ArmClearer::Likeness, 2>& wanted = goal.wanted;
  const double reach = 0.03 * arms_[0]->scaled(1);
  Row12 w{};
  std::array<bool, most> used{};
  for (std::size_t a = 0; a < count; ++a) {
    const std::array<double, ArmChange::size> own = arms_[a]->weights();
    for (std::size_t k = 0; k < each(); ++k) {
      w[at(a, k)] = own[k];
      used[at(a, k)] = k == 0 || (k < 3 ? freedom.girdle && arms_[a]->hasGirdle() : k < 6 ? freedom.wrist : freedom.turn);
    }
  }
  std::array<double, 2> spare{};
  for (std::size_t a = 0; a < count; ++a)
    if (arms_[a]->settings().handStays) spare[a] = std::clamp(-arms_[a]->carry({}).over, 0.0, 0.04 * arms_[a]->reach());
  const auto measure = [&](State& s, bool fresh) {
    s.value = 0;
    for (std::size_t a = 0; a < count; ++a) {
      arms_[a]->rows(s.x[a], s.carry[a], watches[a], margin, reach, fresh, s.rows[a]);
      // A reach is a row without a point.
      if (arms_[a]->settings().handStays && s.carry[a].over > -0.01 * arms_[a]->reach()) s.rows[a].push_back({s.carry[a].over, {}, {}, -1, reachWeight});
      if (arms_[a]->settings().handStays && s.carry[a].over > -spare[a])
        s.rows[a].push_back({s.carry[a].over + spare[a], {}, {}, -1, bentWeight});
      s.value += squares(s.likeness[a], wanted[a]);
      for (const ArmClearer::Row& row : s.rows[a])
        if (row.need > 0) s.value += firm * row.weight * row.need * row.need;
    }
  };
  pose(now_);
  measure(now_, true);
  const auto worst = [&](const State& s) {
    Left out;
    for (std::size_t a = 0; a < count; ++a)
      for (const ArmClearer::Row& row : s.rows[a])
        if (row.index >= 0) (row.weight >= 1 ? out.first : out.rest) = std::max(row.weight >= 1 ? out.first : out.rest, row.need);
    return out;
  };
  before_ = worst(now_);
  double damping = 0;
  bool fresh = true;
  std::array<std::array<ArmClearer::Likeness, most>, 2> bends{};
  for (int step = 0; step < steps; ++step) {
    if (fresh) {
      double deepest = -1, off = 0;
      for (std::size_t a = 0; a < count; ++a) {
        off += squares(now_.likeness[a], wanted[a]);
        for (const ArmClearer::Row& row : now_.rows[a]) deepest = std::max(deepest, row.need);
      }
      if (deepest <= 0 && off < 1e-10 * arms_[0]->scaled(1) * arms_[0]->scaled(1)) break;
      for (std::size_t a = 0; a < count; ++a) {
        slopes_[a].assign(now_.rows[a].size(), {});
        sloped_[a].assign(now_.rows[a].size(), 0);
        for (std::size_t k = 0; k < each(); ++k) {
          const std::size_t g = at(a, k);
          bends[a][g] = {};
          if (!used[g]) continue;
          steps_[a][k] = 1e-4 / std::max(w[g], 1e-3) * arms_[a]->scaled(1);
          ArmChange other = now_.x[a];
          other.x[k] += steps_[a][k];
          beside_[a][k] = arms_[a]->carry(other);
          const ArmClearer::Likeness like = arms_[a]->likeness(other, beside_[a][k]);
          for (std::size_t i = 0; i < like.size(); ++i) bends[a][g][i] = (like[i] - now_.likeness[a][i]) / steps_[a][k];
        }
      }
    }
    // Which needs act is settled by a few rounds.
    for (std::size_t a = 0; a < count; ++a) {
      active_[a].assign(now_.rows[a].size(), 0);
      for (std::size_t i = 0; i < active_[a].size(); ++i)
        if ((active_[a][i] = now_.rows[a][i].need > 0)) findSlope(a, i, used);
    }
    std::array<Row12, most> base{};
    Row12 pullBack{};
    for (std::size_t a = 0; a < count; ++a)
      for (std::size_t r = 0; r < n; ++r)
        for (std::size_t i = 0; i < ArmClearer::measures; ++i) {
          const double v = bends[a][r][i];
          if (v == 0) continue;
          pullBack[r] += v * (wanted[a][i] - now_.likeness[a][i]);
          for (std::size_t c = 0; c <= r; ++c) base[r][c] += v * bends[a][c][i];
        }
    Row12 change{};
    std::array<bool, most> free = used;
    for (int round = 0; round < 4; ++round) {
      std::array<Row12, most> m = base;
      Row12 b = pullBack;
      for (std::size_t a = 0; a < count; ++a)
        for (std::size_t i = 0; i < now_.rows[a].size(); ++i) {
          if (!active_[a][i]) continue;
          const ArmClearer::Row& row = now_.rows[a][i];
          const Row12& slope = slopes_[a][i];
          for (std::size_t r = 0; r < n; ++r) {
            const double pull = firm * row.weight * slope[r];
            if (pull == 0) continue;
            b[r] += pull * row.need;
            for (std::size_t c = 0; c <= r; ++c) m[r][c] += pull * slope[c];
          }
        }
      for (std::size_t k = 0; k < n; ++k) {
        m[k][k] += (1e-3 + damping) * w[k] * w[k] + 1e-9;
        if (free[k]) continue;
        for (std::size_t c = 0; c < k; ++c) m[k][c] = 0;
        for (std::size_t r = k + 1; r < n; ++r) m[r][k] = 0;
        m[k][k] = 1;
        b[k] = 0;
      }
      solveInPlace(m, b, n);
      change = b;
      bool same = true;
      for (std::size_t a = 0; a < count; ++a) {
        const ArmClearer::Carry together = changeOf(a, change, used);
        for (std::size_t i = 0; i < active_[a].size(); ++i) {
          // What stays well clear needs no slope of its own.
          if (!sloped_[a][i] && clearAfter(now_.rows[a][i], a, together)) continue;
          findSlope(a, i, used);
          double left = now_.rows[a][i].need;
          for (std::size_t k = 0; k < n; ++k) left -= slopes_[a][i][k] * change[k];
          const char act = left > 0;
          same = same && (act == active_[a][i] || active_[a][i]);
          active_[a][i] = active_[a][i] || act;
        }
      }
      // What is at its limit stays there.
      for (std::size_t a = 0; a < count; ++a)
        for (std::size_t k = 0; k < 3; ++k) {
          const auto [least, limit] = arms_[a]->limits(k);
          const double x = now_.x[a].x[k];
          if (const std::size_t g = at(a, k); free[g] && ((x >= limit && change[g] > 0) || (x <= least && change[g] < 0))) free[g] = same = false;
        }
      if (same) break;
    }
    // No further than the slopes can be trusted.
    double longest = 0;
    for (std::size_t k = 0; k < n; ++k) longest += change[k] * w[k] * change[k] * w[k];
    longest = std::sqrt(longest);
    if (longest < 2e-5 * arms_[0]->scaled(1)) break;
    const double far = 0.1 * arms_[0]->scaled(1), factor = longest > far ? far / longest : 1;
    next_.x = now_.x;
    for (std::size_t a = 0; a < count; ++a) {
      for (std::size_t k = 0; k < each(); ++k) next_.x[a].x[k] += change[at(a, k)] * factor;
      arms_[a]->clamp(next_.x[a]);
    }
    pose(next_);
    measure(next_, false);
    fresh = next_.value < now_.value;
    if (fresh) {
      std::swap(now_, next_);
      damping *= 0.2;
      if (damping < 0.05) damping = 0;
    } else {
      damping = damping > 0 ? damping * 8 : 4;
    }
  }
  left_ = worst(now_);
  return now_.x;
}

void ArmGroup::look(const ArmChanges& change, Seen& seen) {
  if (seen.asked && cost(change, seen.at) < 0.01 * arms_[0]->scaled(1)) return;
  seen = {watch(change), change, true};
}

ArmChanges ArmGroup::search(const ArmChanges& start, const ArmChanges& home, double margin, int steps, const ArmFreedom& freedom, Seen& watched) {
  const Goal goal = least(home);
  const double metre = arms_[0]->scaled(1);
  const auto empty = [&](const Watches& seen) {
    bool all = true;
    for (std::size_t a = 0; a < arms_.size(); ++a) all = all && seen[a].none();
    return all;
  };
  const auto from = [&](ArmChanges x, Seen& seen) {
    look(x, seen);
    for (int left = steps; left > 0; left -= 8) {
      const ArmChanges before = x;
      x = solve(x, goal, seen.watches, margin, std::min(left, 8), freedom);
      if (cost(x, before) < 0.015 * metre) break;
      look(x, seen);
    }
    // What holding on to little change leaves undone.
    for (int pass = 0; pass < 3 && !empty(seen.watches); ++pass) {
      Goal more = goal;
      more.firm = 1000;
      x = solve(x, more, seen.watches, margin, pass == 0 ? 4 : 8, freedom);
      if (left() <= 0.001 * metre || steps < 40) break;
      look(x, seen);
    }
    return x;
  };
  ArmChanges best = from(start, watched);
  bool led = false;
  for (std::size_t a = 0; a < arms_.size(); ++a) led = led || !home[a].none();
  if (led || !(start == home) || empty(watched.watches) || left() <= 0) return best;
  // Stuck: from elsewhere.
  double deep = depth(best, watched.watches);
  for (const Start& lead : starts(freedom)) {
    if (deep < 0.002 * metre) break;
    ArmChanges other;
    for (std::size_t a = 0; a < arms_.size(); ++a) {
      const double out = arms_[a]->outwards();
      other[a].x = lead;
      // What is led to a side goes to the arm's own, what both hands hold straight ahead.
      if (!arms_[a]->byWrist()) other[a].x[4] *= out, other[a].x[5] *= out;
      else if (arms_.size() > 1) other[a].x[0] *= out, other[a].x[3] = 0;
      else other[a].x[3] *= out;
    }
    Seen seen;
    other = from(other, seen);
    const double d = depth(other, seen.watches);
    if (d < deep - 0.003 * metre) best = other, deep = d, watched = seen;
  }
  return best;
}

std::vector<ArmGroup::Start> ArmGroup::starts(const ArmFreedom& freedom) const {
  // Upper arms raised to the side, to the front, both, lowered to the back; with elbows bent.
  if (!arms_[0]->byWrist()) return {{0.3, 0, 0, 0, 0, 1.0}, {0.3, 0, 0, -1.0, 0, 0}, {0.6, 0, 0, -0.7, 0, 0.7}, {0.3, 0, 0, 0.8, 0, 0.3}, {-0.5, 0, 0, 0, -0.7, 0.3}};
  // Elbows lifted; then with the hands led out in front and to the sides.
  std::vector<Start> out{{1.4}, {-1.4}};
  const double way = 0.12 * arms_[0]->scaled(1);
  if (freedom.wrist)
    for (const double up : {way, -way})
      for (const double swivel : {0.8, -0.8}) out.push_back({swivel, 0, 0, way, up, way});
  return out;
}

double ArmGroup::worth(const ArmChanges& change, const ArmChanges& home, double firm, const Watches& watches, double margin) {
  const Goal goal = least(home);
  now_.x = change;
  pose(now_);
  double out = 0, need = 0;
  for (std::size_t a = 0; a < arms_.size(); ++a) {
    out += squares(now_.likeness[a], goal.wanted[a]);
    arms_[a]->rows(now_.x[a], now_.carry[a], watches[a], margin, 0, true, now_.rows[a]);
    for (const ArmClearer::Row& row : now_.rows[a]) need = std::max(need, row.weight * row.need);
  }
  return out + firm * need * need;
}

ArmChanges ArmGroup::kept(const ArmChanges& change, const ArmFreedom& freedom) const {
  const auto meets = [&](const ArmChanges& x) {
    for (std::size_t a = 0; a < arms_.size(); ++a)
      if (arms_[a]->settings().handStays && arms_[a]->carry(x[a]).missed > 1e-9) return false;
    return true;
  };
  if (meets(change)) return change;
  // The least step that brings the wrist back, arm after arm: of the common shift where there is one, else of the collarbone.
  ArmChanges x = change;
  const std::size_t first = freedom.wrist ? 3 : 1, last = freedom.wrist ? 6 : 3;
  for (int pass = 0; pass < 12; ++pass) {
    bool all = true;
    for (std::size_t a = 0; a < arms_.size(); ++a) {
      const ArmClearer& arm = *arms_[a];
      const double full = arm.reach(), over = arm.carry(x[a]).over + 1e-6 * full;
      if (over <= 0) continue;
      all = false;
      std::array<double, ArmChange::size> slope{};
      double sum = 0;
      for (std::size_t k = first; k < last; ++k) {
        ArmChange other = x[a];
        const double e = 1e-5 * (freedom.wrist ? full : 1.0);
        other.x[k] += e;
        slope[k] = (arm.carry(other).over + 1e-6 * full - over) / e;
        sum += slope[k] * slope[k];
      }
      if (sum < 1e-12 * full * full) break;
      for (std::size_t k = first; k < last; ++k)
        for (std::size_t b = 0; b < arms_.size(); ++b)
          if (freedom.wrist || b == a) x[b].x[k] -= slope[k] * over / sum;
    }
    if (all) break;
  }
  if (meets(x)) return x;
  const auto part = [&](double t) {
    x = change;
    for (std::size_t a = 0; a < arms_.size(); ++a)
      for (std::size_t k = 1; k < ArmChange::size; ++k) x[a].x[k] *= t;
    return x;
  };
  double low = 0, high = 1;
  for (int k = 0; k < 24; ++k) {
    const double mid = (low + high) / 2;
    (meets(part(mid)) ? low : high) = mid;
  }
  return part(low);
}

}  // namespace understudy
