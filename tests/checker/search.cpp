// Could the arm have been out of the body? A plain search over elbow and clavicle with the hand where it is.
#include <algorithm>
#include <cmath>
#include <random>

#include "tests/checker/measure_tools.h"

namespace checker {
namespace {

std::vector<int> below(const Film& film, int top) {
  std::vector<int> out;
  for (int n = 0; n < film.nodes(); ++n)
    for (int p = n; p >= 0; p = film.parents[index(p)])
      if (p == top) {
        out.push_back(n);
        break;
      }
  return out;
}

struct Arm {
  int clavicle = -1, shoulder = -1, elbow = -1, wrist = -1;
  std::vector<int> withClavicle, upper, lower, hand, swivelled;
};

void turn(std::vector<Affine3d>& pose, const std::vector<int>& nodes, const Vector3d& pivot, const Quaterniond& by) {
  const Affine3d move = Eigen::Translation3d(pivot) * by * Eigen::Translation3d(-pivot);
  for (int n : nodes) pose[index(n)] = move * pose[index(n)];
}

/// Brings the wrist back to `target`; false where the arm is too short.
bool reach(std::vector<Affine3d>& pose, const Arm& arm, const Vector3d& target) {
  const Vector3d a = pose[index(arm.shoulder)].translation(), b = pose[index(arm.elbow)].translation(), c = pose[index(arm.wrist)].translation();
  const double u = (b - a).norm(), l = (c - b).norm(), d = (target - a).norm();
  if (d > u + l || d < std::abs(u - l)) return false;
  Vector3d axis = (a - b).cross(c - b);
  if (axis.norm() < 1e-12) return false;
  axis.normalize();
  const double now = std::acos(std::clamp((a - b).normalized().dot((c - b).normalized()), -1.0, 1.0));
  const double then = std::acos(std::clamp((u * u + l * l - d * d) / (2 * u * l), -1.0, 1.0));
  turn(pose, arm.lower, b, Quaterniond(Eigen::AngleAxisd(then - now, axis)));
  const Vector3d moved = pose[index(arm.wrist)].translation();
  turn(pose, arm.upper, a, Quaterniond::FromTwoVectors(moved - a, target - a));
  return true;
}

}  // namespace

Json clearanceSearch(const Case& c, int count, unsigned seed) {
  const Film& film = *c.result;
  const DepthRows& rows = c.reference ? c.referenceDepth : c.depth;
  std::vector<std::pair<int, int>> candidates;
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < c.frames && !rows.empty(); ++f)
      if (c.mm(rows.arm[index(side)][index(f)]) > 5) candidates.emplace_back(side, f);
  const int among = static_cast<int>(candidates.size());
  std::mt19937 random(seed);
  std::shuffle(candidates.begin(), candidates.end(), random);
  if (among > count) candidates.resize(index(count));

  std::array<Arm, 2> arms;
  std::array<std::vector<int>, 2> asked;
  Torso torso(film, c.regions.torso, c.regions.height);
  for (int side = 0; side < 2; ++side) {
    const std::string name = side == 0 ? "left" : "right";
    const auto node = [&](const char* role) {
      const auto found = c.roles.find(name + role);
      return found == c.roles.end() ? -1 : found->second;
    };
    Arm& arm = arms[index(side)];
    arm.clavicle = node("Shoulder"), arm.shoulder = node("UpperArm"), arm.elbow = node("LowerArm"), arm.wrist = node("Hand");
    if (arm.shoulder < 0 || arm.elbow < 0 || arm.wrist < 0) continue;
    if (arm.clavicle >= 0) arm.withClavicle = below(film, arm.clavicle);
    arm.upper = below(film, arm.shoulder);
    arm.lower = below(film, arm.elbow);
    arm.hand = below(film, arm.wrist);
    for (int n : arm.upper)
      if (std::find(arm.hand.begin(), arm.hand.end(), n) == arm.hand.end()) arm.swivelled.push_back(n);
    std::vector<int> free;
    for (int p : c.regions.arm[index(side)])
      if (torso.depth(film.skinnedInBind(p)) <= 0) free.push_back(p);
    const std::size_t step = std::max<std::size_t>(1, (free.size() + 249) / 250);
    for (std::size_t i = 0; i < free.size(); i += step) asked[index(side)].push_back(free[i]);
  }
  const double bar = 0.002 * c.regions.height / 1.7;
  int possible = 0, solved = 0;
  Json missed = Json::array();
  for (const auto& [side, f] : candidates) {
    const Arm& arm = arms[index(side)];
    if (arm.shoulder < 0 || arm.wrist < 0) continue;
    torso.pose(f);
    std::vector<Affine3d> start(index(film.nodes()));
    for (int n = 0; n < film.nodes(); ++n) start[index(n)] = film.at(f, n);
    const Vector3d wrist = start[index(arm.wrist)].translation();
    const auto clear = [&](const std::vector<Affine3d>& pose) {
      for (int p : asked[index(side)]) {
        Vector3d at = Vector3d::Zero();
        for (const auto& share : film.points[index(p)].shares) at += share.weight * (pose[index(share.node)] * share.local);
        if (torso.depth(at) > bar) return false;
      }
      return true;
    };
    const bool good = c.depth.arm[index(side)][index(f)] <= bar;
    bool found = good;
    for (int option = 0; option < (arm.clavicle >= 0 ? 5 : 1) && !found; ++option) {
      std::vector<Affine3d> pose = start;
      if (option > 0) {
        const Vector3d axis = option < 3 ? Vector3d(Vector3d::UnitY()) : Vector3d((pose[index(arm.shoulder)].translation() - pose[index(arm.clavicle)].translation()).cross(Vector3d::UnitY()).normalized());
        if (axis.norm() < 0.5) continue;
        turn(pose, arm.withClavicle, pose[index(arm.clavicle)].translation(), Quaterniond(Eigen::AngleAxisd((option % 2 ? 15 : -15) * EIGEN_PI / 180, axis)));
        if (!reach(pose, arm, wrist)) continue;
        for (int n : arm.hand) pose[index(n)] = start[index(n)];
      }
      const Vector3d shoulder = pose[index(arm.shoulder)].translation();
      if ((wrist - shoulder).norm() < 1e-9) continue;
      for (int s = 0; s < 72 && !found; ++s) {
        // 0, 5, -5, 10, -10 ... degrees
        const int step = s % 2 ? (s + 1) / 2 : -s / 2;
        std::vector<Affine3d> turned = pose;
        turn(turned, arm.swivelled, shoulder, Quaterniond(Eigen::AngleAxisd(step * 5 * EIGEN_PI / 180, (wrist - shoulder).normalized())));
        found = clear(turned);
      }
    }
    possible += found;
    solved += good;
    if (found && !good) missed.push_back({{"side", side == 0 ? "left" : "right"}, {"frame", f + 1}, {"mm", std::round(c.mm(c.depth.arm[index(side)][index(f)]) * 10) / 10}});
  }
  return {{"seed", seed}, {"among", among}, {"asked", candidates.size()}, {"possible", possible}, {"solved", solved}, {"missed", missed}};
}

}  // namespace checker
