#include "tests/checker/measure_tools.h"

#include <algorithm>
#include <cmath>
#include <set>

namespace checker {
namespace {

const std::vector<std::array<const char*, 3>> limbs = {
    {"leftUpperArm", "leftUpperArm", "leftLowerArm"}, {"leftLowerArm", "leftLowerArm", "leftHand"},
    {"rightUpperArm", "rightUpperArm", "rightLowerArm"}, {"rightLowerArm", "rightLowerArm", "rightHand"},
    {"leftUpperLeg", "leftUpperLeg", "leftLowerLeg"}, {"leftLowerLeg", "leftLowerLeg", "leftFoot"},
    {"rightUpperLeg", "rightUpperLeg", "rightLowerLeg"}, {"rightLowerLeg", "rightLowerLeg", "rightFoot"}};

}  // namespace

Json directions(const Case& c, const Film& other, const Roles& otherRoles, bool sameWorld) {
  const auto frameOf = [&](int f) { return sameWorld ? f : c.performerFrame(f); };
  const auto along = [](const Film& film, const Roles& roles, const std::array<const char*, 3>& limb, int f) -> Vector3d {
    return (film.place(f, roles.at(limb[2])) - film.place(f, roles.at(limb[1]))).normalized();
  };
  const auto both = [&](const std::array<const char*, 3>& limb) {
    for (int i : {1, 2})
      if (node(c.roles, limb[index(i)]) < 0 || node(otherRoles, limb[index(i)]) < 0) return false;
    return true;
  };
  // One turn about up for the whole clip: the two worlds may face different ways.
  double sine = 0, cosine = 0;
  for (const auto& limb : limbs)
    if (!sameWorld && both(limb))
      for (int f = 0; f < c.frames; ++f) {
        const Vector3d p = along(other, otherRoles, limb, frameOf(f)), q = along(*c.result, c.roles, limb, f);
        sine += p.z() * q.x() - p.x() * q.z();
        cosine += p.x() * q.x() + p.z() * q.z();
      }
  const double yaw = sameWorld ? 0 : std::atan2(sine, cosine);
  const Eigen::AngleAxisd turn(yaw, Vector3d::UnitY());
  Json out;
  std::vector<double> arms, legs;
  for (const auto& limb : limbs) {
    if (!both(limb)) continue;
    std::vector<double> errors;
    for (int f = 0; f < c.frames; ++f) errors.push_back(angleBetween(turn * along(other, otherRoles, limb, frameOf(f)), along(*c.result, c.roles, limb, f)));
    auto& all = std::string(limb[0]).find("Arm") != std::string::npos ? arms : legs;
    all.insert(all.end(), errors.begin(), errors.end());
    out[limb[0]] = summary(errors);
  }
  out["arms"] = summary(arms);
  if (sameWorld && !c.referenceDepth.empty()) {
    // Where neither clearance nor grip demand more: for a third of a second around the arm was not in the torso, nor the hands together.
    const int ease = static_cast<int>(std::lround(c.result->fps / 3));
    std::vector<double> free;
    const Json held = hands(c)["spans"];
    for (const auto& limb : limbs) {
      if (!both(limb) || std::string(limb[0]).find("Arm") == std::string::npos) continue;
      const auto& rows = c.referenceDepth.arm[std::string(limb[0]).rfind("right", 0) == 0 ? 1 : 0];
      int since = c.frames;
      std::vector<bool> near(index(c.frames), false);
      for (int f = 0; f < c.frames; ++f) near[index(f)] = (since = c.mm(rows[index(f)]) > 2 ? 0 : since + 1) <= ease;
      since = c.frames;
      for (int f = c.frames - 1; f >= 0; --f) near[index(f)] = (since = c.mm(rows[index(f)]) > 2 ? 0 : since + 1) <= ease || near[index(f)];
      for (const Json& s : held)
        for (int f = std::max(0, s["first"].get<int>() - ease); f < std::min(c.frames, s["last"].get<int>() + ease); ++f) near[index(f)] = true;
      for (int f = 0; f < c.frames; ++f)
        if (!near[index(f)]) free.push_back(angleBetween(along(other, otherRoles, limb, f), along(*c.result, c.roles, limb, f)));
    }
    out["armsFree"] = summary(free);
  }
  out["legs"] = summary(legs);
  out["yaw"] = round3(yaw * degrees);
  return out;
}

Json popsAndFlips(const Case& c) {
  struct Found {
    std::set<std::pair<std::string, int>> pops, flips;
    Json list = Json::array();
  };
  const auto search = [&](const Film& film, const Roles& roles, int frames) {
    Found found;
    for (const auto& [role, at] : roles) {
      (void)at;
      if (role != "hips" && parentOf(role).empty()) continue;
      const auto turns = jointTurns(film, roles, role, frames);
      std::vector<double> steps;
      for (std::size_t f = 0; f + 1 < turns.size(); ++f) steps.push_back(angleBetween(turns[f], turns[f + 1]));
      const int reach = std::max(4, static_cast<int>(std::lround(0.25 * film.fps)));
      for (int f = 0; f < static_cast<int>(steps.size()); ++f) {
        if (steps[index(f)] < 2) continue;
        const int a = std::max(0, f - reach), b = std::min(static_cast<int>(steps.size()) - 1, f + reach);
        const double median = quantile({steps.begin() + a, steps.begin() + b + 1}, 0.5);
        if (steps[index(f)] > 6 * median) {
          found.pops.emplace(role, f);
          found.list.push_back({{"role", role}, {"frame", f + 2}, {"step", round3(steps[index(f)])}, {"median", round3(median)}});
        }
        const double before = f > 0 ? steps[index(f - 1)] : 0, after = f + 1 < static_cast<int>(steps.size()) ? steps[index(f + 1)] : 0;
        if (steps[index(f)] > 90 && steps[index(f)] > 3 * std::max(before, after)) found.flips.emplace(role, f);
      }
    }
    return found;
  };
  const Found mine = search(*c.result, c.roles, c.frames);
  Json out{{"pops", mine.pops.size()}, {"flips", mine.flips.size()}};
  std::set<std::pair<std::string, int>> known;
  if (c.performer) {
    const Found theirs = search(*c.performer, c.performerRoles, c.performer->frames);
    for (const auto& [role, f] : theirs.pops) known.emplace(role, static_cast<int>(std::lround(f / c.performer->fps * c.result->fps)));
    out["performerPops"] = theirs.pops.size();
    out["performerFlips"] = theirs.flips.size();
  }
  if (c.reference) {
    const Found theirs = search(*c.reference, c.roles, c.frames);
    known.insert(theirs.pops.begin(), theirs.pops.end());
    out["referencePops"] = theirs.pops.size();
  }
  Json fresh = Json::array();
  for (const Json& pop : mine.list) {
    bool old = false;
    for (int d = -2; d <= 2; ++d) old = old || known.count({pop["role"], pop["frame"].get<int>() - 2 + d}) > 0;
    if (!old) fresh.push_back(pop);
  }
  out["newPops"] = fresh.size();
  out["newList"] = fresh;
  // Twist of a limb's joint about its own length, from the bind pose.
  Json twists;
  for (const auto& [role, child] : std::vector<std::pair<const char*, const char*>>{
           {"leftUpperArm", "leftLowerArm"}, {"leftLowerArm", "leftHand"}, {"rightUpperArm", "rightLowerArm"}, {"rightLowerArm", "rightHand"},
           {"leftUpperLeg", "leftLowerLeg"}, {"leftLowerLeg", "leftFoot"}, {"rightUpperLeg", "rightLowerLeg"}, {"rightLowerLeg", "rightFoot"}}) {
    const int n = node(c.roles, role), m = node(c.roles, child);
    const auto turns = jointTurns(*c.result, c.roles, role, c.frames);
    if (turns.empty() || m < 0) continue;
    std::string above = parentOf(role);
    while (node(c.roles, above) < 0 && !above.empty()) above = parentOf(above);
    if (above.empty()) continue;
    const Quaterniond bind = turnOf(c.result->bind[index(node(c.roles, above))]).conjugate() * turnOf(c.result->bind[index(n)]);
    const Vector3d axis = (turnOf(c.result->bind[index(n)]).conjugate() * (c.result->bind[index(m)].translation() - c.result->bind[index(n)].translation())).normalized();
    double most = 0;
    int beyond = 0;
    for (const Quaterniond& q : turns) {
      const Quaterniond d = bind.conjugate() * q;
      double angle = 2 * std::atan2(d.vec().dot(axis), d.w()) * degrees;
      if (angle > 180) angle -= 360;
      if (angle < -180) angle += 360;
      most = std::max(most, std::abs(angle));
      beyond += std::abs(angle) > 120;
    }
    twists[role] = {{"max", round3(most)}, {"framesBeyond120", beyond}};
  }
  out["twist"] = twists;
  return out;
}

Json moved(const Case& c, const std::vector<Span>& spans) {
  if (!c.reference) return nullptr;
  const Film &a = *c.result, &b = *c.reference;
  if (a.nodes() != b.nodes()) return {{"error", "another skeleton"}};
  Json bones = Json::object();
  int total = 0, turned = 0, unflawed = 0;
  // Flaws of the reference, a second's third around: legs and pelvis while a foot stands, arms while one is in torso, head, thighs or floor or
  // both keep together, any joint that jumps.
  const int ease = static_cast<int>(std::lround(a.fps / 3));
  const std::vector<std::string> roleOf = roleOfNodes(a, c.roles);
  std::vector<bool> legs(index(c.frames), false);
  std::array<std::vector<bool>, 2> arms{legs, legs};
  const auto mark = [&](std::vector<bool>& rows, int first, int last) {
    for (int f = std::max(0, first - ease); f <= std::min(c.frames - 1, last + ease); ++f) rows[index(f)] = true;
  };
  for (const Span& s : spans) mark(legs, s.first, s.last);
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < c.frames && !c.referenceDepth.empty(); ++f)
      if (c.mm(c.referenceDepth.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  for (const auto& triangles : c.regions.others) {
    const DepthRows rows = depthRows(c, b, triangles);
    for (int side = 0; side < 2; ++side)
      for (int f = 0; f < static_cast<int>(rows.arm[index(side)].size()); ++f)
        if (c.mm(rows.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  }
  const DepthRows below = floorRows(c, b);
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < c.frames; ++f)
      if (c.mm(below.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  for (const Json& s : hands(c)["spans"])
    for (auto& rows : arms) mark(rows, s["first"], s["last"]);
  std::map<std::string, std::vector<bool>> jumping;
  for (const auto& [role, at] : c.roles) {
    (void)at;
    const auto turns = jointTurns(b, c.roles, role, c.frames);
    std::vector<double> steps;
    for (std::size_t f = 0; f + 1 < turns.size(); ++f) steps.push_back(angleBetween(turns[f], turns[f + 1]));
    auto& rows = jumping[role];
    rows.assign(index(c.frames), false);
    for (int f = 0; f < static_cast<int>(steps.size()); ++f) {
      const int from = std::max(0, f - ease), to = std::min(static_cast<int>(steps.size()), f + ease + 1);
      if (steps[index(f)] >= 2 && steps[index(f)] > 6 * quantile({steps.begin() + from, steps.begin() + to}, 0.5)) mark(rows, f, f + 1);
    }
  }
  const auto excused = [&](int n, int f) {
    const std::string& role = roleOf[index(n)];
    if (role.empty() || role == "hips" || role.find("Leg") != std::string::npos || role.find("Foot") != std::string::npos || role.find("Toes") != std::string::npos)
      if (legs[index(f)]) return true;
    for (int side = 0; side < 2; ++side)
      if (role.rfind(sideName(side), 0) == 0 && role.find("Leg") == std::string::npos && arms[index(side)][index(f)]) return true;
    const auto jump = jumping.find(role);
    return jump != jumping.end() && jump->second[index(f)];
  };
  double most = 0;
  for (int n = 0; n < a.nodes(); ++n) {
    int here = 0, alone = 0;
    double farthest = 0, widest = 0;
    std::vector<int> frames;
    for (int f = 0; f < c.frames; ++f) {
      const int p = a.parents[index(n)];
      const Quaterniond qa = p < 0 ? a.turn(f, n) : a.turn(f, p).conjugate() * a.turn(f, n), qb = p < 0 ? b.turn(f, n) : b.turn(f, p).conjugate() * b.turn(f, n);
      // A bone that keeps its direction while its parent turns is not moved, neither is one that goes along with it.
      const double angle = std::min(angleBetween(qa, qb), angleBetween(a.turn(f, n), b.turn(f, n))), distance = c.mm((a.place(f, n) - b.place(f, n)).norm());
      ++total;
      if (angle > 0.2) {
        ++turned;
        ++here;
        const bool free = !excused(n, f);
        unflawed += free;
        alone += free;
      }
      if (distance > 0.01) frames.push_back(f);
      farthest = std::max(farthest, distance);
      widest = std::max(widest, angle);
    }
    most = std::max(most, farthest);
    if (farthest > 0.01)
      bones[a.names[index(n)].empty() ? "#" + std::to_string(n) : a.names[index(n)]] = {
          {"mm", round3(farthest)}, {"degrees", round3(widest)}, {"framesOver0.2deg", here}, {"withoutFlawNear", alone}, {"framesMoved", frames.size()}, {"firstMoved", frames.front() + 1}, {"lastMoved", frames.back() + 1}};
  }
  return {{"boneFramesOver0.2deg", round3(turned / static_cast<double>(total))}, {"withoutFlawNear", round3(unflawed / static_cast<double>(total))}, {"farthest", round3(most)}, {"bones", bones}};
}

}  // namespace checker
