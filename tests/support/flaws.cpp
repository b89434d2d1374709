#include "tests/support/flaws.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <stdexcept>

#include "core/math/two_bone.h"

namespace understudy {
namespace {

constexpr double pi = 3.14159265358979323846;

double smooth(double u) {
  u = std::clamp(u, 0.0, 1.0);
  return u * u * (3 - 2 * u);
}

Quatd rotationOf(const Affined& a) { return polarParts(a).rotation; }

/// One frame, file unit and axes; joints turned by world rotations.
class Pose {
 public:
  Pose(const Skeleton& skeleton, const Motion& motion, int frame) : skeleton_(skeleton), local_(static_cast<std::size_t>(skeleton.size())), world_(local_.size()) {
    poseAt(skeleton, motion, frame, local_);
    update();
  }
  [[nodiscard]] const Affined& world(int joint) const { return world_[static_cast<std::size_t>(joint)]; }
  [[nodiscard]] Vec3d place(int joint) const { return world(joint).translation; }
  [[nodiscard]] Quatd rotation(int joint) const { return rotationOf(world(joint)); }
  void turn(int joint, const Quatd& worldTurn) {
    const int parent = skeleton_.parents[static_cast<std::size_t>(joint)];
    const Quatd above = parent < 0 ? Quatd{} : rotation(parent);
    Quatd& local = local_[static_cast<std::size_t>(joint)].rotation;
    local = normalised(conjugate(above) * worldTurn * above * local);
    update();
  }
  void set(int joint, const Quatd& world) { turn(joint, world * conjugate(rotation(joint))); }
  void store(Motion& motion, int frame, std::initializer_list<int> joints) const {
    for (int j : joints) {
      Quatf& q = motion.rotationsAt(frame)[static_cast<std::size_t>(j)];
      q = sameHemisphere(Quatf(local_[static_cast<std::size_t>(j)].rotation), q);
    }
  }

 private:
  void update() { forwardKinematics(skeleton_, local_, world_); }
  const Skeleton& skeleton_;
  std::vector<Trsd> local_;
  std::vector<Affined> world_;
};

struct Limb {
  int root, mid, end;
};

Limb limbOf(const SkeletonMap& map, Role end) {
  const auto of = [&](Role a, Role b, Role c) { return Limb{map.joint(a), map.joint(b), map.joint(c)}; };
  switch (end) {
    case Role::leftFoot: return of(Role::leftUpperLeg, Role::leftLowerLeg, end);
    case Role::rightFoot: return of(Role::rightUpperLeg, Role::rightLowerLeg, end);
    case Role::leftHand: return of(Role::leftUpperArm, Role::leftLowerArm, end);
    case Role::rightHand: return of(Role::rightUpperArm, Role::rightLowerArm, end);
    default: throw std::invalid_argument("a flaw of this kind needs a foot or a hand");
  }
}

/// First child role of a bone, for its length's direction.
int nextJoint(const SkeletonMap& map, Role role) {
  for (int i = 0; i < roleCount; ++i)
    if (roleAt(i) != role && parentOf(roleAt(i)) == role && map.joint(roleAt(i)) >= 0) return map.joint(roleAt(i));
  return -1;
}

bool isFootKind(FlawKind kind) { return kind == FlawKind::slide || kind == FlawKind::floating || kind == FlawKind::sink; }

/// Share of the size at a frame, 0 outside.
double shareAt(const Flaw& flaw, int frame, double fps) {
  const double u = flaw.last > flaw.first ? static_cast<double>(frame - flaw.first) / (flaw.last - flaw.first) : 1;
  switch (flaw.kind) {
    case FlawKind::slide: return frame <= flaw.last ? smooth(u) : 1 - smooth((frame - flaw.last) / (0.25 * fps));
    case FlawKind::floating:
    case FlawKind::sink: return smooth((frame - flaw.first + 1) / 3.0) * smooth((flaw.last - frame + 1) / 3.0);
    case FlawKind::twist: return smooth(u * 4) * smooth((1 - u) * 4);
    case FlawKind::depth: return smooth(u * 4) * smooth((1 - u) * 4);
    case FlawKind::gripDrift:
    case FlawKind::lostContact: return 0.5 - 0.5 * std::cos(2 * pi * u);
    case FlawKind::pop: return frame == flaw.first ? 1 : 0;
    case FlawKind::flip: return 1;
  }
  return 0;
}

}  // namespace

std::string flawName(FlawKind kind) {
  constexpr std::array names{"slide", "float", "sink", "pop", "flip", "twist", "depth", "grip drift", "lost contact"};
  return names[static_cast<std::size_t>(kind)];
}

Motion withFlaw(const Figure& figure, const SkeletonMap& map, const Motion& motion, const Flaw& flaw, double* reached) {
  const int joint = map.joint(flaw.role);
  if (joint < 0) throw std::invalid_argument("the role of a flaw is not mapped");
  if (flaw.first < 0 || flaw.last >= motion.frames || flaw.last < flaw.first) throw std::invalid_argument("a flaw outside the clip");
  Motion out = motion;
  const Skeleton& skeleton = figure.skeleton;
  const double fps = motion.rate.hertz();
  const Affined world = figure.space.toWorld(), file = inverse(world);
  if (reached) *reached = 0;
  const int after = flaw.kind == FlawKind::slide ? static_cast<int>(0.25 * fps) : 0;
  for (int f = flaw.first; f <= std::min(flaw.last + after, motion.frames - 1); ++f) {
    const double share = shareAt(flaw, f, fps);
    if (share <= 0) continue;
    Pose pose(skeleton, motion, f);
    if (flaw.kind == FlawKind::pop || flaw.kind == FlawKind::flip || flaw.kind == FlawKind::twist) {
      const int next = nextJoint(map, flaw.role);
      const Vec3d along = next < 0 ? Vec3d{0, 1, 0} : normalised(pose.place(next) - pose.place(joint));
      const Vec3d axis = flaw.kind == FlawKind::pop ? anyPerpendicular(along) : along;
      const Quatd kept = next < 0 ? Quatd{} : pose.rotation(next);
      pose.turn(joint, fromAxisAngle(axis, flaw.kind == FlawKind::flip ? pi : flaw.size * share));
      if (flaw.kind == FlawKind::twist && next >= 0) {
        pose.set(next, kept);
        pose.store(out, f, {joint, next});
      } else {
        pose.store(out, f, {joint});
      }
      if (reached) *reached = flaw.kind == FlawKind::flip ? pi : std::max(*reached, flaw.size * share);
      continue;
    }
    const Limb limb = limbOf(map, flaw.role);
    if (limb.root < 0 || limb.mid < 0) throw std::invalid_argument("the limb of a flaw is not mapped");
    Vec3d shift = flaw.direction;
    if (flaw.kind == FlawKind::floating) shift = {0, 1, 0};
    if (flaw.kind == FlawKind::sink) shift = {0, -1, 0};
    if (flaw.kind == FlawKind::depth) {
      const int top = map.joint(Role::neck) >= 0 ? map.joint(Role::neck) : map.joint(Role::head);
      if (top < 0 || map.joint(Role::hips) < 0) throw std::invalid_argument("depth needs hips and neck or head");
      const Vec3d low = apply(world, pose.place(map.joint(Role::hips))), high = apply(world, pose.place(top)), hand = apply(world, pose.place(joint));
      const double u = std::clamp(dot(hand - low, high - low) / dot(high - low, high - low), 0.0, 1.0);
      const Vec3d way = low + (high - low) * u - hand;
      // Never beyond the axis itself.
      shift = normalised(way) * std::min(1.0, length(way) / flaw.size);
    }
    const Vec3d wanted = shift * (flaw.size * share), target = pose.place(joint) + file.linear * wanted, before = pose.place(joint);
    const TwoBoneLimb now{pose.place(limb.root), pose.place(limb.mid), pose.place(limb.end)};
    const TwoBoneSolution solution = solveTwoBone(now, {.target = target});
    const Quatd kept = pose.rotation(joint);
    pose.turn(limb.mid, solution.midTurn);
    pose.turn(limb.root, solution.rootTurn);
    pose.set(joint, kept);
    pose.store(out, f, {limb.root, limb.mid, limb.end});
    if (reached) *reached = std::max(*reached, length(world.linear * (pose.place(joint) - before)));
  }
  return out;
}

Motion withFlaws(const Figure& figure, const SkeletonMap& map, Motion motion, const std::vector<Flaw>& flaws) {
  for (const Flaw& flaw : flaws) motion = withFlaw(figure, map, motion, flaw);
  return motion;
}

std::vector<Flaw> drawFlaws(FlawKind kind, int count, const SkeletonMap& map, const Motion& motion, const FlawPlaces& places, double least, double most,
                            std::uint64_t seed, int apart) {
  std::mt19937_64 random(seed * 9176 + static_cast<std::uint64_t>(kind));
  const auto uniform = [&](double a, double b) { return a + (b - a) * static_cast<double>(random() >> 11) * 0x1.0p-53; };
  const auto whole = [&](int a, int b) { return b <= a ? a : a + static_cast<int>(random() % static_cast<std::uint64_t>(b - a + 1)); };
  const double fps = motion.rate.hertz();
  const int shortest = std::max(4, static_cast<int>(0.2 * fps)), longest = std::max(8, static_cast<int>(0.8 * fps));
  std::vector<FlawPlaces::Stay> stays;
  std::vector<Role> roles;
  if (isFootKind(kind)) stays = places.stances;
  if (kind == FlawKind::gripDrift) stays = places.grips;
  if (kind == FlawKind::lostContact) stays = places.contacts;
  if (kind == FlawKind::pop) roles = {Role::head, Role::chest, Role::leftUpperArm, Role::rightUpperArm, Role::leftLowerArm, Role::rightLowerArm};
  if (kind == FlawKind::flip || kind == FlawKind::twist) roles = {Role::leftLowerArm, Role::rightLowerArm};
  if (kind == FlawKind::depth) roles = {Role::leftHand, Role::rightHand};
  for (Role role : roles)
    if (map.joint(role) >= 0) stays.push_back({role, 0, motion.frames - 1});
  std::erase_if(stays, [&](const auto& s) { return s.last - s.first < shortest; });
  std::vector<Flaw> out;
  for (int attempt = 0; !stays.empty() && static_cast<int>(out.size()) < count && attempt < 200 * count; ++attempt) {
    const auto& stay = stays[random() % stays.size()];
    Flaw flaw;
    flaw.kind = kind;
    flaw.role = stay.role;
    const int span = kind == FlawKind::pop ? 0 : whole(shortest, std::min(longest, stay.last - stay.first));
    flaw.first = whole(stay.first, stay.last - span);
    // A drift stays until the foot lifts.
    flaw.last = kind == FlawKind::slide ? stay.last : flaw.first + span;
    if (kind == FlawKind::slide) flaw.first = std::max(stay.first, flaw.last - span);
    flaw.size = kind == FlawKind::flip ? pi : uniform(least, most);
    const double heading = uniform(0, 2 * pi), rise = isFootKind(kind) ? 0 : uniform(-0.6, 0.6);
    flaw.direction = normalised(Vec3d{std::cos(heading), rise, std::sin(heading)});
    const bool free = std::none_of(out.begin(), out.end(), [&](const Flaw& other) {
      return other.role == flaw.role && flaw.first <= other.last + apart && other.first <= flaw.last + apart;
    });
    if (free) out.push_back(flaw);
  }
  std::sort(out.begin(), out.end(), [](const Flaw& a, const Flaw& b) { return a.first < b.first; });
  return out;
}

}  // namespace understudy
