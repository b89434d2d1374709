#include "core/retarget/floor.h"

#include <algorithm>
#include <array>

#include "core/body/soles.h"

namespace understudy {
namespace {

std::array<Sole, 2> solesOf(const PosedBody& body) {
  const Vec3d upFile = rotate(conjugate(body.pose.facing * body.figure->space.worldFromFile), Vec3d{0, 1, 0});
  return findSoles(*body.figure, *body.map, body.pose.fileWorld, upFile);
}

/// A frame in which the performer stands on a foot (0 left, 1 right).
struct Standing {
  int frame, side;
};

/// World transforms of a few joints and their ancestors.
class FewJoints {
 public:
  FewJoints(const PosedBody& body, const Motion& motion, const std::vector<int>& joints)
      : body_(body), motion_(motion), toWorld_(worldFromFile(*body.figure, body.pose)), joints_(withAncestors(body.rig.parents, joints)),
        track_(body.rig.parents.size(), -1), world_(body.rig.parents.size()) {
    for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) track_[motion.movedJoints[k]] = static_cast<int>(k);
  }

  const std::vector<Affined>& at(int frame) {
    const auto q = motion_.rotationsAt(frame);
    const auto t = motion_.translationsAt(frame);
    for (const int j : joints_) {
      Trsd local = body_.figure->skeleton.rest[j];
      local.rotation = Quatd(q[j]);
      if (track_[j] >= 0) local.translation = Vec3d(t[track_[j]]);
      const int parent = body_.rig.parents[j];
      world_[j] = (parent < 0 ? toWorld_ : world_[parent]) * Affined(local);
    }
    return world_;
  }

 private:
  const PosedBody& body_;
  const Motion& motion_;
  Affined toWorld_;
  std::vector<int> joints_, track_;
  std::vector<Affined> world_;
};

/// Frames (of about 200 spread over the clip) in which ankle and toe base are still and the ankle is low. Judged on the
/// performer: a character's long feet may reach lower in swing than in stance.
std::vector<Standing> standingFrames(const PosedBody& performer, const Motion& clip) {
  const int ankles[2] = {performer.joint(Role::leftFoot), performer.joint(Role::rightFoot)};
  const int toes[2] = {performer.joint(Role::leftToes), performer.joint(Role::rightToes)};
  FewJoints joints(performer, clip, {ankles[0], ankles[1], toes[0], toes[1]});
  const double leg = performer.pose.legLength, reach = 0.25 * leg / clip.rate.hertz();
  struct Still {
    Standing at;
    double height;
  };
  std::vector<Still> still;
  const int step = std::max(1, clip.frames / 200);
  for (int f = 0; f + 1 < clip.frames; f += step) {
    const std::vector<Affined> next = joints.at(f + 1);
    const std::vector<Affined>& now = joints.at(f);
    const auto moves = [&](int j) { return j >= 0 && distance(now[j].translation, next[j].translation) > reach; };
    for (int side = 0; side < 2; ++side)
      if (!moves(ankles[side]) && !moves(toes[side])) still.push_back({{f, side}, now[ankles[side]].translation.y});
  }
  std::vector<Standing> standing;
  if (still.empty()) return standing;
  std::vector<double> heights;
  for (const Still& s : still) heights.push_back(s.height);
  std::sort(heights.begin(), heights.end());
  const double low = heights[heights.size() / 20];
  for (const Still& s : still)
    if (s.height < low + 0.04 * leg) standing.push_back(s.at);
  return standing;
}

/// Height of the lowest sole point of the standing feet, metres: the median over those frames; without at least four
/// of them, the 5th percentile over the clip.
double standingLevel(const PosedBody& body, const std::array<Sole, 2>& soles, const Motion& motion, const std::vector<Standing>& standing) {
  std::vector<int> wanted;
  for (const Sole& sole : soles)
    for (const JointPoint& p : sole.points) wanted.push_back(p.joint);
  FewJoints joints(body, motion, wanted);
  const auto lowest = [&](int frame, int side) {
    const std::vector<Affined>& world = joints.at(frame);
    double height = 1e30;
    for (const JointPoint& p : soles[side].points) height = std::min(height, apply(world[p.joint], p.local).y);
    return height;
  };
  std::vector<double> heights;
  const auto add = [&](double height) {
    if (height < 1e29) heights.push_back(height);
  };
  const bool enough = standing.size() >= 4;
  if (enough)
    for (const Standing& s : standing) add(lowest(s.frame, s.side));
  else
    for (int f = 0; f < motion.frames; f += std::max(1, motion.frames / 200)) add(std::min(lowest(f, 0), lowest(f, 1)));
  if (heights.empty()) return 0;
  std::sort(heights.begin(), heights.end());
  return heights[enough ? heights.size() / 2 : heights.size() / 20];
}

/// Height of the character's own floor: its lowest sole point in the reference pose.
double restLevel(const PosedBody& body, const std::array<Sole, 2>& soles) {
  const Affined toWorld = worldFromFile(*body.figure, body.pose);
  double low = 1e30;
  for (const Sole& sole : soles)
    for (const JointPoint& p : sole.points) low = std::min(low, apply(toWorld, apply(body.pose.fileWorld[p.joint], p.local)).y);
  return low < 1e29 ? low : 0;
}

}  // namespace

double floorOffset(const Plan& plan, const Motion& clip, const Motion& motion) {
  const std::array<Sole, 2> soles = solesOf(plan.character);
  const std::vector<Standing> standing = standingFrames(plan.performer, clip);
  const double level = standingLevel(plan.character, soles, motion, standing);
  const bool comparable = plan.performer.figure->meshes.empty() == plan.character.figure->meshes.empty();
  const double wanted = comparable ? plan.stride * standingLevel(plan.performer, solesOf(plan.performer), clip, standing) : restLevel(plan.character, soles);
  return wanted - level;
}

void raise(const Plan& plan, const std::vector<int>& moved, double metres, Motion& motion) {
  const Skeleton& bones = plan.character.figure->skeleton;
  const Mover& hips = plan.movers.front();
  const RigidRig& rig = plan.character.rig;
  // Joints above the hips stay where they are, so the lift has one local direction a mover.
  std::vector<Quatd> rest(rig.size()), rotation(rig.size());
  std::vector<Vec3d> position(rig.size());
  for (int j = 0; j < rig.size(); ++j) rest[j] = bones.rest[j].rotation;
  worldOf(rig, rest, {}, rotation, position);
  for (const Mover& m : plan.movers) {
    if (m.joint != hips.joint && isAncestor(bones, hips.joint, m.joint)) continue;
    const int p = rig.parents[m.joint];
    const Vec3d lift = inverse(rig.stretch[m.joint]) * rotate(conjugate(p < 0 ? rig.base : rotation[p]), Vec3d{0, metres, 0});
    const auto at = static_cast<std::size_t>(std::lower_bound(moved.begin(), moved.end(), m.joint) - moved.begin());
    for (int f = 0; f < motion.frames; ++f) motion.translationsAt(f)[at] += Vec3f(lift);
  }
}

}  // namespace understudy
