#include <algorithm>
#include <cmath>
#include <string>

#include "core/mapping/body_tree.h"
#include "core/mapping/mapper.h"

namespace understudy {
namespace {

int footOf(const Limb& leg) {
  return leg.end >= 0 ? leg.joint(leg.end) : leg.detachedFoot;
}

// Votes for "side 0 is left" (> 0) from toes, knees and elbows of one pose: sum and weight.
struct Votes {
  double sum = 0, weight = 0, toes = 0;
  void add(double value, double w) { sum += value * w, weight += w; }
};

void vote(const BodyTree& t, const BodyShape& body, const std::vector<Vec3d>& at, Votes& votes, bool motion) {
  const Limb &l0 = body.legs[0], &l1 = body.legs[1];
  Vec3d lateral = at[l0.joint(l0.upper)] - at[l1.joint(l1.upper)];
  lateral.y = 0;
  lateral = normalised(lateral);
  const Vec3d front = cross(lateral, Vec3d{0, 1, 0});
  for (const Limb& leg : body.legs) {
    const int foot = footOf(leg);
    if (foot < 0) continue;
    const Vec3d hip = at[leg.joint(leg.upper)], knee = at[leg.joint(leg.lower)], ankle = at[foot];
    const double size = distance(hip, knee) + distance(knee, ankle);
    if (!(size > 1e-9)) continue;
    Vec3d toe{};
    for (const auto* children : {&t.bones[foot], &t.tips[foot]})
      for (const int c : *children) {
        Vec3d d = at[c] - ankle;
        d.y = 0;
        if (length(d) > length(toe)) toe = d;
      }
    const double w = length(toe) / size;
    if (w > .04) {
      const double cosine = dot(toe, front) / length(toe);
      votes.add(cosine, std::min(1.0, w * 4));
      votes.toes += cosine;
    }
    Vec3d line = normalised(ankle - hip);
    const Vec3d bend = (knee - hip) - line * dot(knee - hip, line);
    const double b = dot(bend, front) / size;
    votes.add(b > 0 ? 1 : -1, std::min(1.0, std::abs(b) * (motion ? 6 : 4)));
  }
  for (const Limb& arm : body.arms) {
    if (arm.chain.empty() || arm.end < 0) continue;
    const Vec3d s = at[arm.joint(arm.upper)], e = at[arm.joint(arm.lower)], w = at[arm.joint(arm.end)];
    const double size = distance(s, e) + distance(e, w);
    if (!(size > 1e-9)) continue;
    const Vec3d line = normalised(w - s);
    const double b = dot((e - s) - line * dot(e - s, line), front) / size;
    votes.add(b < 0 ? 1 : -1, std::min(.5, std::abs(b) * 2));
  }
}

// What the file itself states about its bones outweighs everything found.
void applyStated(const Figure& figure, SkeletonMap& map) {
  if (figure.statedRoles.empty()) return;
  PerRole<int> stated;
  stated.fill(-1);
  int required = 0;
  for (const auto& [name, joint] : figure.statedRoles)
    if (const auto role = roleNamed(name); role && joint >= 0 && joint < figure.skeleton.size() && stated[indexOf(*role)] < 0) {
      stated[indexOf(*role)] = joint;
      required += isRequired(*role);
    }
  for (int r = 0; r < roleCount; ++r) {
    RoleJoints& entry = map.roles[r];
    // A complete statement also says which bones are not there.
    if (stated[r] < 0 && required >= 15) entry = {};
    for (int other = 0; other < roleCount; ++other)
      if (other != r && stated[other] >= 0) std::erase(entry.joints, stated[other]);
    if (stated[r] >= 0) {
      // The rest of a chain stays where it starts with the stated joint.
      if (entry.first() != stated[r]) entry.joints = {stated[r]};
      entry.confidence = .99;
      entry.reason = "stated by the file";
    }
    if (entry.joints.empty()) entry = {};
  }
}

// Joints of a chain from one place up to the next, and twist bones beside them.
std::vector<int> segment(const BodyTree& t, const std::vector<int>& chain, int from, int to) {
  std::vector<int> out(chain.begin() + from, chain.begin() + std::max(from + 1, to));
  if (t.trust > .5)
    for (const int c : t.bones[chain[from]])
      if (t.cues[c].twist && !t.cues[c].helper && std::find(chain.begin(), chain.end(), c) == chain.end()) out.push_back(c);
  return out;
}

// Which of the two sides of a BodyShape is the left one.
struct Sides {
  bool firstIsLeft = true;
  double confidence = 1;
  /// The role on side 0 or 1 of the body, given its left spelling.
  [[nodiscard]] Role of(Role left, int side) const { return (side == 0) == firstIsLeft ? left : mirrored(left); }
};

Sides decideSides(const Figure& figure, const BodyTree& t, const BodyShape& body, Issues& issues) {
  Votes votes;
  vote(t, body, t.at, votes, false);
  if (std::abs(votes.sum) < .8 && hasMotion(figure))
    for (int i = 0; i < 12; ++i) {
      const std::vector<Vec3d> at = positions(figure, clipPose(figure, (i + .5) / 12));
      vote(t, body, at, votes, true);
    }
  double nameSide = 0, namesRead = 0;
  for (const auto* limbs : {&body.legs, &body.arms})
    for (int s = 0; s < 2; ++s)
      for (const int j : (*limbs)[s].chain)
        if (t.cues[j].side != Side::centre) nameSide += (t.cues[j].side == Side::left) == (s == 0) ? 1 : -1, namesRead += 1;
  const double byName = namesRead >= 2 ? t.trust * nameSide / namesRead : 0;
  const double byShape = votes.weight > 0 ? votes.sum / std::max(votes.weight, .4) : 0;
  // Toes on both feet pointing one way are sure; bends are not where names say otherwise.
  const bool sure = std::abs(votes.toes) > 1.4 && std::abs(byShape) > .6;
  Sides sides;
  if (std::abs(byName) > .5 && !(sure && byName * byShape < 0)) {
    sides.firstIsLeft = byName > 0;
    if (byName * byShape < 0 && std::abs(byShape) > .4) {
      sides.confidence = .7;
      issues.push_back(
          makeNote("Knees or elbows bend the other way than the names of left and right suggest; the names were followed", figure.path));
    }
  } else if (std::abs(byShape) > .05) {
    sides.firstIsLeft = byShape > 0;
    sides.confidence = sure ? 1 : .75;
    if (byName * byShape < 0 && std::abs(byName) > .5)
      issues.push_back(makeWarning("Left and right in the names contradict the body: the feet point the other way; the body was followed",
                                   figure.path, "Check left and right in the bone map"));
  } else {
    sides.firstIsLeft = byName != 0 ? byName > 0 : body.lateral.x > 0;
    sides.confidence = .5;
  }
  return sides;
}

// Three slots; further joints go into the chain of the slot below them.
void mapSpine(Mapper& m, const std::vector<int>& spine, double base) {
  const BodyTree& t = m.t;
  const int k = static_cast<int>(spine.size());
  if (k > 0) {
    int chest = k >= 2 ? (k == 2 ? 1 : (k - 1) / 2) : -1, upperChest = k >= 3 ? k - 1 : -1;
    if (k >= 3 && t.trust > .5) {
      int named = -1, namedUpper = -1;
      for (int i = 1; i < k; ++i) {
        if (t.cues[spine[i]].at(Part::chest) >= 1 && named < 0) named = i;
        if (t.cues[spine[i]].at(Part::upperChest) >= 1 && namedUpper < 0) namedUpper = i;
      }
      if (named > 0) {
        chest = named;
        upperChest = namedUpper > named ? namedUpper : named + 1 < k ? k - 1 : -1;
      }
    }
    const auto slice = [&](int from, int to) { return std::vector<int>(spine.begin() + from, spine.begin() + to); };
    m.set(Role::spine, slice(0, chest > 0 ? chest : k), base + .1, "first joint of the trunk above the hips");
    if (chest > 0)
      m.set(Role::chest, slice(chest, upperChest > 0 ? upperChest : k), base, upperChest > 0 ? "middle of the trunk" : "carries the arms");
    if (upperChest > 0) m.set(Role::upperChest, slice(upperChest, k), base, "carries the arms");
  }
}

void mapHead(Mapper& m, const BodyShape& body, const Sides& sides, double base) {
  const BodyTree& t = m.t;
  if (!body.neck.empty()) m.set(Role::neck, body.neck, base, "between trunk and head");
  if (body.head >= 0) {
    m.set(Role::head, {body.head}, base + .1, "top of the body");
    for (int j = body.head + 1; j < t.size() && t.trust > .3; ++j) {
      const NameCue& cue = t.cues[j];
      if (cue.helper || cue.end || !t.under(body.head, j)) continue;
      if (cue.at(Part::jaw) > .5 && m.map.at(Role::jaw).empty()) m.set(Role::jaw, {j}, .6, "on the head");
      if (cue.at(Part::eye) > .5 && cue.side != Side::centre) {
        const double across = dot(t.at[j] - t.at[body.head], body.lateral) * (sides.firstIsLeft ? 1 : -1);
        const bool left = std::abs(across) > .005 * body.leg ? across > 0 : cue.side == Side::left;
        const Role eye = left ? Role::leftEye : Role::rightEye;
        if (m.map.at(eye).empty()) m.set(eye, {j}, .6, "on the head");
      }
    }
  }
}

void mapLeg(Mapper& m, const BodyShape& body, const Sides& sides, int s, double sure) {
  const BodyTree& t = m.t;
  const Limb& leg = body.legs[s];
  const std::vector<int>& c = leg.chain;
  const int end = leg.end >= 0 ? leg.end : static_cast<int>(c.size());
  m.set(sides.of(Role::leftUpperLeg, s), segment(t, c, leg.upper, leg.lower), sure + .1, "thigh, from the hip down");
  m.set(sides.of(Role::leftLowerLeg, s), segment(t, c, leg.lower, leg.end >= 0 ? end : leg.lower + 1), sure + .1,
        "shank, between knee and foot");
  const int foot = footOf(leg);
  m.set(sides.of(Role::leftFoot, s), {foot}, sure + (leg.end >= 0 ? .1 : -.05),
        leg.end >= 0 ? "at the end of the shank" : "hangs elsewhere but stands at the end of the shank");
  if (foot >= 0) {
    int toes = -1;
    double far = -1;
    for (const int child : t.bones[foot]) {
      Vec3d d = t.at[child] - t.at[foot];
      double value = length(d) + (t.trust > .3 ? t.trust * t.cues[child].at(Part::toes) * body.leg : 0);
      if (t.trust > .5 && (t.cues[child].helper || t.cues[child].end)) continue;
      if (value > far) far = value, toes = child;
    }
    // A joint of the midfoot may stand before the one that is named after the toes.
    for (int j = toes, steps = 0; t.trust > .5 && j >= 0 && steps < 4 && t.cues[toes].at(Part::toes) < .9; ++steps) {
      if (t.cues[j].at(Part::toes) >= .9)
        toes = j;
      else
        j = t.bones[j].empty() ? -1 : t.bones[j].front();
    }
    if (toes >= 0) m.set(sides.of(Role::leftToes, s), {toes}, sure, "in front of the foot");
  }
}

void mapArm(Mapper& m, const BodyShape& body, const Sides& sides, int s, double sure) {
  const BodyTree& t = m.t;
  const Limb& arm = body.arms[s];
  if (arm.chain.empty()) return;
  const std::vector<int>& a = arm.chain;
  if (arm.upper > 0)
    m.set(sides.of(Role::leftShoulder, s), std::vector<int>(a.begin(), a.begin() + arm.upper), sure, "between trunk and upper arm");
  m.set(sides.of(Role::leftUpperArm, s), segment(t, a, arm.upper, arm.lower), sure + .1, "from the shoulder to the elbow");
  m.set(sides.of(Role::leftLowerArm, s), segment(t, a, arm.lower, arm.end >= 0 ? arm.end : arm.lower + 1), sure + .1,
        "from the elbow to the wrist");
  if (arm.end < 0) return;
  int hand = a[arm.end];
  const int lower = a[arm.lower];
  // Several hand bones at one place, each with a finger: the middle one is the hand.
  std::vector<int> twins;
  Vec3d centre{};
  for (const int child : t.bones[t.parents[hand]])
    if (distance(t.at[child], t.at[hand]) < .02 * body.leg && !t.bones[child].empty() && !(t.trust > .5 && t.cues[child].helper)) {
      twins.push_back(child);
      centre += t.at[t.bones[child].front()];
    }
  if (twins.size() >= 3) {
    centre = centre / static_cast<double>(twins.size());
    double near = 1e9;
    for (const int twin : twins) {
      const double d = distance(t.at[t.bones[twin].front()], centre);
      if (d < near) near = d, hand = twin;
    }
  }
  m.set(sides.of(Role::leftHand, s), {hand}, sure + .1, "at the end of the forearm");
  mapFingers(m, hand, lower, sides.of(Role::leftHand, s) == Role::leftHand);
}

// No body in the tree: names alone.
void mapByNames(Mapper& m) {
  const BodyTree& t = m.t;
  if (t.trust > 0)
    for (int r = 0; r < roleCount; ++r) {
      const Role role = roleAt(r);
      if (isFinger(role)) continue;
      int pick = -1;
      double fit = .55;
      for (int j = 0; j < t.size(); ++j) {
        const NameCue& cue = t.cues[j];
        if (!t.isBone[j] || cue.helper || cue.end || cue.twist || cue.best() != partOf(role) || cue.side != sideOf(role)) continue;
        if (cue.at(partOf(role)) > fit) fit = cue.at(partOf(role)), pick = j;
      }
      if (pick >= 0) m.set(role, {pick}, .3, "by its name alone");
    }
}

}  // namespace

SkeletonMap mapRoles(const Figure& figure, const MapSettings& settings) {
  const Skeleton& sk = figure.skeleton;
  if (sk.size() == 0) return {};
  BodyTree t = treeOf(figure, settings.useNames);

  // The pose that shows an upright body best: bind, rest, then frames of the first clip.
  const std::vector<Affined> rest = restWorld(sk);
  std::vector<std::vector<Affined>> poses;
  if (figure.hasSkin()) {
    poses.push_back(bindInScene(figure, rest));
    poses.push_back(bindWorld(figure));
  }
  poses.push_back(rest);
  BodyShape body;
  std::vector<Vec3d> best;
  const auto attempt = [&](const std::vector<Affined>& world, double lead) {
    t.at = positions(figure, world);
    BodyShape shape = findBody(t);
    if (shape.score > (body.score < 0 ? -1 : body.score + lead)) body = std::move(shape), best = t.at;
  };
  for (const auto& world : poses) attempt(world, .3);
  const double wanted = 5.5;
  if (body.score < wanted && hasMotion(figure))
    for (const double fraction : {0.0, .02, .1, .25, .4, .55, .7, .85, 1.0}) attempt(clipPose(figure, fraction), .5);

  t.at = body.score < 0 ? positions(figure, rest) : best;

  Mapper m{figure, t, {}};
  if (body.score < 0) {
    mapByNames(m);
    m.map.issues.push_back(makeWarning("No body with two legs was found in the skeleton; roles were taken from names alone", figure.path,
                                       "Check the bone map"));
  } else {
    const Sides sides = decideSides(figure, t, body, m.map.issues);
    const double base = .55 + .2 * std::clamp((body.score - 3) / 3, 0.0, 1.0);
    m.set(Role::hips, {body.hips}, base + .1, "carries legs and trunk");
    mapSpine(m, body.spine, base);
    mapHead(m, body, sides, base);
    for (int s = 0; s < 2; ++s) {
      mapLeg(m, body, sides, s, base * sides.confidence);
      mapArm(m, body, sides, s, base * sides.confidence);
    }
  }
  applyStated(figure, m.map);
  return std::move(m.map);
}

std::vector<int> besideHand(const Skeleton& skeleton, const SkeletonMap& map, bool left) {
  const int hand = map.joint(left ? Role::leftHand : Role::rightHand), forearm = map.joint(left ? Role::leftLowerArm : Role::rightLowerArm);
  std::vector<int> out;
  if (hand < 0 || forearm < 0 || !isAncestor(skeleton, forearm, hand)) return out;
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    int j = map.joint(role);
    if (!isFinger(role) || (sideOf(role) == Side::left) != left || j < 0 || !isAncestor(skeleton, forearm, j) || j == hand || isAncestor(skeleton, hand, j) || isAncestor(skeleton, j, hand)) continue;
    const auto above = [&] { return skeleton.parents[static_cast<std::size_t>(j)]; };
    while (above() != forearm && !isAncestor(skeleton, above(), hand)) j = above();
    out.push_back(j);
  }
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

std::vector<int> hipJoints(const SkeletonMap& map) {
  std::vector<int> out;
  for (const Role role : {Role::leftUpperLeg, Role::rightUpperLeg})
    if (const int j = map.joint(role); j >= 0) out.push_back(j);
  if (const int j = map.joint(Role::hips); out.empty() && j >= 0) out.push_back(j);
  return out;
}

std::vector<std::string> missingRequired(const SkeletonMap& map) {
  std::vector<std::string> out;
  for (int r = 0; r < roleCount; ++r)
    if (isRequired(roleAt(r)) && map.roles[r].empty()) out.emplace_back(roleName(roleAt(r)));
  return out;
}

}  // namespace understudy
