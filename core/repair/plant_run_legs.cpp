// The legs' part of plants: bent to their goals, rolled and led from stay to stay.
#include <algorithm>
#include <cmath>

#include "core/repair/plant.h"
#include "core/math/median.h"
#include "core/math/smooth_step.h"
#include "core/repair/plant_ease.h"
#include "core/repair/plant_run.h"

namespace understudy {
namespace {

constexpr double straightestEver = 0.998;
constexpr double slackReach = 0.012;  // part of its length by which a leg may be stretched beyond its own reach where it does not stand,
constexpr double bentSlack = 0.25;    // or by this part of what it lacks, which is more for one that is bent
constexpr double keptZone = 0.07;      // radians of a knee within which it begins to be kept from straightening further
constexpr double usualPart = 0.98;   // quantile of a leg's own accelerations up to which it may hurry
constexpr double toeHoming = 0.2;     // seconds over which toes on their way come back to their own motion, longer than legs: no reach depends on them
constexpr double rolling = 0.1;       // seconds over which a rolling foot's leg does
constexpr double givesFrom = 0.97, givesUpTo = 1.0;  // parts of its length: a leg that lets go reaches so far before its foot makes up no longer for a sole that gives
constexpr double inStock = 0.004;     // part of its length that a rolling foot leaves its leg before it stretches: a knee that comes to its end stops there at a stroke
constexpr double unusual = 0.8;       // an acceleration of a blend that is beyond so much of the usual is taken down

/// `wanted`, or what is left of it once what exceeds `from` fills `room` softly.
double bounded(double wanted, double from, double room) {
  const double x = wanted - from;
  return x <= 0 ? wanted : x >= 2 * room ? from + room : from + x - x * x / (4 * room);
}

/// `bend`, kept from being less than `least`: softly within `zone` radians of it.
double keptBent(double bend, double least, double zone) {
  const double x = bend - least;
  return x >= zone ? bend : least + (x <= -zone ? 0 : (x + zone) * (x + zone) / (4 * zone));
}

/// The reach a leg is given that is asked for `wanted`: a planted one as far as it may, one that is on its way a little more than
/// it had, without snapping straight. `hand`: see inHand().
double softReach(const LegFrame& o, double wanted, double firm, double hand) {
  const double may = mayReach(o), own_ = std::min(o.straight, may);
  const double planted = bounded(wanted, may - hand / 2, hand / 2), loose = bounded(wanted, own_, std::max(std::clamp(straightestEver - own_, 0.0005, slackReach), bentSlack * (straightestEver - own_)));
  return loose + (planted - loose) * firm;
}

}  // namespace

bool meets(const Stay& a, const Stay& b) { return b.span.first - a.span.last <= a.after + b.before + 2; }

double reachOf(double bend) { return bend >= 0 ? std::cos(bend / 2) : 2 - std::cos(bend / 2); }
double bendOfReach(double reach) { return reach <= 1 ? 2 * std::acos(std::clamp(reach, -1.0, 1.0)) : -2 * std::acos(std::clamp(2 - reach, -1.0, 1.0)); }

double standingBend(const LegFrame& leg, const Vec3d& hinge) {
  const double all = bendOfReach(leg.straight > 1 ? 2 - leg.straight : leg.straight), forward = kneeBend(leg, hinge);
  return forward >= 0 ? all : std::sqrt(std::max(0.0, all * all - forward * forward));
}

double mayReach(const LegFrame& o) { return std::min(std::clamp(o.straight, plantSettings().straightest, straightestEver), o.openest - 0.0005); }

// Not glued to the ground either as it leaves it: its knee would stretch at a stroke.
double loweredInto(double room, double lowering) { return lowering * (1 - std::exp(-room / (2 * lowering))); }

// The leg's change at a frame that is planted or free; nothing beyond the clip.
LegTurn PlantRun::turnAt(int side, int frame) const {
  if (!clip_.holds(frame)) return {};
  const Vec3d by = moves(side, frame);
  if (by == Vec3d{} && !goal(side, frame).active) return {};
  const FootGoal& g = goal(side, frame);
  const bool leaves = g.active && frame >= stay(g.stay).release;
  return turnOf(own(side, frame), bend(side, frame, g.active ? g.pose : loose(side, frame), leaves, g.firm, g.stay, by).leg);
}

// Where a foot is between its stays and far from them: what raises all feet that stand raises it too, or lowers it as far as its sole is
// above the ground, as its leg would have to fold otherwise, or to be stretched. One without any stays where it is.
FootPose PlantRun::loose(int side, int frame) const {
  FootPose pose = own(side, frame).foot;
  pose.at.y += feetAbove_[static_cast<std::size_t>(side)].at(frame);
  if (plan_.order[static_cast<std::size_t>(side)].empty()) return pose;
  const double lift = lift_[static_cast<std::size_t>(frame - ways_.first)];
  if (lift >= 0) {
    pose.at.y += lift;
    return pose;
  }
  // Between grounds of two heights the lower one counts.
  double room = -1e300;
  for (const int i : beside(side, frame)) {
    if (i < 0) continue;
    const GroundPlane& plane = stay(i).plane;
    room = std::max(room, plane.above(pose.at) + leg(side).lowest(pose, plane.normal).height);
  }
  if (room > 0) pose.at.y -= loweredInto(room, -lift);
  return pose;
}

// What of the leg's own acceleration a blend takes out: what exceeds the usual by far, near where the foot lands or leaves.
std::vector<LegTurn> PlantRun::bends(int side, FrameSpan span) const {
  std::vector<LegTurn> out(static_cast<std::size_t>(span.count()));
  const int near = static_cast<int>(blendTime * plan_.context.rate.hertz());
  for (const int i : plan_.order[static_cast<std::size_t>(side)])
    for (const int edge : {stay(i).span.first, stay(i).span.last}) {
      const FrameSpan here = common(common(span, {edge - near, edge + near}), {clip_.first + 1, clip_.last - 1});
      if (here.empty()) continue;
      const FrameSpan around = common({edge - 2 * near, edge + 2 * near}, {clip_.first + 1, clip_.last - 1});
      std::vector<LegTurn> all;
      for (int f = around.first; f <= around.last; ++f) all.push_back(bendOf(own(side, f - 1), own(side, f), own(side, f + 1)));
      for (const auto joint : {&LegTurn::thigh, &LegTurn::shank, &LegTurn::foot, &LegTurn::toe}) {
        std::vector<double> sizes;
        for (const LegTurn& t : all) sizes.push_back(length(t.*joint));
        const double usual = unusual * median(std::move(sizes));
        for (int f = here.first; f <= here.last; ++f) {
          const Vec3d& was = all[static_cast<std::size_t>(f - around.first)].*joint;
          const Vec3d takes = was * (fade(std::abs(f - edge) / (near + 1.0)) * std::max(0.0, 1 - usual / std::max(length(was), 1e-12)));
          Vec3d& b = out[static_cast<std::size_t>(f - span.first)].*joint;
          if (dot(takes, takes) > dot(b, b)) b = takes;
        }
      }
    }
  return out;
}

// Stays in `near`, between what the stays before and after had until now.
void PlantRun::even(FrameSpan near) {
  std::vector<std::vector<FootPose>> better(plan_.stays.size());
  for (int side = 0; side < 2; ++side) {
    const std::vector<int>& order = plan_.order[static_cast<std::size_t>(side)];
    for (std::size_t i = 0; i < order.size(); ++i) {
      const int index = order[i];
      if (!evened_[static_cast<std::size_t>(index)] || common(stay(index).span, near).empty()) continue;
      const std::vector<Vec3d> by = movesIn(stay(index));
      const Roll roll = evened(index, i > 0 ? order[i - 1] : -1, i + 1 < order.size() ? order[i + 1] : -1, by);
      stand(index, by, roll, better[static_cast<std::size_t>(index)]);
    }
  }
  for (std::size_t i = 0; i < better.size(); ++i)
    if (!better[i].empty()) standing_[i] = std::move(better[i]);
  for (int side = 0; side < 2; ++side) fillGoals(side);
}

Roll PlantRun::evened(int index, int before, int after, const std::vector<Vec3d>& by) const {
  const Stay& s = stay(index);
  const int side = s.side;
  const std::vector<LegFrame> ownFrames = ownIn(s);
  const auto legAt = [&](int k, const FootPose& foot) {
    const int f = s.span.first + k;
    const LegFrame& was = ownFrames[static_cast<std::size_t>(k)];
    const FootPose pose = s.weight < 1 ? changed(was.foot, changeOf(was.foot, foot) * s.weight) : foot;
    const Vec3d& moved = by[static_cast<std::size_t>(k)];
    const double full = distance(was.hip, was.knee) + distance(was.knee, was.foot.at), asked = distance(was.hip + moved, pose.at) / full;
    const double firm = firmness(s, f);
    const Bent bent = bend(side, f, pose, f >= s.release, firm, index, moved);
    return RolledLeg{turnOf(was, bent.leg), std::max({bent.miss / full, asked - softReach(was, asked, firm, inHand(leg(side))), firm * (asked - mayReach(was) + inStock)})};
  };
  const double rate = plan_.context.rate.hertz();
  RollTask task{s, leg(side), ownFrames, by, legAt, pullOf(rolling * rate), pullOf(legHoming * rate), static_cast<int>(blendTime * rate), bends(side, s.span), {}, {}};
  const auto leads = [&](FrameSpan gap, bool single, int first) {
    LeadsTo to{gap.count(), {turnAt(side, first), turnAt(side, first + 1)}, bends(side, widened(gap, 1, 1))};
    if (single) to.turns[first < gap.first ? 0 : 1] = to.turns[first < gap.first ? 1 : 0];
    return to;
  };
  if (before >= 0 && meets(stay(before), s)) {
    const FrameSpan gap{stay(before).span.last + 1, s.span.first - 1};
    task.before = leads(gap, stay(before).span.count() < 2, gap.first - 2);
  } else if (s.before > 0) {
    task.before = leads({s.span.first - s.before, s.span.first - 1}, false, s.span.first - s.before - 2);
  }
  if (after >= 0 && meets(s, stay(after))) {
    const FrameSpan gap{s.span.last + 1, stay(after).span.first - 1};
    task.after = leads(gap, stay(after).span.count() < 2, gap.last + 1);
  } else if (s.after > 0) {
    task.after = leads({s.span.last + 1, s.span.last + s.after}, false, s.span.last + s.after + 1);
  }
  return evenedOut(task, rolls_[static_cast<std::size_t>(index)]);
}

// A sole that gives slips where what it stands on changes, or gives in another way than the rest: from frame to frame the foot goes
// along, so that what is down stays.
void PlantRun::stick() {
  for (std::size_t i = 0; i < plan_.stays.size(); ++i) {
    const Stay& s = plan_.stays[i];
    if (!leg(s.side).soft || common(s.span, moves_).empty()) continue;
    const PlantLeg& foot = leg(s.side);
    Vec3d shift;
    std::vector<Vec3d> last;
    for (int f = s.span.first; f <= s.span.last; ++f) {
      FootPose& pose = standing_[i][static_cast<std::size_t>(f - s.span.first)];
      const FootPose wanted = pose;
      const bool held = f < s.release;
      for (int round = 0; round < 3; ++round) {
        pose.at = wanted.at + shift;
        if (!held) break;
        const Bent bent = bend(s.side, f, pose, false, firmness(s, f), static_cast<int>(i), moves(s.side, f));
        std::vector<Vec3d> now = foot.skinned(bent.leg.foot, bent.leg.shank, bent.leg.knee);
        if (bent.miss > 1e-4 * plan_.context.height) {
          // Out of reach it is no use to ask for more.
          last.clear();
          break;
        }
        const Vec3d slid = last.empty() || round == 2 ? Vec3d{} : foot.slid(last, now, s.plane.normal);
        shift -= slid;
        if (length(slid) > 1e-6 * plan_.context.height) continue;
        last = std::move(now);
        break;
      }
      if (!held) last.clear();
    }
  }
  for (int side = 0; side < 2; ++side) fillGoals(side);
}

// Between stays the leg goes from one to the other, or back to its own motion over the ease.
void PlantRun::swing(int side) {
  const std::vector<int>& order = plan_.order[static_cast<std::size_t>(side)];
  for (std::size_t i = 0; i <= order.size(); ++i) {
    const Stay* a = i > 0 ? &stay(order[i - 1]) : nullptr;
    const Stay* b = i < order.size() ? &stay(order[i]) : nullptr;
    if (a && b && meets(*a, *b)) {
      lead(side, a, b, {a->span.last + 1, b->span.first - 1});
      continue;
    }
    if (a) lead(side, a, nullptr, {a->span.last + 1, a->span.last + a->after});
    if (b) lead(side, nullptr, b, {b->span.first - b->before, b->span.first - 1});
  }
}

// The way over a gap, back to the leg's own motion without more haste than the leg has there anyway.
std::vector<LegTurn> PlantRun::cameHome(int side, FrameSpan gap, const GapEnds& ends, const std::vector<LegTurn>& jerks) const {
  const double rate = plan_.context.rate.hertz();
  const int near = static_cast<int>(2 * blendTime * rate);
  const FrameSpan around = common({gap.first - near, gap.last + near}, {clip_.first + 1, clip_.last - 1});
  std::vector<LegTurn> had(static_cast<std::size_t>(gap.count() + 2));
  std::vector<double> sizes;
  for (int f = around.first; f <= around.last; ++f) {
    const LegTurn bend = bendOf(own(side, f - 1), own(side, f), own(side, f + 1));
    sizes.push_back(hasteOf(bend));
    if (widened(gap, 1, 1).holds(f)) had[static_cast<std::size_t>(f - gap.first + 1)] = bend;
  }
  double usual = 0;
  if (!sizes.empty()) {
    const auto at = sizes.begin() + static_cast<std::ptrdiff_t>(usualPart * static_cast<double>(sizes.size() - 1));
    std::nth_element(sizes.begin(), at, sizes.end());
    usual = *at;
  }
  return homeward(gap.count(), ends, jerks, had, usual, legHoming * rate);
}

void PlantRun::lead(int side, const Stay* a, const Stay* b, FrameSpan gap) {
  const FrameSpan here = common(gap, swings_);
  if (here.empty()) return;
  GapEnds ends;
  ends[1] = turnAt(side, gap.first - 1);
  ends[0] = a && a->span.count() < 2 ? ends[1] : turnAt(side, gap.first - 2);
  ends[2] = turnAt(side, gap.last + 1);
  ends[3] = b && b->span.count() < 2 ? ends[2] : turnAt(side, gap.last + 2);
  const double rate = plan_.context.rate.hertz();
  const std::vector<LegTurn> jerks = bends(side, {gap.first - 1, gap.last + 1});
  std::vector<LegTurn> turns = cameHome(side, gap, ends, jerks);
  if (leg(side).limb.tip >= 0) {
    const std::vector<LegTurn> toes = LeadOver(gap.count(), pullOf(toeHoming * rate), jerks).way(ends);
    for (std::size_t k = 0; k < turns.size(); ++k) turns[k].toe = toes[k].toe;
  }
  for (int f = here.first; f <= here.last; ++f) {
    FootGoal& g = goal(side, f);
    double apart = 1;
    if (a) apart *= 1 - fade(static_cast<double>(f - a->span.last) / (a->after + 1));
    if (b) apart *= 1 - fade(static_cast<double>(b->span.first - f) / (b->before + 1));
    g.active = true;
    g.share = 1 - apart;
    g.leg = turnedBy(own(side, f), leg(side).limb.hinge, moves(side, f), turns[static_cast<std::size_t>(f - gap.first)]);
    g.pose = g.leg.foot;
    // No knee is to be driven through straight.
    // Near the ground, none that is bent backwards either: what stands is not. What it is bent sideways leaves it room too.
    const LegFrame& was = own(side, f);
    const Vec3d& hinge = leg(side).limb.hinge;
    const double all = bendOfReach(std::min(1.0, g.leg.straight > 1 ? 2 - g.leg.straight : g.leg.straight)), bends = kneeBend(g.leg, hinge), most = bendOfReach(mayReach(was));
    const double may = std::sqrt(std::max(0.0, most * most - std::max(0.0, all * all - bends * bends))), had = std::min(kneeBend(was, hinge), may);
    const double kept = keptBent(bends, had + (may - had) * g.share, std::clamp(length(turns[static_cast<std::size_t>(f - gap.first)].shank), 1e-4, keptZone));
    if (kept > bends) {
      g.leg = withKneeBend(g.leg, hinge, kept);
      g.pose = g.leg.foot;
    }
  }
}

// The leg whose hip has moved and whose foot stands in `pose`, or as near to it as it may.
PlantRun::Bent PlantRun::bend(int side, int frame, const FootPose& pose, bool leaves, double firm, int index, const Vec3d& by) const {
  const LegFrame& was = own(side, frame);
  LegFrame moved = was;
  moved.hip += by;
  moved.knee += by;
  moved.foot.at += by;
  const auto reached = [&](FootPose wanted) {
    const double full = distance(was.hip, was.knee) + distance(was.knee, was.foot.at), asked = distance(moved.hip, wanted.at) / full;
    if (asked <= 1e-9) return wanted;
    if (const double least = mayFold(was); asked < least) {
      // Too near: it slips away from under the hips rather than into the ground.
      const Vec3d away{wanted.at.x - moved.hip.x, 0, wanted.at.z - moved.hip.z};
      const double dy = wanted.at.y - moved.hip.y, across = full * full * least * least - dy * dy;
      if (across > 0) wanted.at = Vec3d{moved.hip.x, wanted.at.y, moved.hip.z} + normalised(away, Vec3d{0, 0, 1}) * std::sqrt(across);
      return wanted;
    }
    const double reach = softReach(was, asked, firm, inHand(leg(side)));
    if (reach >= asked) return wanted;
    wanted.at = broughtWithin(moved.hip, wanted.at, full * reach, leaves);  // one that lets go is raised, so that it does not slip
    return wanted;
  };
  const PlantLeg& foot = leg(side);
  Bent out;
  FootPose target = reached(pose);
  out.leg = bentTo(moved, foot.limb.hinge, target);
  out.miss = distance(target.at, pose.at);
  if (foot.soft && firm > 0) {
    // A sole that partly hangs on the shank has given way: the foot makes up for it.
    const Vec3d normal = index >= 0 ? stay(index).plane.normal : Vec3d{0, 1, 0};
    PlantLeg::Give sum;
    const PlantLeg::Print wanted = foot.print(target, normal);
    const double pitch = foot.pitchOf(target.foot, normal);
    for (int round = 0; round < 6; ++round) {
      const PlantLeg::Give more = foot.give(wanted, pitch, foot.given(target, sum, 1), out.leg.shank, out.leg.knee, normal);
      sum.tilt += more.tilt;
      sum.shift += more.shift;
      out.leg = bentTo(moved, foot.limb.hinge, reached(foot.given(target, sum, 1)));
      if (length(more.shift) + std::abs(more.tilt) * foot.footLength() < 3e-5 * plan_.context.height) break;
    }
    double part = 1;
    if (leaves && index >= 0) {
      // Nor is a leg stretched for it that lets go.
      const double full = distance(was.hip, was.knee) + distance(was.knee, was.foot.at), asks = distance(moved.hip, foot.given(target, sum, 1).at) / full;
      part -= smoothStep((asks - givesFrom) / (givesUpTo - givesFrom)) * released(stay(index), frame);
      out.leg = bentTo(moved, foot.limb.hinge, reached(foot.given(target, sum, part)));
    }
    const FootPose asked = foot.given(target, sum, part);
    target = reached(asked);
    out.miss = std::max(out.miss, distance(asked.at, target.at));
  }
  out.miss += distance(out.leg.foot.at, target.at);
  return out;
}

}  // namespace understudy
