#include "core/repair/drag.h"

#include <algorithm>
#include <cmath>

#include "core/repair/poser.h"

namespace understudy {
namespace {

/// Where a joint is in the rigid frame of what it hangs on, metres.
Vec3d placeIn(const RepairContext& context, const Poser& poser, int joint) {
  const int parent = context.body.rig.parents[static_cast<std::size_t>(joint)];
  return rotate(conjugate(poser.above(joint)), poser.position(joint) - (parent < 0 ? Vec3d{} : poser.position(parent)));
}

/// Brings a limb's end to a place; returns the miss.
double bend(Poser& poser, const LimbRig& limb, const Vec3d& target, std::optional<Quatd> endRotation, double soft) {
  LimbGoal goal;
  goal.target = target;
  goal.endRotation = endRotation;
  goal.soft = soft;
  return poser.solveLimb(limb, goal);
}

Result<double> swing(Poser& poser, const LimbRig& limb, const Vec3d& target) {
  const Vec3d root = poser.position(limb.root), line = normalised(poser.position(limb.end) - root);
  const auto across = [&](const Vec3d& p) { return (p - root) - line * dot(p - root, line); };
  const Vec3d now = across(poser.position(limb.mid)), wanted = across(target);
  if (line == Vec3d{} || length(now) < 1e-3 * limb.full())
    return makeError(Fault::usage, "The limb is straight: its middle cannot swing", {}, "Bend it first, by its hand or foot");
  if (length(wanted) > 1e-9 * limb.full()) poser.swivel(limb, std::atan2(dot(cross(now, wanted), line), dot(now, wanted)));
  return distance(poser.position(limb.mid), target);
}

/// Turns `bone` so that `joint`, which hangs on it, lies in the target's direction.
double aim(Poser& poser, int bone, int joint, const Vec3d& target) {
  const Vec3d from = normalised(poser.position(joint) - poser.position(bone)), to = normalised(target - poser.position(bone));
  if (from != Vec3d{} && to != Vec3d{}) poser.turn(bone, rotationBetween(from, to));
  return distance(poser.position(joint), target);
}

double moveHips(const RepairContext& context, Poser& poser, int hips, const Vec3d& target, const DragSettings& settings) {
  struct Kept {
    const LimbRig* limb;
    Vec3d place;
    Quatd rotation;
  };
  std::vector<Kept> kept;
  for (const auto& [limbs, stay] : {std::pair{&context.legs, settings.feetStay}, {&context.arms, settings.handsStay}})
    for (const LimbRig& limb : *limbs)
      if (stay && limb.complete()) kept.push_back({&limb, poser.position(limb.end), poser.rotation(limb.end)});
  poser.moveBy(hips, target - poser.position(hips));
  double miss = distance(poser.position(hips), target);
  for (const Kept& k : kept) miss = std::max(miss, bend(poser, *k.limb, k.place, k.rotation, settings.soft));
  return miss;
}

}  // namespace

Result<Dragged> dragged(const RepairContext& context, const TiledMotion& motion, int frame, int joint, const Vec3d& target, const DragSettings& settings) {
  const Skeleton& skeleton = context.figure->skeleton;
  if (frame < 0 || frame >= motion.frames())
    return makeError(Fault::usage, "There is no frame " + std::to_string(static_cast<long>(frame) + 1), {}, "The motion has frames 1:" + std::to_string(motion.frames()));
  if (joint < 0 || joint >= skeleton.size() || motion.joints() != skeleton.size()) return makeError(Fault::usage, "There is no such joint", {}, "Choose one of the character's");
  if (!isFinite(target)) return makeError(Fault::usage, "The place to drag to is no number", jointKey(skeleton, joint));
  Poser before(context);
  before.load(motion, frame);
  Poser after = before;

  Dragged out;
  const LimbRig* bent = nullptr;
  const LimbRig* swung = nullptr;
  for (const auto* limbs : {&context.arms, &context.legs})
    for (const LimbRig& limb : *limbs) {
      if (!limb.complete()) continue;
      if (joint == limb.end) bent = &limb;
      if (joint == limb.mid) swung = &limb;
    }
  const int parent = skeleton.parents[static_cast<std::size_t>(joint)];
  if (bent) {
    out.miss = bend(after, *bent, target, after.rotation(bent->end), settings.soft);
    if (!settings.endKeepsRotation) after.setEnd(*bent, after.rotation(bent->mid) * conjugate(before.rotation(bent->mid)) * before.rotation(bent->end));
  } else if (swung && settings.endStays) {
    const Result<double> miss = swing(after, *swung, target);
    if (!miss) return miss.error();
    out.miss = *miss;
  } else if (joint == context.joint(Role::hips)) {
    out.miss = moveHips(context, after, joint, target, settings);
  } else if (swung || parent >= 0) {
    out.miss = aim(after, swung ? swung->root : parent, joint, target);
  } else {
    after.moveBy(joint, target - after.position(joint));
    out.miss = distance(after.position(joint), target);
  }

  out.nudge.time = context.rate.seconds(frame);
  out.nudge.space = NudgeSpace::bone;
  for (int j = 0; j < skeleton.size(); ++j) {
    JointNudge change;
    // Turns and moves below what floats can hold are none.
    if (const Vec3d r = logOf(conjugate(before.local(j)) * after.local(j)); length(r) > 1e-7) change.rotation = r;
    const Vec3d moved = placeIn(context, after, j) - placeIn(context, before, j);
    if (length(moved) > 1e-7 * context.height) {
      const bool flipped = determinant(context.body.rig.stretch[static_cast<std::size_t>(j)]) < 0;
      change.translation = rotate(conjugate(before.local(j)), flipped ? -moved : moved);
    }
    if (change.rotation == Vec3d{} && change.translation == Vec3d{}) continue;
    change.joint = boneName(context, j);
    out.nudge.joints.push_back(std::move(change));
  }
  return out;
}

}  // namespace understudy
