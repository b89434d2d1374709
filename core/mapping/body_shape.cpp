#include "core/mapping/limb_search.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace understudy {

bool BodyTree::under(int ancestor, int joint) const {
  while (joint > ancestor) joint = parents[joint];  // parents come first
  return joint == ancestor;
}

namespace {

constexpr double never = -1e9;

// Puts a body together on one pair of legs.
struct Assembly {
  const BodyTree& t;
  const TreeMeasures& m;
  const std::vector<ChainPair>& pairs;
  BodyShape body;
  ChainPair legs, arm;
  int legCarrier = -1;  // the joint the legs hang from
  int carrier = -1;     // the joint the arms hang from
  int trunkRoot = -1;   // where the trunk starts if not at the hips
  Vec3d middle;         // between the hip joints
  double ground = 0, shoulderHeight = 0;
  std::vector<int> path, way;  // spine; neck and head

  [[nodiscard]] bool inLimb(int j) const {
    for (const auto* pair : {&body.legs, &body.arms})
      for (const Limb& limb : *pair)
        if (!limb.chain.empty() && t.under(limb.chain.front(), j)) return true;
    return j == body.legs[0].detachedFoot || j == body.legs[1].detachedFoot;
  }

  // Main joints of the legs, their length and the lateral axis. False: no legs.
  bool placeLegs(const LegChoice& choice) {
    legs = choice.pair;
    legCarrier = t.parents[legs.a];
    body.legs[0].chain = chainFrom(t, m, choice.pair.a);
    body.legs[1].chain = chainFrom(t, m, choice.pair.b);
    ground = std::min(m.lowest[choice.pair.a], m.lowest[choice.pair.b]);
    LimbPlaces pick = pickTriple(t, m, body.legs[0].chain, body.legs[1].chain, true, ground);
    const std::size_t shortest = std::min(body.legs[0].chain.size(), body.legs[1].chain.size());
    if (pick.upper < 0 || pick.cost > 3.5) {
      pick = {0, 1, -1, 1};
      // The longest two neighbours that are not a helper of the hip.
      if (shortest >= 3 && distance(t.at[body.legs[0].chain[0]], t.at[body.legs[1].chain[0]]) < .05 * m.reach[choice.pair.a])
        pick.upper = 1, pick.lower = 2;
    }
    for (Limb& leg : body.legs) leg.upper = pick.upper, leg.lower = pick.lower, leg.end = pick.end;
    double thighs = 0, shanks = 0;
    if (pick.end < 0) findDetachedFeet(t, m, body, ground);
    std::array<Vec3d, 2> hip, knee, foot;
    for (int s = 0; s < 2; ++s) {
      const Limb& leg = body.legs[s];
      hip[s] = t.at[leg.joint(leg.upper)];
      knee[s] = t.at[leg.joint(leg.lower)];
      const int f = leg.end >= 0 ? leg.joint(leg.end) : leg.detachedFoot;
      foot[s] = f >= 0 ? t.at[f] : tipOf(t, leg.joint(leg.lower));
      thighs += distance(hip[s], knee[s]) / 2;
      shanks += distance(knee[s], foot[s]) / 2;
    }
    body.leg = thighs + shanks;
    if (!(body.leg > 1e-6)) return false;
    Vec3d across = horizontal(hip[0] - hip[1]) + horizontal(knee[0] - knee[1]) * .3;
    if (length(across) < .02 * body.leg) across = across + horizontal(foot[0] - foot[1]);
    if (length(across) < .01 * body.leg) return false;
    body.lateral = normalised(across);
    middle = (hip[0] + hip[1]) * .5;
    const double straight = ((hip[0].y - foot[0].y) + (hip[1].y - foot[1].y)) / (2 * body.leg);
    body.score = choice.score - .4 * std::min(pick.cost, 3.0) + straight + (pick.end >= 0 ? .4 : body.legs[0].detachedFoot >= 0 ? .3 : 0);
    return true;
  }

  // The pair that reaches farthest to the sides, above the hips.
  void placeArms() {
    double armScore = .9;
    for (const ChainPair& p : pairs) {
      if (t.under(legs.a, p.a) || t.under(legs.b, p.a) || t.under(p.a, legCarrier) || t.under(p.b, legCarrier)) continue;
      if (commonAncestor(t, p.a, legCarrier) < 0) continue;
      const double height = ((t.at[p.a].y + t.at[p.b].y) / 2 - middle.y) / body.leg;
      if (height < .05) continue;
      const double reach = (m.reach[p.a] + m.reach[p.b]) / 2 / body.leg;
      const auto chainA = chainFrom(t, m, p.a), chainB = chainFrom(t, m, p.b);
      const double off = std::abs(dot((t.at[p.a] + t.at[p.b]) * .5 - middle, body.lateral)) / body.leg;
      const double apart = std::abs(dot(t.at[chainA.back()] - t.at[chainB.back()], body.lateral)) / body.leg;
      double score = p.likeness + std::min(1.0, reach / .7) - .7 * std::max(0.0, reach - 3) - off + .5 * std::min(apart, 2.0) +
                     .3 * std::min(3, m.depth[p.a]) + .15 * std::min(height, 1.0) + (m.count[p.a] >= 9 ? .3 : 0);
      const auto words = {Part::shoulder, Part::upperArm, Part::lowerArm, Part::hand,   Part::thumb,
                          Part::index,    Part::middle,   Part::ring,     Part::little, Part::finger};
      score += nameVotes(t, chainA, words) + nameVotes(t, chainB, words);
      if (m.depth[p.a] < 3) score -= .5;
      if (score > armScore) armScore = score, arm = p;
    }

    shoulderHeight = middle.y;
    if (arm.a >= 0) {
      body.arms[0].chain = chainFrom(t, m, arm.a);
      body.arms[1].chain = chainFrom(t, m, arm.b);
      LimbPlaces p = pickTriple(t, m, body.arms[0].chain, body.arms[1].chain, false, ground);
      if (p.upper < 0) p = {0, 1, -1, 1};
      for (Limb& a : body.arms) a.upper = p.upper, a.lower = p.lower, a.end = p.end;
      // Shoulders lie on the side of their own leg, also where a pose crosses the arms.
      if (dot(t.at[body.arms[0].joint(p.upper)] - t.at[body.arms[1].joint(p.upper)], body.lateral) < 0)
        std::swap(body.arms[0], body.arms[1]);
      carrier = t.parents[arm.a];
      shoulderHeight = (t.at[body.arms[0].joint(p.upper)].y + t.at[body.arms[1].joint(p.upper)].y) / 2;
      body.score += 1 + .5 * armScore - .2 * std::min(p.cost, 3.0);
    }
  }

  // What carries legs and trunk; a parent nearer to the hip joints replaces it (legs hung on a spine joint).
  bool placeHips() {
    int hips = legCarrier;
    if (carrier >= 0) hips = commonAncestor(t, legCarrier, carrier);
    if (hips < 0) return false;
    // Where the trunk starts at a joint on the ground, the joint that carries the legs is meant.
    if (distance(t.at[hips], middle) > .5 * body.leg && distance(t.at[legCarrier], middle) < .5 * distance(t.at[hips], middle))
      trunkRoot = hips, hips = legCarrier;
    while (t.parents[hips] >= 0 && t.isBone[t.parents[hips]]) {
      const int up = t.parents[hips];
      const double here = distance(t.at[hips], middle), there = distance(t.at[up], middle);
      if (!(there < here - .02 * body.leg) || there > .3 * body.leg) break;
      if (named(t, up, Part::spine) > named(t, up, Part::hips)) break;
      hips = up;
    }
    body.hips = hips;
    return true;
  }

  // The joints from the hips to the arms.
  void traceSpine() {
    const int hips = body.hips;
    if (carrier >= 0)
      for (int j = carrier; j >= 0 && j != hips && j != trunkRoot; j = t.parents[j]) path.push_back(j);
    std::reverse(path.begin(), path.end());
  }

  // First joint of the highest central way on from the arms' carrier, or from a joint below it.
  [[nodiscard]] int startOfNeck() const {
    int start = -1;
    double startScore = arm.a >= 0 ? -.15 : 0;
    std::vector<int> stems = path;
    stems.push_back(body.hips);
    if (carrier >= 0 && path.empty()) stems = {body.hips};
    for (const int stem : stems)
      for (const int c : t.bones[stem]) {
        if (inLimb(c) || std::find(path.begin(), path.end(), c) != path.end() || t.under(c, legCarrier)) continue;
        const double top = (m.highest[c] - (arm.a >= 0 ? shoulderHeight : middle.y)) / body.leg;
        const double off = std::abs(dot(t.at[c] - middle, body.lateral)) / body.leg;
        double score = std::min(top, .8) - 2 * off + .4 * (named(t, c, Part::neck) + named(t, c, Part::head));
        if (arm.a < 0) score += .4 * named(t, c, Part::spine);
        if (carrier >= 0 && stem != carrier && t.under(stem, carrier)) score -= .1;
        if (score > startScore) startScore = score, start = c;
      }
    return start;
  }

  // From there up the middle to the skull.
  void traceHead(int start) {
    for (int j = start; j >= 0;) {
      way.push_back(j);
      int next = -1, heavy = 0;
      double bestChild = never;
      for (const int c : t.bones[j]) {
        if (inLimb(c)) continue;
        if (m.count[c] >= 1) ++heavy;
        const double off = std::abs(dot(t.at[c] - middle, body.lateral)) / body.leg;
        const double up = (t.at[c].y - t.at[j].y) / body.leg;
        const double value =
            up - 3 * off + named(t, c, Part::head) + named(t, c, Part::neck) + .2 * std::max({0.0, named(t, c, Part::spine)});
        if (value > bestChild) bestChild = value, next = c;
      }
      if (next < 0) break;
      const double nameHere = named(t, j, Part::head), nameNext = named(t, next, Part::head);
      if (nameHere > .3 && nameNext < .3) break;
      if (nameNext <= .3 && named(t, next, Part::neck) <= .3) {
        // A joint with several chains on it is a skull; the way on must lead up the middle.
        if (heavy >= 3) break;
        if (heavy == 2 && nameHere > -.1 && t.at[j].y > shoulderHeight && m.count[next] <= 1) break;
        if (bestChild < -.35) break;
      }
      j = next;
    }
  }

  void divideTrunk() {
    if (arm.a >= 0)
      divideUpperBody();
    else if (!way.empty())
      divideLowerBody();
    body.spine = path;
  }

  void divideUpperBody() {
    // Joints on the way that still lie below the shoulders belong to the spine.
    std::size_t cut = 0;
    while (cut + 1 < way.size() && cut < way.size()) {
      const double nameSpine = std::max(named(t, way[cut], Part::spine), named(t, way[cut], Part::upperChest));
      const bool below = t.at[way[cut]].y < shoulderHeight - .12 * body.leg && named(t, way[cut], Part::neck) <= .3;
      if (!(below || nameSpine > .3) || t.parents[way[cut]] != (cut == 0 ? carrier : way[cut - 1])) break;
      ++cut;
    }
    path.insert(path.end(), way.begin(), way.begin() + static_cast<long>(cut));
    way.erase(way.begin(), way.begin() + static_cast<long>(cut));
    // Some rigs hang the collar bones on the neck.
    const double collars = std::max({t.at[arm.a].y, t.at[arm.b].y, shoulderHeight});
    if (path.size() >= 2 && path.back() == carrier && !way.empty() && t.parents[way.front()] == carrier &&
        (named(t, carrier, Part::neck) > .3 || (way.size() == 1 && t.trust < .5 && t.at[carrier].y > collars + .04 * body.leg))) {
      way.insert(way.begin(), carrier);
      path.pop_back();
    }
    // Without names a long last joint shows the top of the skull, not the head.
    if (t.trust < .5 && way.size() >= 2 && t.bones[way.back()].empty()) {
      const double last = distance(t.at[way.back()], t.at[way[way.size() - 2]]);
      const double before = way.size() >= 3 ? distance(t.at[way[way.size() - 2]], t.at[way[way.size() - 3]]) : 0;
      if (!t.isSure && (way.size() >= 3 ? last > 1.3 * before && last > .15 * body.leg : last > .35 * body.leg)) way.pop_back();
    }
    if (!way.empty()) {
      body.head = way.back();
      way.pop_back();
      body.neck = way;
      body.score += .6;
    }
  }

  void divideLowerBody() {
    // A lower body: what rises from the hips is spine; a head only by name.
    std::size_t trunk = way.size();
    for (std::size_t i = 0; i < way.size(); ++i)
      if (named(t, way[i], Part::neck) > .3 || named(t, way[i], Part::head) > .3) {
        trunk = i;
        break;
      }
    path.assign(way.begin(), way.begin() + static_cast<long>(trunk));
    for (std::size_t i = trunk; i < way.size(); ++i) (i + 1 == way.size() ? void(body.head = way[i]) : body.neck.push_back(way[i]));
  }
};

}  // namespace

BodyShape findBody(const BodyTree& t) {
  const TreeMeasures m = measureTree(t);
  const std::vector<ChainPair> pairs = mirroredPairs(t, m);
  BodyShape best;
  for (const LegChoice& choice : rankLegs(t, m, pairs)) {
    Assembly assembly{t, m, pairs, {}, {}, {}, -1, -1, -1, {}, 0, 0, {}, {}};
    if (!assembly.placeLegs(choice)) continue;
    assembly.placeArms();
    if (!assembly.placeHips()) continue;
    assembly.traceSpine();
    assembly.traceHead(assembly.startOfNeck());
    assembly.divideTrunk();
    if (assembly.body.score > best.score) best = assembly.body;
  }
  return best;
}

}  // namespace understudy
