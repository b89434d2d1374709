#include "core/repair/plant_swing.h"

#include <algorithm>

namespace understudy {
namespace {

constexpr double atEase = 0.5;  // part of the usual haste up to which a knee comes home sooner,
constexpr double fewest = 4;    // over no fewer frames: what is home in two or three has jumped there

Quatd under(const Quatd& above, const Quatd& q) { return conjugate(above) * q; }
Vec3d between(const Quatd& own, const Quatd& wanted) { return logOf(normalised(conjugate(own) * wanted)); }

}  // namespace

LegTurn turnOf(const LegFrame& own, const LegFrame& wanted) {
  return {between(own.thigh, wanted.thigh), between(under(own.thigh, own.shank), under(wanted.thigh, wanted.shank)),
          between(under(own.shank, own.foot.foot), under(wanted.shank, wanted.foot.foot)),
          between(under(own.foot.foot, own.foot.toe), under(wanted.foot.foot, wanted.foot.toe))};
}

LegTurn bendOf(const LegFrame& before, const LegFrame& at, const LegFrame& after) {
  const auto bend = [](const Quatd& a, const Quatd& b, const Quatd& c) { return between(b, c) - between(a, b); };
  return {bend(under(before.above, before.thigh), under(at.above, at.thigh), under(after.above, after.thigh)),
          bend(under(before.thigh, before.shank), under(at.thigh, at.shank), under(after.thigh, after.shank)),
          bend(under(before.shank, before.foot.foot), under(at.shank, at.foot.foot), under(after.shank, after.foot.foot)),
          bend(under(before.foot.foot, before.foot.toe), under(at.foot.foot, at.foot.toe), under(after.foot.foot, after.foot.toe))};
}

LegFrame turnedBy(const LegFrame& own, const Vec3d& hinge, const Vec3d& moves, const LegTurn& turn) {
  LegFrame out;
  out.thigh = normalised(own.thigh * expOf(turn.thigh));
  out.shank = normalised(out.thigh * under(own.thigh, own.shank) * expOf(turn.shank));
  out.foot.foot = normalised(out.shank * under(own.shank, own.foot.foot) * expOf(turn.foot));
  out.foot.toe = normalised(out.foot.foot * under(own.foot.foot, own.foot.toe) * expOf(turn.toe));
  out.hip = own.hip + moves;
  out.knee = out.hip + rotate(out.thigh, rotate(conjugate(own.thigh), own.knee - own.hip));
  out.foot.at = out.knee + rotate(out.shank, rotate(conjugate(own.shank), own.foot.at - own.knee));
  out.straight = straightness(out, hinge);
  return out;
}

// The normal equations have rows 1 −4 6 −4 1, which with the pull are positive definite: L D Lᵀ needs no pivots.
LeadOver::LeadOver(int count, double pull, std::vector<LegTurn> bends)
    : count_(static_cast<std::size_t>(std::max(count, 0))), pull_(pull), bends_(count_ + 2), d_(count_), l1_(count_), l2_(count_) {
  for (std::size_t i = 0; i < count_; ++i) {
    l2_[i] = i >= 2 ? 1 / d_[i - 2] : 0;
    l1_[i] = i >= 1 ? (-4 - (i >= 2 ? l2_[i] * d_[i - 2] * l1_[i - 1] : 0)) / d_[i - 1] : 0;
    d_[i] = 6 + pull - (i >= 1 ? l1_[i] * l1_[i] * d_[i - 1] : 0) - (i >= 2 ? l2_[i] * l2_[i] * d_[i - 2] : 0);
  }
  for (std::size_t k = 0; k < 4; ++k) {
    GapEnds unit;
    unit[k].thigh.x = 1;
    const GapEnds s = slope(unit);
    for (std::size_t i = 0; i < 4; ++i) growth_[i][k] = s[i].thigh.x;
  }
  bends.resize(count_ + 2);
  bends_ = std::move(bends);
}

std::vector<LegTurn> LeadOver::way(const GapEnds& ends) const {
  const std::size_t n = count_;
  std::vector<LegTurn> x(n);
  if (n == 0) return x;
  x[0].add(ends[1], 4).add(ends[0], -1);
  x[n - 1].add(ends[2], 4).add(ends[3], -1);
  if (n > 1) {
    x[1].add(ends[1], -1);
    x[n - 2].add(ends[2], -1);
  }
  for (std::size_t i = 0; i < n; ++i) x[i].add(bends_[i], -1).add(bends_[i + 1], 2).add(bends_[i + 2], -1);
  for (std::size_t i = 1; i < n; ++i) {
    x[i].add(x[i - 1], -l1_[i]);
    if (i >= 2) x[i].add(x[i - 2], -l2_[i]);
  }
  for (std::size_t i = 0; i < n; ++i) x[i].add(LegTurn(x[i]), 1 / d_[i] - 1);
  for (std::size_t i = n; i-- > 0;) {
    if (i + 1 < n) x[i].add(x[i + 1], -l1_[i + 1]);
    if (i + 2 < n) x[i].add(x[i + 2], -l2_[i + 2]);
  }
  return x;
}

std::vector<LegTurn> LeadOver::bent(const GapEnds& ends, const std::vector<LegTurn>& way) const {
  std::vector<LegTurn> all{ends[0], ends[1]};
  all.insert(all.end(), way.begin(), way.end());
  all.push_back(ends[2]);
  all.push_back(ends[3]);
  std::vector<LegTurn> out(count_ + 2);
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = LegTurn(bends_[i]).add(all[i], 1).add(all[i + 1], -2).add(all[i + 2], 1);
  return out;
}

GapEnds LeadOver::slope(const GapEnds& ends) const {
  const std::vector<LegTurn> b = bent(ends, way(ends));
  GapEnds out;
  out[0] = b[0];
  out[1] = LegTurn(b[1]).add(b[0], -2);
  out[2] = LegTurn(b[count_]).add(b[count_ + 1], -2);
  out[3] = b[count_ + 1];
  return out;
}

double LeadOver::cost(const GapEnds& ends) const {
  const std::vector<LegTurn> x = way(ends);
  double sum = 0;
  for (const LegTurn& b : bent(ends, x)) sum += dot(b, b);
  for (const LegTurn& t : x) sum += pull_ * dot(t, t);
  return sum;
}

double hasteOf(const LegTurn& bend) { return std::max({length(bend.thigh), length(bend.shank), length(bend.foot)}); }

std::vector<LegTurn> homeward(int count, const GapEnds& ends, const std::vector<LegTurn>& bends, const std::vector<LegTurn>& own, double usual, double homing) {
  std::vector<LegTurn> best(static_cast<std::size_t>(std::max(count, 0)));
  struct Joint {
    Vec3d LegTurn::*turn;
    bool sooner;
    double least = 1e300;
    bool home = false;
  };
  std::array<Joint, 4> joints{Joint{&LegTurn::thigh, false}, Joint{&LegTurn::shank, true}, Joint{&LegTurn::foot, false}, Joint{&LegTurn::toe, false}};
  for (const double times : {0.5, 0.7, 1.0, 1.25, 1.5}) {
    const std::vector<LegTurn> way = LeadOver(count, pullOf(times * homing), bends).way(ends);
    std::vector<LegTurn> all{ends[0], ends[1]};
    all.insert(all.end(), way.begin(), way.end());
    all.insert(all.end(), {ends[2], ends[3]});
    for (Joint& joint : joints) {
      if (joint.home || (times < 1 && !joint.sooner)) continue;
      double haste = 0;
      for (std::size_t i = 0; i < own.size(); ++i) haste = std::max(haste, length(LegTurn(own[i]).add(all[i], 1).add(all[i + 1], -2).add(all[i + 2], 1).*joint.turn));
      if (times < 1 && (haste > atEase * usual || times * homing < fewest)) continue;
      // More time only for what is worth it.
      if (haste < 0.97 * joint.least) {
        joint.least = haste;
        for (std::size_t i = 0; i < way.size(); ++i) best[i].*joint.turn = way[i].*joint.turn;
      }
      joint.home = haste <= usual;
    }
  }
  return best;
}

}  // namespace understudy
