#include "core/repair/plant_pose.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

/// A knee about its own axis. thigh · turned shank = along + size · cos (angle − straight): a positive turn opens it.
struct Knee {
  Vec3d axis;
  double along, size, straight;
};
Knee kneeOf(const LegFrame& leg, const Vec3d& hinge) {
  const Vec3d thigh = leg.knee - leg.hip, shank = leg.foot.at - leg.knee;
  const Vec3d stored = rotate(leg.thigh, hinge), plane = cross(normalised(-thigh), normalised(shank));
  const Vec3d axis = normalised(plane + stored * (5 * std::exp(-dot(plane, stored) / 0.1)), stored);
  const Vec3d flat = shank - axis * dot(shank, axis);
  const double c = dot(thigh, flat), s = dot(thigh, cross(axis, flat));
  return {axis, dot(thigh, axis) * dot(shank, axis), std::hypot(c, s), std::atan2(s, c)};
}

double openest(const LegFrame& leg, const Vec3d& hinge) {
  const Knee knee = kneeOf(leg, hinge);
  const double thigh = distance(leg.hip, leg.knee), shank = distance(leg.knee, leg.foot.at);
  return std::sqrt(std::max(0.0, thigh * thigh + shank * shank + 2 * (knee.along + knee.size))) / std::max(thigh + shank, 1e-9);
}

/// Children of the hips that carry trunk, head or arms and no leg, ascending: what is not to turn with the pelvis.
std::vector<int> trunkOf(const RepairContext& context, const std::array<PlantLeg, 2>& legs) {
  std::vector<int> out;
  const Skeleton& skeleton = context.figure->skeleton;
  const int hips = context.joint(Role::hips);
  if (hips < 0) return out;
  const auto carries = [&](int top, int j) { return j >= 0 && (j == top || isAncestor(skeleton, top, j)); };
  for (int j = 0; j < skeleton.size(); ++j) {
    if (skeleton.parents[static_cast<std::size_t>(j)] != hips) continue;
    if (std::any_of(legs.begin(), legs.end(), [&](const PlantLeg& leg) { return carries(j, leg.limb.root); })) continue;
    constexpr std::array<Role, 7> roles{Role::spine, Role::chest, Role::upperChest, Role::neck, Role::head, Role::leftUpperArm, Role::rightUpperArm};
    if (std::any_of(roles.begin(), roles.end(), [&](Role role) { return carries(j, context.joint(role)); })) out.push_back(j);
  }
  return out;
}

}  // namespace

LegsPose::LegsPose(const RepairContext& context, const std::array<PlantLeg, 2>& legs) : context_(context), legs_(legs) {
  const RigidRig& rig = context.body.rig;
  std::vector<char> needed(static_cast<std::size_t>(rig.size()), 0);
  const int hips = context.joint(Role::hips);
  std::vector<int> ends{hips};
  for (const PlantLeg& leg : legs)
    for (const int j : {leg.limb.root, leg.limb.mid, leg.limb.end, leg.limb.tip}) ends.push_back(j);
  const std::vector<int> trunk = trunkOf(context, legs);
  ends.insert(ends.end(), trunk.begin(), trunk.end());
  for (int j : ends)
    for (; j >= 0; j = rig.parents[static_cast<std::size_t>(j)]) needed[static_cast<std::size_t>(j)] = 1;
  slotOf_.assign(needed.size(), -1);
  for (int j = 0; j < rig.size(); ++j)
    if (needed[static_cast<std::size_t>(j)]) {
      const int parent = rig.parents[static_cast<std::size_t>(j)];
      slotOf_[static_cast<std::size_t>(j)] = static_cast<int>(joints_.size());
      joints_.push_back(j);
      parents_.push_back(parent < 0 ? -1 : slotOf_[static_cast<std::size_t>(parent)]);
    }
  const Skeleton& skeleton = context.figure->skeleton;
  const auto below = [&](int top, int j) { return j == top || isAncestor(skeleton, top, j); };
  for (std::size_t s = 0; s < joints_.size(); ++s) {
    for (std::size_t side = 0; side < 2; ++side) {
      const LimbRig& limb = legs[side].limb;
      if (limb.complete() && (below(limb.root, joints_[s]) || below(limb.end, joints_[s]))) legSlots_[side].push_back(static_cast<int>(s));
    }
    if (hips >= 0 && below(hips, joints_[s])) hipSlots_.push_back(static_cast<int>(s));
  }
  for (const int j : trunk) trunkSlots_.push_back(slotOf_[static_cast<std::size_t>(j)]);
  if (!trunkSlots_.empty()) trunk_ = trunkSlots_.front();
  local_.resize(joints_.size());
  rotation_.resize(joints_.size());
  translation_.resize(joints_.size());
  position_.resize(joints_.size());
  turned_.resize(joints_.size());
  moved_.resize(joints_.size());
}

const Quatd& LegsPose::above(int slot) const {
  const int parent = parents_[static_cast<std::size_t>(slot)];
  return parent < 0 ? context_.body.rig.base : rotation_[static_cast<std::size_t>(parent)];
}

void LegsPose::carry(const std::vector<int>& slots) {
  const RigidRig& rig = context_.body.rig;
  for (const int slot : slots) {
    const auto s = static_cast<std::size_t>(slot);
    const auto j = static_cast<std::size_t>(joints_[s]);
    const Quatd& up = above(slot);
    rotation_[s] = up * local_[s];
    if (rig.hasPost[j]) rotation_[s] = rotation_[s] * rig.post[j];
    position_[s] = rotate(up, rig.stretch[j] * translation_[s]) + (parents_[s] < 0 ? Vec3d{} : position_[static_cast<std::size_t>(parents_[s])]);
  }
}

void LegsPose::load(const TiledMotion& motion, int frame) {
  const auto rotations = motion.rotationsAt(frame);
  const auto translations = motion.translationsAt(frame);
  const std::vector<int>& tracks = motion.movedJoints();
  std::vector<int> all(joints_.size());
  for (std::size_t s = 0; s < joints_.size(); ++s) {
    const auto j = static_cast<std::size_t>(joints_[s]);
    all[s] = static_cast<int>(s);
    local_[s] = normalised(Quatd(rotations[j]));
    translation_[s] = context_.body.rig.translation[j];
  }
  for (std::size_t k = 0; k < tracks.size(); ++k)
    if (const int s = slotOf_[static_cast<std::size_t>(tracks[k])]; s >= 0) translation_[static_cast<std::size_t>(s)] = Vec3d(translations[k]);
  carry(all);
  std::fill(turned_.begin(), turned_.end(), 0);
  std::fill(moved_.begin(), moved_.end(), 0);
}

LegFrame LegsPose::leg(int side) const {
  const LimbRig& limb = legs_[static_cast<std::size_t>(side)].limb;
  const auto at = [&](int joint) { return static_cast<std::size_t>(slotOf_[static_cast<std::size_t>(joint)]); };
  LegFrame out;
  out.hip = position_[at(limb.root)];
  out.knee = position_[at(limb.mid)];
  out.above = above(slotOf_[static_cast<std::size_t>(limb.root)]);
  out.thigh = rotation_[at(limb.root)];
  out.shank = rotation_[at(limb.mid)];
  out.foot.at = position_[at(limb.end)];
  out.foot.foot = rotation_[at(limb.end)];
  if (limb.tip >= 0) out.foot.toe = rotation_[at(limb.tip)];
  out.straight = straightness(out, limb.hinge);
  out.openest = openest(out, limb.hinge);
  return out;
}

double straightness(const LegFrame& leg, const Vec3d& hinge) {
  const Vec3d thigh = leg.knee - leg.hip, shank = leg.foot.at - leg.knee;
  const double reach = distance(leg.hip, leg.foot.at) / std::max(length(thigh) + length(shank), 1e-9);
  return dot(cross(shank, thigh), rotate(leg.thigh, hinge)) < 0 ? 2 - reach : reach;
}

double kneeBend(const LegFrame& leg, const Vec3d& hinge) { return kneeOf(leg, hinge).straight; }

LegFrame withKneeBend(const LegFrame& leg, const Vec3d& hinge, double bend) {
  const Knee knee = kneeOf(leg, hinge);
  const Vec3d thigh = leg.knee - leg.hip, shank = leg.foot.at - leg.knee;
  const double reach = std::sqrt(std::max(0.0, dot(thigh, thigh) + dot(shank, shank) + 2 * (knee.along + knee.size * std::cos(bend))));
  FootPose target = leg.foot;
  target.at = leg.hip + normalised(thigh + shank) * reach;
  LegFrame out = bentTo(leg, hinge, target, bend < 0);
  out.straight = straightness(out, hinge);
  return out;
}

LegFrame swung(LegFrame leg, const Quatd& turn) {
  for (Vec3d* at : {&leg.knee, &leg.foot.at}) *at = leg.hip + rotate(turn, *at - leg.hip);
  for (Quatd* is : {&leg.thigh, &leg.shank, &leg.foot.foot, &leg.foot.toe}) *is = normalised(turn * *is);
  return leg;
}

Vec3d broughtWithin(const Vec3d& hip, Vec3d at, double reach, bool rises) {
  const double lacks = distance(hip, at) - reach;
  if (lacks <= 0) return at;
  if (rises && hip.y > at.y) {
    const double across = std::hypot(hip.x - at.x, hip.z - at.z), rest = reach * reach - across * across;
    at.y += std::min(2 * lacks, hip.y - at.y - (rest > 0 ? std::sqrt(rest) : 0));
  }
  const double still = distance(hip, at);
  return still > reach ? hip + (at - hip) * (reach / still) : at;
}

double mayFold(const LegFrame& leg) {
  const double thigh = distance(leg.hip, leg.knee), shank = distance(leg.knee, leg.foot.at), full = std::max(thigh + shank, 1e-9);
  const double nearest = std::abs(thigh - shank) / full;
  return std::max(nearest + 0.01, std::min(distance(leg.hip, leg.foot.at) / full, nearest + 0.1));
}

void LegsPose::turn(int slot, const Quatd& world) {
  const auto s = static_cast<std::size_t>(slot);
  const auto j = static_cast<std::size_t>(joints_[s]);
  Quatd local = conjugate(above(slot)) * world;
  if (context_.body.rig.hasPost[j]) local = local * conjugate(context_.body.rig.post[j]);
  local_[s] = normalised(local);
  turned_[s] = 1;
}

void LegsPose::shift(int slot, const Vec3d& by) {
  const auto s = static_cast<std::size_t>(slot);
  translation_[s] += inverse(context_.body.rig.stretch[static_cast<std::size_t>(joints_[s])]) * rotate(conjugate(above(slot)), by);
  moved_[s] = 1;
}

void LegsPose::move(const Vec3d& by, const Vec3d& turned, const Vec3d& trunk) {
  const Quatd turns = expOf(turned);
  const Vec3d about = pivot();
  const auto moved = [&](int joint, const std::vector<int>& slots) {
    const auto s = static_cast<std::size_t>(slotOf_[static_cast<std::size_t>(joint)]);
    const Vec3d arm = position_[s] - about, goes = turned == Vec3d{} ? by : by + rotate(turns, arm) - arm;
    shift(static_cast<int>(s), goes);
    for (const int k : slots) position_[static_cast<std::size_t>(k)] += goes;
  };
  const int hips = context_.joint(Role::hips);
  std::vector<Quatd> kept;
  for (const int s : trunkSlots_) kept.push_back(expOf(trunk) * rotation_[static_cast<std::size_t>(s)]);
  moved(hips, hipSlots_);
  if (turned != Vec3d{} || trunk != Vec3d{}) {
    const int slot = slotOf_[static_cast<std::size_t>(hips)];
    turn(slot, turns * rotation_[static_cast<std::size_t>(slot)]);
    carry(hipSlots_);
    for (std::size_t k = 0; k < trunkSlots_.size(); ++k) turn(trunkSlots_[k], kept[k]);
    carry(trunkSlots_);
  }
  for (std::size_t side = 0; side < 2; ++side) {
    const LimbRig& limb = legs_[side].limb;
    if (!limb.complete()) continue;
    const Skeleton& skeleton = context_.figure->skeleton;
    if (legs_[side].offPelvis) moved(limb.root, slotsBelow(limb.root));
    // A foot that hangs elsewhere is carried along, as if the shank held it.
    if (limb.detached && !isAncestor(skeleton, hips, limb.end) && !(legs_[side].offPelvis && isAncestor(skeleton, limb.root, limb.end)))
      moved(limb.end, slotsBelow(limb.end));
  }
}

std::vector<int> LegsPose::slotsBelow(int joint) const {
  std::vector<int> out;
  for (std::size_t s = 0; s < joints_.size(); ++s)
    if (joints_[s] == joint || isAncestor(context_.figure->skeleton, joint, joints_[s])) out.push_back(static_cast<int>(s));
  return out;
}

// The knee turns about its own axis as far as the length asks, then the whole leg by the shortest way to the target. Unlike a
// plane through three joints the axis is sound in a straight knee, and the thigh keeps its twist.
LegFrame bentTo(const LegFrame& leg, const Vec3d& hinge, const FootPose& target, bool backwards) {
  const Vec3d thigh = leg.knee - leg.hip, shank = leg.foot.at - leg.knee, wanted = target.at - leg.hip;
  const Knee knee = kneeOf(leg, hinge);
  const double reach = length(wanted), asked = (reach * reach - dot(thigh, thigh) - dot(shank, shank)) / 2;
  const double bent = std::acos(std::clamp((asked - knee.along) / std::max(knee.size, 1e-12), -1.0, 1.0));
  const Quatd opens = fromAxisAngle(knee.axis, knee.straight + (backwards ? bent : -bent));
  const Vec3d line = thigh + rotate(opens, shank);
  const Quatd swing = rotationBetween(normalised(line, wanted), normalised(wanted, line));
  LegFrame out = leg;
  out.thigh = normalised(swing * leg.thigh);
  out.shank = normalised(swing * opens * leg.shank);
  out.knee = leg.hip + rotate(swing, thigh);
  out.foot = target;
  out.foot.at = leg.hip + rotate(swing, line);
  return out;
}

void LegsPose::set(int side, const LegFrame& leg) {
  const LimbRig& limb = legs_[static_cast<std::size_t>(side)].limb;
  const auto slot = [&](int joint) { return slotOf_[static_cast<std::size_t>(joint)]; };
  const std::vector<int>& own = legSlots_[static_cast<std::size_t>(side)];
  turn(slot(limb.root), leg.thigh);
  carry(own);
  turn(slot(limb.mid), leg.shank);
  carry(own);
  if (limb.detached) shift(slot(limb.end), leg.foot.at - position_[static_cast<std::size_t>(slot(limb.end))]);
  turn(slot(limb.end), leg.foot.foot);
  carry(own);
  if (limb.tip >= 0) {
    turn(slot(limb.tip), leg.foot.toe);
    carry(own);
  }
}

// From the hips down: a joint that is moved or turned takes along what hangs on it.
void LegsPose::carryTo(Poser& pose) const {
  for (std::size_t s = 0; s < joints_.size(); ++s) {
    if (moved_[s]) pose.moveBy(joints_[s], position_[s] - pose.position(joints_[s]));
    if (turned_[s]) pose.setRotation(joints_[s], rotation_[s]);
  }
}

void LegsPose::store(TiledMotion& motion, int frame) const {
  const auto rotations = motion.rotationsToWrite(frame);
  const auto translations = motion.translationsToWrite(frame);
  const std::vector<int>& tracks = motion.movedJoints();
  for (std::size_t s = 0; s < joints_.size(); ++s) {
    const auto j = static_cast<std::size_t>(joints_[s]);
    if (turned_[s]) rotations[j] = Quatf(sameHemisphere(local_[s], Quatd(rotations[j])));
    if (!moved_[s]) continue;
    const auto track = std::lower_bound(tracks.begin(), tracks.end(), joints_[s]);
    if (track != tracks.end() && *track == joints_[s]) translations[static_cast<std::size_t>(track - tracks.begin())] = Vec3f(translation_[s]);
  }
}

}  // namespace understudy
