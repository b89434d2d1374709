#include "core/retarget/floor.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

#include "core/body/soles.h"
#include "core/math/median.h"
#include "core/math/smooth_step.h"
#include "core/retarget/few_joints.h"
#include "core/retarget/low_points.h"

namespace understudy {
namespace {

/// Height of the hips over standing ankles, of the leg's length, below which a body may sit or lie.
constexpr double onFeet = 0.5;
/// Height of trunk and thighs over the floor, the same, from which the feet carry a body, and up to which the floor does.
constexpr double carried = 0.2, resting = 0.04;
/// From this share of the leg's length on hips are over an ankle as when standing.
constexpr double upright = 0.7;
/// Frames that tell of a way to stand.
constexpr std::size_t fewest = 4;
/// Seconds to each side over which lifts are evened out.
constexpr double evened = 0.2;

std::array<Sole, 2> solesOf(const PosedBody& body) {
  const Vec3d upFile = rotate(conjugate(body.pose.facing * body.figure->space.worldFromFile), Vec3d{0, 1, 0});
  return findSoles(*body.figure, *body.map, body.pose.fileWorld, upFile);
}

/// A frame in which the performer stands on a foot (0 left, 1 right).
struct Standing {
  int frame, side;
  double ankle;   ///< height of the ankle, metres
  double hips;    ///< of the hips above it
};

double meanHeight(const std::vector<int>& joints, const std::vector<Affined>& world) {
  double sum = 0;
  for (const int j : joints) sum += world[static_cast<std::size_t>(j)].translation.y;
  return sum / static_cast<double>(joints.size());
}

/// Frames (of about 200 spread over the clip) in which ankle and toe base move no faster than `still` leg lengths a second.
std::vector<Standing> stillFrames(const PosedBody& performer, const Motion& clip, double still) {
  const int ankles[2] = {performer.joint(Role::leftFoot), performer.joint(Role::rightFoot)};
  const int toes[2] = {performer.joint(Role::leftToes), performer.joint(Role::rightToes)};
  const std::vector<int> hips = hipJoints(*performer.map);
  std::vector<int> wanted = hips;
  wanted.insert(wanted.end(), {ankles[0], ankles[1], toes[0], toes[1]});
  FewJoints joints(performer, clip, wanted);
  const double reach = still * performer.pose.legLength / clip.rate.hertz();
  std::vector<Standing> out;
  const int step = std::max(1, clip.frames / 200);
  for (int f = 0; f + 1 < clip.frames; f += step) {
    const std::vector<Affined> next = joints.at(f + 1);
    const std::vector<Affined>& now = joints.at(f);
    const auto moves = [&](int j) { return j >= 0 && distance(now[j].translation, next[j].translation) > reach; };
    for (int side = 0; side < 2; ++side)
      if (!moves(ankles[side]) && !moves(toes[side])) {
        const double ankle = now[ankles[side]].translation.y;
        out.push_back({f, side, ankle, meanHeight(hips, now) - ankle});
      }
  }
  return out;
}

/// Frames in which ankle and toe base are still and the ankle is low. Judged on the performer: a character's long feet may reach lower in
/// swing than in stance. Where it stands upright at times, those alone: what sits or lies has its feet elsewhere.
std::vector<Standing> standingFrames(const PosedBody& performer, const Motion& clip) {
  const double leg = performer.pose.legLength;
  std::vector<Standing> standing = stillFrames(performer, clip, 0.25);
  const auto uprightOf = [&](const std::vector<Standing>& frames) {
    std::vector<Standing> out;
    std::copy_if(frames.begin(), frames.end(), std::back_inserter(out), [&](const Standing& s) { return s.hips > upright * leg; });
    return out;
  };
  std::vector<Standing> best = uprightOf(standing);
  // A clip that is still only once it sits or lies may begin on feet that hardly move.
  if (best.size() < fewest && standing.size() >= fewest) best = uprightOf(stillFrames(performer, clip, 1));
  if (best.size() >= fewest) standing = std::move(best);
  if (standing.empty()) return standing;
  std::vector<double> heights;
  for (const Standing& s : standing) heights.push_back(s.ankle);
  std::sort(heights.begin(), heights.end());
  const double low = heights[heights.size() / 20];
  std::erase_if(standing, [&](const Standing& s) { return s.ankle >= low + 0.04 * leg; });
  return standing;
}

/// Height of the lowest sole point of the standing feet, metres: the median over those frames; without at least `fewest`
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
  const bool enough = standing.size() >= fewest;
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

namespace {

/// Whether the performer's hips are ever so low that it may sit or lie.
bool getsDown(const PosedBody& performer, const Motion& clip, double ankle) {
  const std::vector<int> hips = hipJoints(*performer.map);
  FewJoints joints(performer, clip, hips);
  const int step = std::max(1, static_cast<int>(std::lround(0.1 * clip.rate.hertz())));
  for (int f = 0; f < clip.frames; f += step)
    if (meanHeight(hips, joints.at(f)) - ankle < onFeet * performer.pose.legLength) return true;
  return false;
}

}  // namespace

FloorLift floorLift(const Plan& plan, const Motion& clip, const Motion& motion) {
  const std::array<Sole, 2> soles = solesOf(plan.character), performerSoles = solesOf(plan.performer);
  const std::vector<Standing> standing = standingFrames(plan.performer, clip);
  const double level = standingLevel(plan.character, soles, motion, standing);
  const double performed = standingLevel(plan.performer, performerSoles, clip, standing);
  const bool comparable = plan.performer.figure->meshes.empty() == plan.character.figure->meshes.empty();
  const double floor = comparable ? plan.stride * performed : restLevel(plan.character, soles);
  FloorLift out{floor - level, {}};
  if (standing.size() < fewest || standing.front().hips < upright * plan.performer.pose.legLength) return out;
  std::vector<double> ankles;
  for (const Standing& s : standing) ankles.push_back(s.ankle);
  if (!getsDown(plan.performer, clip, median(std::move(ankles)))) return out;
  const LowPoints performerPoints(plan.performer), characterPoints(plan.character);
  LowPoints::Heights performerHeights(performerPoints, clip), characterHeights(characterPoints, motion);
  const int reach = static_cast<int>(std::lround(evened * clip.rate.hertz()));
  std::vector<double> lift(static_cast<std::size_t>(clip.frames), out.standing);
  bool down = false;
  for (int f = 0; f < clip.frames; ++f) {
    const LowPoints::Low low = performerHeights.at(f);
    // How much the feet carry the performer, 1, or the floor, 0.
    const double feet = smoothStep(((low.trunk - performed) / plan.performer.pose.legLength - resting) / (carried - resting));
    if (feet >= 1) continue;
    down = true;
    const double lying = floor + plan.stride * std::max(0.0, low.all - performed) - characterHeights.at(f).all;
    lift[static_cast<std::size_t>(f)] = feet * out.standing + (1 - feet) * lying;
  }
  if (!down) return out;
  for (int f = 0; f < clip.frames; ++f) {
    double sum = 0, weights = 0;
    for (int k = std::max(0, f - reach); k <= std::min(clip.frames - 1, f + reach); ++k) {
      const double w = bellWeight(k - f, reach);
      sum += w * (lift[static_cast<std::size_t>(k)] - out.standing);
      weights += w;
    }
    out.frames.push_back(out.standing + sum / weights);
  }
  return out;
}

void raise(const Plan& plan, const std::vector<int>& moved, const FloorLift& lift, Motion& motion) {
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
    const Vec3d metre = inverse(rig.stretch[m.joint]) * rotate(conjugate(p < 0 ? rig.base : rotation[p]), Vec3d{0, 1, 0});
    const auto at = static_cast<std::size_t>(std::lower_bound(moved.begin(), moved.end(), m.joint) - moved.begin());
    for (int f = 0; f < motion.frames; ++f) motion.translationsAt(f)[at] += Vec3f(metre * lift.at(f));
  }
}

}  // namespace understudy
