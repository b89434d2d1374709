#include "core/repair/poser.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/math/smooth_step.h"
#include "core/math/two_bone.h"

namespace understudy {
namespace {

/// Bends at the middle joint below which a limb's own plane says little, and from which it says all.
constexpr double planeless = 8 * std::numbers::pi / 180, planar = 30 * std::numbers::pi / 180;

/// How a limb that is nearly straight bends further: world turns of both bones.
struct FurtherBend {
  Quatd root, mid;
};

/// A nearly straight limb has a bend plane made of noise; what it bends more than it did goes the hinge's way instead, all of it
/// where the limb is straight, none where it is bent well. Nothing where the limb is not bent further or keeps its own plane.
/// Bones turn about no axis along the limb, so that a plane that flips from frame to frame leaves no trace.
std::optional<FurtherBend> bendFurther(const TwoBoneLimb& limb, const TwoBoneGoal& goal) {
  const Vec3d upper = limb.mid - limb.root, lower = limb.end - limb.mid, way = goal.target - limb.root;
  const double a = length(upper), b = length(lower), own = angleBetween(upper, lower);
  const double wanted = length(way), size = a + b;
  if (!(a > 1e-6 * size) || !(b > 1e-6 * size) || !(wanted > 1e-6 * size) || own >= planar || length(limb.end - limb.root) < 1e-6 * size) return std::nullopt;
  const double reach = std::clamp(softReach(wanted, size, goal.soft), std::abs(a - b), size);
  const double more = std::numbers::pi - interiorAngle(a, b, reach) - own;
  if (more <= 0 || !(reach > 1e-6 * size)) return std::nullopt;

  const Vec3d before = normalised(limb.end - limb.root), line = way / wanted;
  const Quatd carry = rotationBetween(before, line);
  const Vec3d u = rotate(carry, upper / a), l = rotate(carry, lower / b);
  const auto side = [&](const Vec3d& v) { return v - line * dot(v, line); };
  const Vec3d ownSide = normalised(side(u)), hingeSide = normalised(side(cross(rotate(carry, goal.hinge), line)), ownSide);
  const double trust = smoothStep((own - planeless) / (planar - planeless));
  const Vec3d bend = ownSide * own + normalised(lerp(hingeSide, ownSide, trust), hingeSide) * more;
  const Vec3d to = normalised(bend, hingeSide);
  if (length(to) < 0.5) return std::nullopt;
  const double cosine = std::clamp((a * a + reach * reach - b * b) / (2 * a * reach), -1.0, 1.0);
  const Vec3d u1 = line * cosine + to * std::sqrt(1 - cosine * cosine), l1 = normalised(line * reach - u1 * a);
  const auto turned = [&](const Vec3d& from, const Vec3d& onto) { return normalised(rotationBetween(line, onto) * conjugate(rotationBetween(line, from)) * carry); };
  return FurtherBend{turned(u, u1), turned(l, l1)};
}

}  // namespace

Poser::Poser(const RepairContext& context) : context_(context) {
  const auto n = static_cast<std::size_t>(context.body.rig.size());
  local_.resize(n);
  rotation_.resize(n);
  translation_.resize(n);
  position_.resize(n);
  turned_.resize(n);
  moved_.resize(n);
}

void Poser::load(const TiledMotion& motion, int frame) {
  const auto rotations = motion.rotationsAt(frame);
  for (std::size_t j = 0; j < local_.size(); ++j) local_[j] = normalised(Quatd(rotations[j]));
  translation_ = context_.body.rig.translation;
  const auto translations = motion.translationsAt(frame);
  const std::vector<int>& tracks = motion.movedJoints();
  for (std::size_t k = 0; k < tracks.size(); ++k) translation_[static_cast<std::size_t>(tracks[k])] = Vec3d(translations[k]);
  worldOf(context_.body.rig, local_, translation_, rotation_, position_);
  std::fill(turned_.begin(), turned_.end(), 0);
  std::fill(moved_.begin(), moved_.end(), 0);
}

void Poser::store(TiledMotion& motion, int frame) const {
  const auto rotations = motion.rotationsToWrite(frame);
  for (std::size_t j = 0; j < local_.size(); ++j)
    if (turned_[j]) rotations[j] = Quatf(sameHemisphere(normalised(local_[j]), Quatd(rotations[j])));
  const auto translations = motion.translationsToWrite(frame);
  const std::vector<int>& tracks = motion.movedJoints();
  for (std::size_t k = 0; k < tracks.size(); ++k)
    if (moved_[static_cast<std::size_t>(tracks[k])]) translations[k] = Vec3f(translation_[static_cast<std::size_t>(tracks[k])]);
}

const Quatd& Poser::above(int joint) const {
  const int parent = context_.body.rig.parents[static_cast<std::size_t>(joint)];
  return parent < 0 ? context_.body.rig.base : rotation(parent);
}

// World transforms of a joint and of all below it, from their local ones.
void Poser::carry(int joint) {
  const RigidRig& rig = context_.body.rig;
  const auto one = [&](int index) {
    const auto j = static_cast<std::size_t>(index);
    const int parent = rig.parents[j];
    const Quatd& up = above(index);
    rotation_[j] = up * local_[j];
    if (rig.hasPost[j]) rotation_[j] = rotation_[j] * rig.post[j];
    position_[j] = rotate(up, rig.stretch[j] * translation_[j]) + (parent < 0 ? Vec3d{} : position(parent));
  };
  one(joint);
  for (const int child : context_.below[static_cast<std::size_t>(joint)]) one(child);
}

void Poser::setLocal(int joint, const Quatd& local) {
  const auto j = static_cast<std::size_t>(joint);
  local_[j] = normalised(local);
  turned_[j] = 1;
  carry(joint);
}

void Poser::setRotation(int joint, const Quatd& world) {
  const RigidRig& rig = context_.body.rig;
  const auto j = static_cast<std::size_t>(joint);
  const Quatd local = conjugate(above(joint)) * world;
  setLocal(joint, rig.hasPost[j] ? local * conjugate(rig.post[j]) : local);
}

void Poser::turn(int joint, const Quatd& worldTurn) { setRotation(joint, worldTurn * rotation(joint)); }

void Poser::moveBy(int joint, const Vec3d& worldShift) {
  const auto j = static_cast<std::size_t>(joint);
  translation_[j] += inverse(context_.body.rig.stretch[j]) * rotate(conjugate(above(joint)), worldShift);
  moved_[j] = 1;
  carry(joint);
}

double Poser::solveLimb(const LimbRig& limb, const LimbGoal& goal) {
  if (!limb.complete()) return std::numeric_limits<double>::infinity();
  const Quatd endRotation = goal.endRotation.value_or(rotation(limb.end));
  // A detached end hangs where it would be if the middle joint carried it.
  const Vec3d gap = rotate(conjugate(rotation(limb.mid)), position(limb.end) - position(limb.mid));
  TwoBoneGoal wanted;
  wanted.target = goal.target;
  wanted.pole = goal.pole;
  wanted.hinge = rotate(rotation(limb.root), limb.hinge);
  wanted.soft = goal.soft;
  const TwoBoneLimb joints{position(limb.root), position(limb.mid), position(limb.end)};
  const std::optional<FurtherBend> further = wanted.pole ? std::nullopt : bendFurther(joints, wanted);
  Quatd root, mid;
  if (further) {
    root = further->root;
    mid = further->mid * rotation(limb.mid);
  } else {
    const TwoBoneSolution solved = solveTwoBone(joints, wanted);
    root = solved.rootTurn;
    mid = solved.rootTurn * solved.midTurn * rotation(limb.mid);
  }
  turn(limb.root, root);
  setRotation(limb.mid, mid);
  if (limb.detached) moveBy(limb.end, toWorld(limb.mid, gap) - position(limb.end));
  setEnd(limb, endRotation);
  return distance(position(limb.end), goal.target);
}

void Poser::swivel(const LimbRig& limb, double angle) {
  if (!limb.complete()) return;
  const Vec3d line = position(limb.end) - position(limb.root);
  const double size = length(line);
  if (size < 1e-9) return;
  const Quatd about = fromAxisAngle(line / size, angle), end = rotation(limb.end);
  const Vec3d place = position(limb.end);
  turn(limb.root, about);
  if (limb.detached) moveBy(limb.end, place - position(limb.end));
  setEnd(limb, end);
}

Affined Poser::turned(int joint) const {
  const auto j = static_cast<std::size_t>(joint);
  const Quatd q = rotation_[j] * conjugate(context_.body.rotation[j]);
  return {toMatrix(q), position_[j] - rotate(q, context_.body.position[j])};
}

void Poser::setEnd(const LimbRig& limb, const Quatd& world) {
  const Quatd turned = world * conjugate(rotation(limb.end));
  setRotation(limb.end, world);
  for (const int joint : limb.beside) setRotation(joint, turned * rotation(joint));
}

}  // namespace understudy
