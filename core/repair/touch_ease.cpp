// How touches set in and fade out before and after their spans.
#include "core/repair/touch_layer.h"

#include <algorithm>
#include <numbers>

namespace understudy {
namespace {

/// Angles at an elbow or knee to which a fading bend is kept where neither the motion nor the touch goes beyond, radians.
constexpr double mostOpen = 2.9, mostClosed = 0.6;

double innerAngle(const Poser& poser, const LimbRig& limb) {
  return angleBetween(poser.position(limb.root) - poser.position(limb.mid), poser.position(limb.end) - poser.position(limb.mid));
}

}  // namespace

TouchLayer::Turns TouchLayer::Turns::plus(const Turns& t, double w) const {
  Turns out{own.plus(t.own, w), other.plus(t.other, w), spine};
  for (std::size_t i = 0; i < spine.size(); ++i) out.spine[i] += t.spine[i] * w;
  return out;
}

double TouchLayer::Turns::size() const {
  double most = 0;
  for (const Bend* bend : {&own, &other})
    for (const Vec3d& v : {bend->girdle, bend->root, bend->mid, bend->end}) most = std::max(most, length(v));
  for (const Vec3d& v : spine) most = std::max(most, length(v));
  return most;
}

TouchLayer::Turns TouchLayer::turnsAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept) const {
  Pull pull{&item, item.weight, nullptr, std::nullopt, false};
  if (item.skin) {
    pull.start = doneAt(poser, in, item, frame, kept);
    pull.settled = true;
  }
  struct Was {
    Quatd girdle, root, mid, end;
  };
  std::array<Was, 2> was;
  std::vector<Quatd> spine;
  const std::array<int, 2> limbs{item.limb, item.other};
  const auto local = [&](int joint) { return joint >= 0 ? poser.local(joint) : Quatd{}; };
  poser.load(in, frame);
  for (std::size_t k = 0; k < 2; ++k)
    if (limbs[k] >= 0) {
      const LimbRig& limb = limbAt(limbs[k]);
      was[k] = {local(limb.girdle), local(limb.root), local(limb.mid), poser.rotation(limb.end)};
    }
  for (const int joint : spine_) spine.push_back(poser.local(joint));
  solve(poser, in, {pull}, frame);
  const auto turn = [&](int joint, const Quatd& before) { return joint >= 0 ? logOf(poser.local(joint) * conjugate(before)) : Vec3d{}; };
  Turns out;
  for (std::size_t k = 0; k < 2; ++k)
    if (limbs[k] >= 0) {
      const LimbRig& limb = limbAt(limbs[k]);
      Bend& bend = k == 0 ? out.own : out.other;
      bend = {turn(limb.girdle, was[k].girdle), turn(limb.root, was[k].root), turn(limb.mid, was[k].mid), {}, innerAngle(poser, limb)};
      if (k == 0 && item.propInBone) bend.end = logOf(conjugate(was[k].end) * poser.rotation(limb.end));
    }
  for (std::size_t i = 0; i < spine_.size(); ++i) out.spine.push_back(turn(spine_[i], spine[i]));
  return out;
}

const TouchLayer::Edge* TouchLayer::edgeOf(Poser& poser, const TiledMotion& in, const Item& item, int side, Kept& kept) const {
  std::optional<Edge>& known = keptOf(kept, item).edges[static_cast<std::size_t>(side)];
  if (known) return &*known;
  const RepairFrames& when = frames_[item.index];
  const int edge = side == 0 ? when.span.first : when.span.last, inwards = side == 0 ? 1 : -1;
  const int steps = std::min(slopeFrames, when.span.last - when.span.first);
  Edge out;
  out.turns = turnsAt(poser, in, item, edge, kept);
  out.outwards = out.turns.plus(out.turns, -1);
  if (steps > 0) {
    const Turns inside = turnsAt(poser, in, item, edge + inwards * steps, kept);
    out.outwards = out.outwards.plus(out.turns.plus(inside, -1), 1.0 / steps);
    // The slope goes on no further than half of what is turned, so that nothing overshoots.
    const double ease = side == 0 ? when.before : when.after, most = 0.5 * out.turns.size() + 0.05;
    if (const double far = out.outwards.size() * ease; far > most) out.outwards = Turns{{}, {}, std::vector<Vec3d>(spine_.size())}.plus(out.outwards, most / far);
  }
  known = std::move(out);
  return &*known;
}

void TouchLayer::fade(Poser& poser, const std::vector<Pull>& pulls, int frame) const {
  struct Fading {
    Bend bend;
    bool bent = false;
    double inner = 0;           // of the touches' own poses
    std::vector<Vec3d> spine;   // that goes with them
  };
  std::array<Fading, 4> fading;
  std::vector<Vec3d> spine(spine_.size());
  for (Fading& f : fading) f.spine = spine;
  const auto turns = [](const std::vector<Vec3d>& of) { return std::any_of(of.begin(), of.end(), [](const Vec3d& v) { return length(v) > 0; }); };
  for (const Pull& pull : pulls) {
    if (!pull.edge) continue;
    const RepairFrames& when = frames_[pull.item->index];
    const int out = frame < when.span.first ? when.span.first - frame : frame - when.span.last;
    const Turns turned = pull.edge->turns.plus(pull.edge->outwards, out);
    const double w = pull.weight / pull.item->weight;
    const auto add = [&](int limb, const Bend& bend) {
      if (limb < 0) return;
      Fading& f = fading[static_cast<std::size_t>(limb)];
      f.bend = f.bend.plus(bend, w);
      f.inner = std::max(f.inner, bend.inner);
      f.bent = true;
      for (std::size_t i = 0; i < spine.size(); ++i) f.spine[i] += turned.spine[i] * w;
    };
    add(pull.item->limb, turned.own);
    add(pull.item->other, turned.other);
    for (std::size_t i = 0; i < spine.size(); ++i) spine[i] += turned.spine[i] * w;
  }
  const auto turn = [](Poser& p, int joint, const Vec3d& by) {
    if (joint >= 0 && length(by) > 0) p.setLocal(joint, expOf(by) * p.local(joint));
  };
  const auto turnSpine = [&](Poser& p, const std::vector<Vec3d>& by) {
    if (!turns(by)) return;
    const Quatd head = head_ >= 0 ? p.rotation(head_) : Quatd{};
    for (std::size_t i = 0; i < by.size(); ++i) turn(p, spine_[i], by[i]);
    if (head_ >= 0) p.setRotation(head_, head);
  };
  std::array<LimbTask, 4> was;
  for (int limb = 0; limb < 4; ++limb) was[static_cast<std::size_t>(limb)] = asItIs(poser, limb);
  const auto bendLimb = [&](Poser& p, int limb, double ownInner) {
    const LimbRig& rig = limbAt(limb);
    const Fading& f = fading[static_cast<std::size_t>(limb)];
    const Vec3d gap = rotate(conjugate(p.rotation(rig.mid)), p.position(rig.end) - p.position(rig.mid));
    turn(p, rig.girdle, f.bend.girdle);
    turn(p, rig.root, f.bend.root);
    // A limb that straightens in the motion meanwhile is not bent the wrong way.
    const Vec3d hinge = rotate(p.rotation(rig.root), rig.hinge), by = rotate(p.above(rig.mid), f.bend.mid);
    const double opens = dot(by, hinge), wanted = ownInner + opens;
    const double least = std::min({ownInner, f.inner, mostClosed}), most = std::max({ownInner, f.inner, mostOpen});
    turn(p, rig.mid, f.bend.mid + rotate(conjugate(p.above(rig.mid)), hinge) * (std::clamp(wanted, least, most) - wanted));
    if (rig.detached) p.moveBy(rig.end, p.toWorld(rig.mid, gap) - p.position(rig.end));
    p.setEnd(rig, was[static_cast<std::size_t>(limb)].rotation * expOf(f.bend.end));
  };
  std::array<double, 4> inner{};
  for (int limb = 0; limb < 4; ++limb)
    if (limbAt(limb).complete()) inner[static_cast<std::size_t>(limb)] = innerAngle(poser, limbAt(limb));
  // Where a touch of the other arm turns the spine, an arm stays where it would be without, as it does within the touch.
  std::array<LimbTask, 2> stays;
  std::array<bool, 2> carried{};
  for (int arm = 0; arm < 2; ++arm) {
    const auto at = static_cast<std::size_t>(arm);
    if (!limbAt(arm).complete() || fading[at].spine == spine) continue;
    carried[at] = true;
    stays[at] = was[at];
    if (!fading[at].bent) continue;
    Poser alone = poser;
    turnSpine(alone, fading[at].spine);
    bendLimb(alone, arm, inner[at]);
    stays[at] = asItIs(alone, arm);
  }
  turnSpine(poser, spine);
  for (int limb = 0; limb < 4; ++limb) {
    const auto at = static_cast<std::size_t>(limb);
    if (!limbAt(limb).complete()) continue;
    if (fading[at].bent) bendLimb(poser, limb, inner[at]);
    if (limb < 2 && carried[at]) bringTo(poser, limb, stays[at], carriedPlace(poser, limb, stays[at].goal, stays[at].root));
  }
}

}  // namespace understudy
