#include "core/repair/plant_run.h"

#include <algorithm>
#include <cmath>

#include "core/math/smooth_step.h"
#include "core/repair/admit.h"
#include "core/repair/plant.h"
#include "core/repair/plant_ease.h"
#include "core/repair/plant_steady.h"

namespace understudy {
namespace {

constexpr double aboutToLand = 0.7;  // how much one that comes down counts: the pelvis is there when it lands
constexpr double onTheBall = 0.2;    // how much a foot counts that can rise further
constexpr double onTheWay = 0.2;     // how much a foot counts that is on its way to or from the ground
constexpr double leastTurn = 0.02;   // radians by which the pelvis needs to turn before it does: trunk bones that turn are seen
constexpr double gentleKnee = 3.5;   // radians a second by which a knee may bend or stretch near straight, where it did not faster by itself,
constexpr double gentleSink = 0.015;  // and by what part of the leg the pelvis may sink for it
constexpr double easyFold = 0.003, softFold = 0.015;  // parts of its length that the pelvis leaves a leg to be folded further, one with a sole that gives
constexpr double releaseLoss = 0.6;  // part of its hold that a foot loses over its release

/// How much a foot counts for the pelvis: flat and on its heel it stands; on its ball it can make up for the leg's length.
double standingWeight(const Stay& s, int frame) {
  if (!s.span.holds(frame) || frame >= s.release) return 0;
  const PlantPhase phase = s.phase(frame);
  return phase == PlantPhase::ball ? onTheBall : phase == PlantPhase::toe ? 0 : 1;
}

}  // namespace

double released(const Stay& s, int frame) { return frame < s.release ? 0 : 1 - fade(static_cast<double>(frame - s.release + 1) / (s.span.last - s.release + 2)); }
double firmness(const Stay& s, int frame) { return s.weight * (1 - releaseLoss * released(s, frame)); }

void PlantRun::run(TiledMotion& out, std::vector<Residual>& residuals) {
  const FrameSpan writes = writtenIn(frames_);
  if (writes.empty()) return;
  load();
  for (int side = 0; side < 2; ++side) fillGoals(side);
  lowerPelvis(drops_);
  even(drops_);
  lowerPelvis(steadies_);
  steady(widened(settles_, 3 * plan_.reach, 3 * plan_.reach));
  lowerFurther(settles_, Lowering::gentle);
  // Once more where the pelvis has settled: feet that rolled as they did before would be out of reach, or near it by a hair.
  even(widened(moves_, 3 * plan_.reach, 3 * plan_.reach));
  lowerFurther(moves_, Lowering::least);
  ground();
  stick();
  for (int side = 0; side < 2; ++side) swing(side);
  for (int side = 0; side < 2; ++side) clear(side);
  for (int f = writes.first; f <= writes.last; ++f) solve(f, out, residuals);
}

FrameSpan PlantRun::writtenIn(FrameSpan frames) const {
  FrameSpan out;
  for (const Stay& s : plan_.stays) out = hull(out, common(plan_.written(s), frames));
  for (const GroundTask& task : plan_.grounds) out = hull(out, common(task.extent, frames));
  if (parts_.hasSeat())
    for (const FrameSpan& e : parts_.extents()) out = hull(out, common(e, frames));
  return out;
}

// What is written depends on where the pelvis goes four times its reach and the ends of the eases away; that on the feet that stand as far
// again around, which roll as the pelvis goes and as the legs before and after them do, twice; and its way on all stays around.
void PlantRun::load() {
  const int r = plan_.reach;
  const int swing = 2 * plan_.longestEase + 4;  // the whole way of a foot from stay to stay
  swings_ = common(widened(frames_, swing, swing), clip_);
  moves_ = common(widened(swings_, plan_.longestEase + 2, plan_.longestEase + 2), clip_);
  const auto whole = [&](FrameSpan span) {
    if (common(span, moves_).empty() || common(span, moves_) == span) return false;
    moves_ = hull(moves_, span);
    return true;
  };
  for (bool again = true; again;) {
    for (const Stay& s : plan_.stays)
      if (leg(s.side).soft) whole(s.span);
    again = false;
    for (const GroundTask& task : plan_.grounds) again = whole(task.extent) || again;
  }
  const int ease = 2 * plan_.longestEase + 4;
  settles_ = common(widened(moves_, 3 * r, 3 * r), clip_);
  for (FrameSpan again = settles_; const Stay& s : plan_.stays)
    if (!common(s.span, again).empty()) settles_ = hull(settles_, common(widened(s.span, ease, ease), clip_));
  const int steady = 3 * r + steadyReach(plan_.context.rate.hertz());
  steadies_ = common(widened(settles_, steady, steady), clip_);
  drops_ = common(widened(steadies_, 3 * r, 3 * r), clip_);
  for (const Stay& s : plan_.stays) {
    evened_.push_back(!common(s.span, common(widened(steadies_, 3 * r, 3 * r), clip_)).empty());
    if (!evened_.back()) continue;
    const FrameSpan w = common(widened(s.span, ease, ease), clip_);
    drops_ = {std::min(drops_.first, w.first), std::max(drops_.last, w.last)};
  }
  stands_ = common(widened(drops_, 3 * r, 3 * r), clip_);
  FrameSpan ways = stands_;
  for (const Stay& s : plan_.stays) {
    mine_.push_back(!common(plan_.eased(s), stands_).empty());
    if (mine_.back()) ways = {std::min(ways.first, s.span.first), std::max(ways.last, s.span.last)};
  }
  FrameSpan needed = ways;
  for (std::size_t i = 0; i < plan_.stays.size(); ++i) {
    const Stay& s = plan_.stays[i];
    if (common(plan_.eased(s), widened(ways, r, r)).empty()) continue;
    near_.push_back(static_cast<int>(i));
    needed = {std::min(needed.first, s.span.first), std::max(needed.last, s.span.last)};
  }
  const int around = static_cast<int>(3 * blendTime * plan_.context.rate.hertz()) + 5 + plan_.longestEase;
  needed = common(widened(needed, around, around), clip_);
  const int calms = std::max(twistReach(plan_.context.rate.hertz()), toesReach(plan_.context.rate.hertz()));
  needed = common(widened(needed, calms, calms), clip_);
  own_.first = needed.first;
  calm(needed);
  const std::array<std::vector<double>, 2> firms{firmIn(needed, 0), firmIn(needed, 1)};
  for (int f = needed.first; f <= needed.last; ++f) {
    loadCalm(f);
    for (std::size_t side = 0; side < 2; ++side) {
      LegFrame& was = own_.legs[side].emplace_back(leg(static_cast<int>(side)).limb.complete() ? pose_.leg(static_cast<int>(side)) : LegFrame{});
      // A leg that stands does not go along as the pelvis is turned, but as its own way is calmed.
      const Calms& calmed = calmAt(f);
      if (const double firm = firms[side][static_cast<std::size_t>(f - needed.first)]; firm > 0 && (calmed.pelvis.turn != Vec3d{} || calmed.thighs[side] != Vec3d{}))
        was = swung(was, slerp(Quatd{}, expOf(calmed.thighs[side]) * conjugate(expOf(calmed.pelvis.turn)), firm));
    }
    own_.pivots.push_back(pose_.pivot());
  }
  for (int side = 0; side < 2; ++side) {
    std::vector<LegFrame>& legs = own_.legs[static_cast<std::size_t>(side)];
    const std::vector<double> turns = calmedTwists(legs, plan_.context.rate.hertz());
    const std::vector<double>& firm = firms[static_cast<std::size_t>(side)];
    for (std::size_t k = 0; k < legs.size(); ++k)
      if (firm[k] > 0) legs[k].shank = normalised(fromAxisAngle(normalised(legs[k].foot.at - legs[k].knee, {0, 1, 0}), turns[k] * firm[k]) * legs[k].shank);
    if (leg(side).limb.tip < 0) continue;
    const std::vector<Quatd> toes = calmedToes(legs, plan_.context.rate.hertz());
    for (std::size_t k = 0; k < legs.size(); ++k)
      if (firm[k] > 0) legs[k].foot.toe = normalised(legs[k].foot.foot * slerp(conjugate(legs[k].foot.foot) * legs[k].foot.toe, toes[k], firm[k]));
  }
  standing_.resize(plan_.stays.size());
  rolls_.resize(plan_.stays.size());
  for (const int i : near_) stand(i, std::vector<Vec3d>(static_cast<std::size_t>(stay(i).span.count()), Vec3d{0, stay(i).lift, 0}));
  ways_ = ways;
  std::vector<PelvisWay> raw;
  for (int f = ways.first - r; f <= ways.last + r; ++f) raw.push_back(rawWay(f));
  for (int f = ways.first; f <= ways.last; ++f) {
    PelvisWay sum;
    for (int k = 0; k <= 2 * r; ++k) {
      const PelvisWay& w = raw[static_cast<std::size_t>(f - ways.first + k)];
      sum.goes = sum.goes + w.goes * plan_.kernel[static_cast<std::size_t>(k)];
      sum.lift += w.lift * plan_.kernel[static_cast<std::size_t>(k)];
    }
    way_.push_back(sum.goes);
    lift_.push_back(sum.lift);
  }
  for (const int i : near_) {
    if (!mine_[static_cast<std::size_t>(i)]) continue;
    std::vector<Vec3d> by;
    for (int f = stay(i).span.first; f <= stay(i).span.last; ++f) by.push_back(goes(stay(i).side, f, way(f)));
    stand(i, by);
  }
}

// How firmly a foot stands, or will, or did.
std::vector<double> PlantRun::firmIn(FrameSpan span, int side) const {
  std::vector<double> firm(static_cast<std::size_t>(span.count()), 0.0);
  for (const int i : plan_.order[static_cast<std::size_t>(side)]) {
    const Stay& s = stay(i);
    const FrameSpan held = common(plan_.eased(s), span);
    for (int f = held.first; f <= held.last; ++f) {
      double& all = firm[static_cast<std::size_t>(f - span.first)];
      all = std::max(all, s.weight * fadedAround(s.span, s.before, s.after, f));
    }
  }
  return firm;
}

// What jerks the pelvis while a foot stands is no part of a leg's own motion.
void PlantRun::calm(FrameSpan needed) {
  const double rate = plan_.context.rate.hertz();
  const FrameSpan read = common(widened(needed, calmReach(rate), calmReach(rate)), clip_);
  std::vector<PelvisPose> way;
  for (int f = read.first; f <= read.last; ++f) {
    pose_.load(in_, f);
    PelvisPose& pose = way.emplace_back(PelvisPose{pose_.pivot(), pose_.pelvis(), {pose_.pivot(), pose_.pivot()}, {}, pose_.trunk()});
    for (int side = 0; side < 2; ++side)
      if (leg(side).limb.complete()) {
        const LegFrame was = pose_.leg(side);
        pose.hips[static_cast<std::size_t>(side)] = was.hip;
        pose.thighs[static_cast<std::size_t>(side)] = was.thigh;
      }
  }
  const std::vector<Calms> calms = calmed(way, {firmIn(read, 0), firmIn(read, 1)}, rate, plan_.context.leg);
  own_.calm.assign(calms.begin() + (needed.first - read.first), calms.begin() + (needed.last - read.first + 1));
}

std::vector<Vec3d> PlantRun::movesIn(const Stay& s) const {
  std::vector<Vec3d> out;
  for (int f = s.span.first; f <= s.span.last; ++f) out.push_back(moves(s.side, f));
  return out;
}

std::vector<LegFrame> PlantRun::ownIn(const Stay& s) const {
  std::vector<LegFrame> out;
  for (int f = s.span.first; f <= s.span.last; ++f) out.push_back(own(s.side, f));
  return out;
}

void PlantRun::stand(int index, const std::vector<Vec3d>& by) {
  Roll& roll = rolls_[static_cast<std::size_t>(index)];
  roll = ownRoll(stay(index), leg(stay(index).side), ownIn(stay(index)), by);
  stand(index, by, roll, standing_[static_cast<std::size_t>(index)]);
}

void PlantRun::stand(int index, const std::vector<Vec3d>& by, const Roll& roll, std::vector<FootPose>& out) const {
  const Stay& s = stay(index);
  const std::vector<LegFrame> ownFrames = ownIn(s);
  out = standingFeet(s, leg(s.side), ownFrames, by, roll);
  if (s.weight < 1)
    for (std::size_t k = 0; k < out.size(); ++k) out[k] = changed(ownFrames[k].foot, changeOf(ownFrames[k].foot, out[k]) * s.weight);
}

// Where the feet that stand would have the pelvis, before it is smoothed: raised as their anchors say, and gone with them as far
// as it may.
PelvisWay PlantRun::rawWay(int frame) const {
  struct Foot {
    Vec3d at;
    int side;
    double weight;
  };
  std::vector<Foot> feet;
  double lift = 0, weight = 0, presence = 0, most = 0;
  for (const int i : near_) {
    const Stay& s = stay(i);
    double a = 1;
    if (frame < s.span.first) a = fade(static_cast<double>(s.span.first - frame) / (s.before + 1));
    if (frame > s.span.last) a = fade(static_cast<double>(frame - s.span.last) / (s.after + 1));
    if (a <= 0) continue;
    presence = std::max(presence, a);
    const int at = std::clamp(frame, s.span.first, std::min(s.release - 1, s.span.last));
    const double w = standingWeight(s, frame) + (frame < s.span.first ? aboutToLand : onTheWay) * a;
    // One that does not stand here keeps the change it has where it does.
    const LegFrame& there = own(s.side, at);
    const int here = std::clamp(frame, clip_.first, clip_.last);
    feet.push_back({own(s.side, here).foot.at + (standing(i, at).at - there.foot.at), s.side, w});
    most = std::max(most, w);
    lift += w * s.lift * s.weight;
    weight += w;
  }
  if (!(weight > 0)) return {};
  lift /= weight;
  const int here = std::clamp(frame, clip_.first, clip_.last);
  std::vector<LegFrame> legs;
  for (const Foot& foot : feet) {
    legs.push_back(own(foot.side, here));
    // As the anchors have raised it.
    for (Vec3d* p : {&legs.back().hip, &legs.back().knee, &legs.back().foot.at}) p->y += lift;
  }
  std::vector<PelvisLeg> asked;
  for (std::size_t k = 0; k < feet.size(); ++k)
    asked.push_back({legs[k], leg(feet[k].side).limb.hinge, feet[k].at, mayReach(own(feet[k].side, here)) - inHand(leg(feet[k].side)), mayFold(own(feet[k].side, here)), feet[k].weight / most});
  const PelvisSettings settings;
  const Vec3d about = pivot(here) + Vec3d{0, lift, 0};
  const auto limited = [](const Vec3d& v, double limit) {
    const double size = length(v);
    return size > 1e-9 ? v * (limit * std::tanh(size / limit) / size) : v;
  };
  PelvisMove move = bestPelvis(asked, about, settings);
  // Where it needs hardly turn it does not.
  const double turns = length(move.turn);
  move.turn = limited(move.turn * std::max(0.0, 1 - leastTurn / std::max(turns, 1e-9)), plantSettings().turnLimit);
  move = bestShift(asked, about, settings, move);
  move.by = limited(move.by, plantSettings().followLimit * plan_.context.leg) + Vec3d{0, lift, 0};
  return {move * presence, lift * presence};
}

void PlantRun::fillGoals(int side) {
  std::vector<FootGoal>& goals = goals_[static_cast<std::size_t>(side)];
  goals.assign(static_cast<std::size_t>(stands_.count()), {});
  for (const int i : plan_.order[static_cast<std::size_t>(side)]) {
    const Stay& s = stay(i);
    const FrameSpan span = common(s.span, stands_);
    for (int f = span.first; f <= span.last; ++f) goal(side, f) = {standing(i, f), true, i, firmness(s, f)};
  }
}

PelvisMove PlantRun::pelvis(int frame) const {
  PelvisMove move = way(frame);
  move.by.y = std::max(move.by.y - drop_.at(frame), std::min(move.by.y, lift_[static_cast<std::size_t>(frame - ways_.first)] - plantSettings().pelvisLimit * plan_.context.leg));
  move.by.y += rise_.at(frame) + above_.at(frame);
  move = move + steady_.at(frame);
  if (!parts_.hasSeat()) return move;
  const PartPlants::Hold seat = parts_.seatAt(in_, frame);
  return move * (1 - seat.firm) + PelvisMove{seat.shift, {}};
}

// From a foot that stands to its hip as the pelvis goes.
Vec3d PlantRun::gapAt(int side, int frame) const {
  return own(side, frame).hip + goes(side, frame, way(frame) + steady_.at(frame)) + Vec3d{0, rise_.at(frame) - drop_.at(frame), 0} - goal(side, frame).pose.at;
}

// How far a leg that stands should reach for its knee not to give way at a stroke just after its foot has landed, nor to be stretched
// at one just before it leaves: near straight, a hair of length is many degrees. Parts of its length.
Strip PlantRun::gentleReach(int side) const {
  Strip bends(stands_), out(stands_);
  for (int f = stands_.first; f <= stands_.last; ++f) {
    const FootGoal& g = goal(side, f);
    if (!g.active) continue;
    const LegFrame& o = own(side, f);
    bends[f] = bendOfReach(std::min(length(gapAt(side, f)) / (distance(o.hip, o.knee) + distance(o.knee, o.foot.at)), mayReach(o) - inHand(leg(side))));
  }
  const double step = gentleKnee / plan_.context.rate.hertz();
  for (int f = stands_.first; f <= stands_.last; ++f) {
    out[f] = 1;
    if (!goal(side, f).active) continue;
    double most = bends.at(f);
    for (const int way : {-1, 1}) {
      double away = 0;
      for (int k = f + way; std::abs(k - f) <= plan_.reach && stands_.holds(k) && goal(side, k).active && goal(side, k).stay == goal(side, f).stay; k += way) {
        away += std::max(step, std::abs(bendOfReach(own(side, k).straight) - bendOfReach(own(side, k - way).straight)));
        most = std::max(most, bends.at(k) - away);
      }
    }
    if (most > bends.at(f)) out[f] = reachOf(most);
  }
  return out;
}

// The pelvis sinks where a leg would be straighter than it may, and rises where one would be folded further.
void PlantRun::lowerPelvis(FrameSpan span) {
  drop_ = rise_ = Strip({0, -1});
  lowerFurther(span, Lowering::gentle);
}

// On top of what it sinks and rises already: what has been made steady stays so.
void PlantRun::lowerFurther(FrameSpan span, Lowering how) {
  const PlantSettings& settings = plantSettings();
  const double limit = settings.pelvisLimit * plan_.context.leg;
  Strip need(stands_), tooNear(stands_);
  const std::array<Strip, 2> reaches{gentleReach(0), gentleReach(1)};
  for (int f = stands_.first; f <= stands_.last; ++f)
    for (int side = 0; side < 2; ++side) {
      const FootGoal& g = goal(side, f);
      if (!g.active) continue;
      const LegFrame& o = own(side, f);
      const double full = distance(o.hip, o.knee) + distance(o.knee, o.foot.at), flat = square(gapAt(side, f).x) + square(gapAt(side, f).z), up = gapAt(side, f).y;
      const auto sinkFor = [&](double reach) { return flat >= square(reach * full) ? limit : std::clamp(up - std::sqrt(square(reach * full) - flat), 0.0, limit); };
      const double sinks = how == Lowering::least && f >= stay(g.stay).release ? 0 : sinkFor(mayReach(o) - inHand(leg(side)));  // what lets go rises
      const double straight = smoothStep((std::sqrt(flat + up * up) / full - 0.75) / 0.15);  // a folded leg gives way as it is
      const double gently = how == Lowering::least ? 0 : std::clamp(sinkFor(reaches[static_cast<std::size_t>(side)].at(f)) - sinks, 0.0, gentleSink * plan_.context.leg);
      need[f] = std::max(need[f], (sinks + gently * straight) * g.firm);
      const double least = (mayFold(o) + (leg(side).soft ? softFold : easyFold)) * full;
      if (flat < least * least) tooNear[f] = std::max(tooNear[f], std::clamp(std::sqrt(least * least - flat) - up, 0.0, settings.raiseLimit * plan_.context.leg) * g.firm);
    }
  Strip drop = closelyCovering(need, span, plan_.reach), rise = closelyCovering(tooNear, span, plan_.reach);
  for (int f = span.first; f <= span.last; ++f) {
    drop[f] += drop_.at(f);
    rise[f] += rise_.at(f);
  }
  drop_ = std::move(drop);
  rise_ = std::move(rise);
}

// What of the pelvis' way makes knees jerk that stand is taken out of it.
void PlantRun::steady(FrameSpan span) {
  std::array<std::vector<KneeFrame>, 2> knees;
  const bool both = leg(0).limb.complete() && leg(1).limb.complete();
  /// What the hips roll about: level, and square to the line between them.
  const auto rollsAbout = [&](int f) { return !both ? Vec3d{} : normalised(cross(own(0, f).hip - own(1, f).hip, Vec3d{0, 1, 0}), Vec3d{}); };
  for (int f = steadies_.first; f <= steadies_.last; ++f)
    for (int side = 0; side < 2; ++side) {
      const FootGoal& g = goal(side, f);
      KneeFrame knee;
      if (g.active) {
        const LegFrame& o = own(side, f);
        knee = {g.stay, g.firm, o.hip + moves(side, f) - g.pose.at, cross(rollsAbout(f), o.hip - pivot(f)), distance(o.hip, o.knee) + distance(o.knee, o.foot.at), standingBend(o, leg(side).limb.hinge)};
      }
      knees[static_cast<std::size_t>(side)].push_back(knee);
    }
  const std::vector<HipShift> shifts = steadied(knees, plan_.context.rate.hertz(), plan_.context.leg);
  const FrameSpan here = common(span, clip_);
  steady_ = StripOf<PelvisMove>(here);
  for (int f = here.first; f <= here.last; ++f) {
    double near = 0;
    for (const int i : near_) near = std::max(near, fadedAround(stay(i).span, stay(i).before + plan_.reach, stay(i).after + plan_.reach, f));
    const HipShift& shift = shifts[static_cast<std::size_t>(f - steadies_.first)];
    steady_[f] = PelvisMove{shift.by, rollsAbout(f) * shift.roll} * near;
  }
}

// A frame as it comes in, what its pelvis stumbles by taken out.
void PlantRun::loadCalm(int frame) {
  pose_.load(in_, frame);
  if (const Calms& calms = calmAt(frame); calms.pelvis != PelvisMove{}) pose_.move(calms.pelvis.by, calms.pelvis.turn, calms.trunk);
}

// A frame with its pelvis where it goes, the legs not bent yet.
void PlantRun::loadMoved(int frame, const PelvisMove& move) {
  loadCalm(frame);
  if (move != PelvisMove{}) pose_.move(move.by, move.turn);
}

void PlantRun::solve(int frame, TiledMotion& out, std::vector<Residual>& residuals) {
  const PelvisMove move = pelvis(frame);
  const bool raise = move != PelvisMove{} || calmAt(frame).pelvis != PelvisMove{};
  if (!raise && !goal(0, frame).active && !goal(1, frame).active) return;
  loadMoved(frame, move);
  for (int side = 0; side < 2; ++side) {
    const FootGoal& g = goal(side, frame);
    if (!leg(side).limb.complete() || (!g.active && !raise)) continue;
    const double miss = place(side, frame);
    if (g.stay >= 0 && frame < stay(g.stay).release) residuals[plan_.stays[static_cast<std::size_t>(g.stay)].repair].note(frame, miss);
  }
  for (const GroundTask& task : plan_.grounds)
    if (task.frames.span.holds(frame)) residuals[task.repair].note(frame, std::max(0.0, inGround(frame, task.parts)));
  pose_.store(out, frame);
}

// Bends a leg, its hip moved already, so that its foot comes to its goal, or to its own place where it has none. Returns by how
// much it misses.
double PlantRun::place(int side, int frame) {
  const FootGoal& g = goal(side, frame);
  if (g.active && g.stay < 0) {
    pose_.set(side, g.cleared ? bentTo(g.leg, leg(side).limb.hinge, g.pose, kneeBend(g.leg, leg(side).limb.hinge) < 0) : g.leg);
    return 0;
  }
  const Bent bent = bend(side, frame, g.active ? g.pose : loose(side, frame), g.active && frame >= stay(g.stay).release, g.firm, g.stay, moves(side, frame));
  pose_.set(side, bent.leg);
  return bent.miss;
}

void applyPlants(const PlantPlan& plan, const PartPlants& parts, const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) {
  PlantRun(plan, parts, in, frames).run(out, residuals);
}

}  // namespace understudy
