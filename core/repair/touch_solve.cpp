// One pose of touches: limbs brought to their goals, with collarbone, spine and hand turned as far as it takes.
#include "core/repair/touch_layer.h"

#include <algorithm>
#include <limits>
#include <numbers>

#include "core/math/smooth_step.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
// Farthest turns that help a limb that is too short.
constexpr double mostCollar = 15 * degree, mostSpine = 10 * degree;
/// Part of a limb's length up to which it needs no help.
constexpr double easy = 0.95;
/// The same up to which it bends to a sure side, and from which on it is as good as straight.
constexpr double bendsSurely = 0.988, straightFrom = 0.997;
/// Farthest turn of a hand whose prop does not reach its place by the arm alone.
constexpr double mostSwing = 25 * degree;

}  // namespace

TouchLayer::LimbTask TouchLayer::asItIs(const Poser& poser, int limb) const {
  LimbTask l;
  const LimbRig& rig = limbAt(limb);
  if (!rig.complete()) return l;
  l.goal = poser.position(rig.end);
  l.rotation = poser.rotation(rig.end);
  l.root = poser.position(rig.root);
  const Vec3d line = normalised(l.goal - l.root), bend = poser.position(rig.mid) - l.root, off = bend - line * dot(bend, line);
  l.reach = distance(l.root, l.goal);
  if (length(off) > 0.02 * length(bend)) {
    l.side = normalised(off);
    l.line = line;
  }
  return l;
}

void TouchLayer::bringTo(Poser& poser, int limb, const LimbTask& l, const Vec3d& target) const {
  LimbGoal wanted;
  wanted.target = target;
  wanted.endRotation = l.rotation;
  // The elbow's side goes along with the limb's line by the least turn, which is unsteady for opposite directions only.
  if (l.side) wanted.pole = rotate(rotationBetween(l.line, normalised(l.goal - poser.position(limbAt(limb).root), l.line)), *l.side);
  poser.solveLimb(limbAt(limb), wanted);
}

void TouchLayer::solve(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, int frame) const {
  fade(poser, pulls, frame);
  Task task;
  task.frame = frame;
  for (int limb = 0; limb < 4; ++limb) task.limbs[static_cast<std::size_t>(limb)] = asItIs(poser, limb);
  const auto add = [&](const Pull& pull, const Change& change, double w) {
    LimbTask& own = task.limbs[static_cast<std::size_t>(pull.item->limb)];
    own.goal += change.own * w;
    if (pull.item->propInBone && dot(change.swing, change.swing) > 0) own.rotation = expOf(change.swing * w) * own.rotation;
    if (pull.item->other >= 0) task.limbs[static_cast<std::size_t>(pull.item->other)].goal += change.other * w;
  };
  bool exact = false;
  for (const Pull& pull : pulls) {
    if (pull.edge) continue;
    for (const int limb : {pull.item->limb, pull.item->other})
      if (limb >= 0) task.limbs[static_cast<std::size_t>(limb)].weight = std::max(task.limbs[static_cast<std::size_t>(limb)].weight, pull.weight);
    task.spineMayHelp = task.spineMayHelp && pull.item->touch->spine;
    if (pull.start) {
      add(pull, *pull.start, pull.weight);
    } else {
      const Vec3d way = wishOf(poser, *pull.item, frame).way();
      const double share = shareOf(*pull.item, frame);
      add(pull, {way * (1 - share), way * -share, {}}, pull.weight);
    }
    exact = exact || (pull.weight > 1 - 1e-9 && !pull.settled);
  }
  if (std::all_of(pulls.begin(), pulls.end(), [](const Pull& pull) { return pull.edge != nullptr; })) return;
  const bool spineTurned = bring(poser, task);
  if (exact) follow(poser, in, pulls, task, spineTurned);
}

void TouchLayer::follow(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, Task& task, bool spineTurned) const {
  const double near = 1e-6 * context_->height;
  const auto goalOf = [&](int limb) -> Vec3d& { return task.limbs[static_cast<std::size_t>(limb)].goal; };
  std::array<LimbTask, 4> best = task.limbs;
  double bestMiss = std::numeric_limits<double>::infinity();
  bool last = true;  // the pose is that of the best goals
  // Props that are pointed to their place take more steps, of which none is halved.
  const bool points = std::any_of(pulls.begin(), pulls.end(), [](const Pull& pull) { return pull.item->propInBone.has_value(); });
  const int passes = points ? 24 : 10;
  for (int pass = 0;; ++pass) {
    const auto reached = [&](int limb) { return distance(poser.position(limbAt(limb).end), goalOf(limb)) < near; };
    std::array<Vec3d, 4> next;
    for (int limb = 0; limb < 4; ++limb) next[static_cast<std::size_t>(limb)] = goalOf(limb);
    double miss = 0;
    bool again = false;
    for (const Pull& pull : pulls) {
      if (pull.edge || pull.settled || pull.weight < 1 - 1e-9) continue;
      const Item& item = *pull.item;
      const auto own = static_cast<std::size_t>(item.limb), other = static_cast<std::size_t>(std::max(0, item.other));
      if (item.skin) {
        const Change s = settled(poser, item, task.frame, pull.start.has_value());
        miss = std::max(miss, s.size());
        if (s.size() < near) continue;
        next[own] = poser.position(limbAt(item.limb).end) + s.own;
        if (item.other >= 0) next[other] = poser.position(limbAt(item.other).end) + s.other;
      } else {
        const Vec3d way = wishOf(poser, item, task.frame).way();
        miss = std::max(miss, length(way));
        if (length(way) < near) continue;
        const bool ownCan = shareOf(item, task.frame) < 1 && reached(item.limb), otherCan = item.other >= 0 && shareOf(item, task.frame) > 0 && reached(item.other);
        const double share = shareOf(item, task.frame);
        if (!ownCan && !otherCan) {
          const std::optional<Vec3d> swung = item.propInBone ? swing(poser, item, task) : std::nullopt;
          if (swung) next[own] = *swung;
          again = swung || again;
          continue;
        }
        next[own] += way * (ownCan && otherCan ? 1 - share : ownCan ? 1.0 : 0.0);
        if (item.other >= 0) next[other] -= way * (ownCan && otherCan ? share : otherCan ? 1.0 : 0.0);
      }
      again = true;
    }
    last = miss < bestMiss;
    if (last) {
      bestMiss = miss;
      best = task.limbs;
    }
    if (!again || pass + 1 >= passes) break;
    // Touches on each other's arms chase one another: half steps.
    const double step = pass < 3 || points ? 1 : 0.5;
    for (int limb = 0; limb < 4; ++limb) goalOf(limb) += (next[static_cast<std::size_t>(limb)] - goalOf(limb)) * step;
    poser.load(in, task.frame);  // what helps is found anew, not added up
    fade(poser, pulls, task.frame);
    const bool turnedBefore = spineTurned;
    spineTurned = bring(poser, task);
    // A single hand that got where it should has moved no target along.
    const Item& item = *pulls.front().item;
    if (pulls.size() == 1 && item.other < 0 && item.skin && !spineTurned && !turnedBefore && reached(item.limb)) return;
  }
  if (last) return;
  task.limbs = best;
  poser.load(in, task.frame);
  fade(poser, pulls, task.frame);
  bring(poser, task);
}

std::optional<Vec3d> TouchLayer::swing(const Poser& poser, const Item& item, Task& task) const {
  LimbTask& limb = task.limbs[static_cast<std::size_t>(item.limb)];
  const Vec3d pivot = poser.position(limbAt(item.limb).end);
  const Wish wish = wishOf(poser, item, task.frame);
  const Vec3d from = wish.point - pivot, to = wish.target - pivot;
  if (length(from) < 1e-6 || length(to) < 1e-6) return std::nullopt;
  Vec3d turn = logOf(rotationBetween(normalised(from), normalised(to)));
  const double room = mostSwing - limb.swung;
  if (length(turn) > room) turn = turn * (std::max(0.0, room) / length(turn));
  limb.swung += length(turn);
  limb.rotation = expOf(turn) * limb.rotation;
  const Vec3d goal = pivot + armOf(poser, item.limb).within(to - rotate(expOf(turn), from));
  if (length(turn) < 1e-7 && distance(goal, limb.goal) < 1e-6 * context_->height) return std::nullopt;
  return goal;
}

Vec3d TouchLayer::carriedPlace(const Poser& poser, int limb, const Vec3d& place, const Vec3d& rootWas) const {
  const LimbRig& rig = limbAt(limb);
  const Vec3d root = poser.position(rig.root);
  const double full = distance(root, poser.position(rig.mid)) + distance(poser.position(rig.mid), poser.position(rig.end));
  const double had = distance(place, rootWas), now = distance(place, root), from = std::max({had, 0.97 * full, std::min(had + 0.012 * full, 0.994 * full)});
  if (now <= from) {
    // A straight arm has no side to bend to: it stays straight, and its hand goes along with the shoulder.
    const double straight = smoothStep((had / full - bendsSurely) / (straightFrom - bendsSurely));
    return now < had && now > 1e-9 ? root + (place - root) * ((now + (had - now) * straight) / now) : place;
  }
  const double zone = std::clamp(0.996 * full - from, 1e-6 * full, 0.018 * full);
  return root + (place - root) * ((from + zone * (1 - std::exp((from - now) / zone))) / now);
}

bool TouchLayer::bring(Poser& poser, const Task& task) const {
  bool spineTurned = false;
  for (int arm = 0; arm < 2; ++arm) {
    const LimbTask& l = task.limbs[static_cast<std::size_t>(arm)];
    if (l.weight > 0) spineTurned = help(poser, arm, l.goal, l.reach, task.spineMayHelp) || spineTurned;
  }
  for (int limb = 0; limb < 4; ++limb) {
    const LimbTask& l = task.limbs[static_cast<std::size_t>(limb)];
    const bool carried = limb < 2 && spineTurned && limbAt(limb).complete();
    if (l.weight <= 0 && !carried) continue;
    bringTo(poser, limb, l, l.weight > 0 ? l.goal : carriedPlace(poser, limb, l.goal, l.root));
  }
  return spineTurned;
}

bool TouchLayer::help(Poser& poser, int arm, const Vec3d& goal, double reach, bool spineMayHelp) const {
  const LimbRig& rig = limbAt(arm);
  const double full = distance(poser.position(rig.root), poser.position(rig.mid)) + distance(poser.position(rig.mid), poser.position(rig.end));
  const double from = std::max(easy * full, std::min(reach, 0.9985 * full)), most = std::max(straightest * full, from + 0.001 * full);
  const double now = distance(poser.position(rig.root), goal);
  if (now <= from) return false;
  // How far shoulder and goal may be apart in the end: nears `most` without a kink.
  const double wanted = from + (most - from) * (1 - std::exp((from - now) / (most - from)));
  const int girdle = rig.girdle;
  const bool spine = spineMayHelp && !spine_.empty();
  if (girdle < 0 && !spine) return false;
  const Vec3d shoulder = poser.position(rig.root), towards = normalised(goal - shoulder);
  const auto axisAbout = [&](int joint) { return normalised(cross(shoulder - poser.position(joint), towards)); };
  const Vec3d collarPivot = girdle >= 0 ? poser.position(girdle) : Vec3d{}, spinePivot = spine ? poser.position(spine_.front()) : Vec3d{};
  const Vec3d collarAxis = girdle >= 0 ? axisAbout(girdle) : Vec3d{}, spineAxis = spine ? axisAbout(spine_.front()) : Vec3d{};
  const auto collarAngle = [&](double x) { return mostCollar * (1 - (1 - x) * (1 - x)); };
  const auto spineAngle = [&](double x) { return mostSpine * x * x; };
  const auto apart = [&](double x) {
    Vec3d s = shoulder;
    if (girdle >= 0) s = collarPivot + rotate(fromAxisAngle(collarAxis, collarAngle(x)), s - collarPivot);
    if (spine) s = spinePivot + rotate(fromAxisAngle(spineAxis, spineAngle(x)), s - spinePivot);
    return distance(s, goal);
  };
  double low = 0, high = 1;
  if (apart(1) < wanted) {
    for (int i = 0; i < 40; ++i) {
      const double middle = 0.5 * (low + high);
      (apart(middle) > wanted ? low : high) = middle;
    }
  }
  if (girdle >= 0) poser.turn(girdle, fromAxisAngle(collarAxis, collarAngle(high)));
  if (!spine || spineAngle(high) < 1e-9) return false;
  const Quatd head = head_ >= 0 ? poser.rotation(head_) : Quatd{};
  const Quatd each = fromAxisAngle(spineAxis, spineAngle(high) / static_cast<double>(spine_.size()));
  for (const int joint : spine_) poser.turn(joint, each);
  if (head_ >= 0) poser.setRotation(head_, head);
  return true;
}

}  // namespace understudy
