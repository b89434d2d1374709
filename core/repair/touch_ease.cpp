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
  std::vector<Vec3d> spine(spine_.size());
  std::array<Bend, 4> bends{};
  std::array<bool, 4> bent{};
  std::array<double, 4> inner{};  // of the touches' own poses
  bool spineTurned = false;
  for (const Pull& pull : pulls) {
    if (!pull.edge) continue;
    const RepairFrames& when = frames_[pull.item->index];
    const int out = frame < when.span.first ? when.span.first - frame : frame - when.span.last;
    const Turns turns = pull.edge->turns.plus(pull.edge->outwards, out);
    const double w = pull.weight / pull.item->weight;
    const auto add = [&](int limb, const Bend& bend) {
      if (limb < 0) return;
      const auto at = static_cast<std::size_t>(limb);
      bends[at] = bends[at].plus(bend, w);
      inner[at] = std::max(inner[at], bend.inner);
      bent[at] = true;
    };
    add(pull.item->limb, turns.own);
    add(pull.item->other, turns.other);
    for (std::size_t i = 0; i < spine.size(); ++i) {
      spine[i] += turns.spine[i] * w;
      spineTurned = spineTurned || length(turns.spine[i]) > 0;
    }
  }
  struct End {
    Vec3d place, root;
    Quatd turn;
    double inner = 0;
  };
  std::array<End, 4> ends;
  for (int limb = 0; limb < 4; ++limb)
    if (const LimbRig& rig = limbAt(limb); rig.complete())
      ends[static_cast<std::size_t>(limb)] = {poser.position(rig.end), poser.position(rig.root), poser.rotation(rig.end), innerAngle(poser, rig)};
  const auto turn = [&](int joint, const Vec3d& by) {
    if (joint >= 0 && length(by) > 0) poser.setLocal(joint, expOf(by) * poser.local(joint));
  };
  if (spineTurned) {
    const Quatd head = head_ >= 0 ? poser.rotation(head_) : Quatd{};
    for (std::size_t i = 0; i < spine.size(); ++i) turn(spine_[i], spine[i]);
    if (head_ >= 0) poser.setRotation(head_, head);
  }
  for (int limb = 0; limb < 4; ++limb) {
    const LimbRig& rig = limbAt(limb);
    const auto at = static_cast<std::size_t>(limb);
    if (!rig.complete()) continue;
    if (!bent[at]) {
      // The other arm stays where it was.
      if (limb < 2 && spineTurned) poser.solveLimb(rig, {carriedPlace(poser, limb, ends[at].place, ends[at].root), ends[at].turn, std::nullopt});
      continue;
    }
    const Vec3d gap = rotate(conjugate(poser.rotation(rig.mid)), poser.position(rig.end) - poser.position(rig.mid));
    turn(rig.girdle, bends[at].girdle);
    turn(rig.root, bends[at].root);
    // A limb that straightens in the motion meanwhile is not bent the wrong way.
    const Vec3d hinge = rotate(poser.rotation(rig.root), rig.hinge), by = rotate(poser.above(rig.mid), bends[at].mid);
    const double opens = dot(by, hinge), wanted = ends[at].inner + opens;
    const double least = std::min({ends[at].inner, inner[at], mostClosed}), most = std::max({ends[at].inner, inner[at], mostOpen});
    turn(rig.mid, bends[at].mid + rotate(conjugate(poser.above(rig.mid)), hinge) * (std::clamp(wanted, least, most) - wanted));
    if (rig.detached) poser.moveBy(rig.end, poser.toWorld(rig.mid, gap) - poser.position(rig.end));
    poser.setRotation(rig.end, ends[at].turn * expOf(bends[at].end));
  }
}

}  // namespace understudy
