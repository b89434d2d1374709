#include "core/mapping/body_shape.h"

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

double ratio(double a, double b) {
  return std::max(a, b) < 1e-9 ? 1 : std::min(a, b) / std::max(a, b);
}
Vec3d horizontal(const Vec3d& v) {
  return {v.x, 0, v.z};
}

struct Measures {
  std::vector<double> reach;  // longest way from a joint to the end of its subtree
  std::vector<double> lowest, highest;
  std::vector<int> count;  // bones in the subtree
  std::vector<int> depth;  // bones on the longest chain (by number)
};

Measures measure(const BodyTree& t) {
  const int n = t.size();
  Measures m{std::vector<double>(n, 0), std::vector<double>(n), std::vector<double>(n), std::vector<int>(n, 0), std::vector<int>(n, 0)};
  for (int j = 0; j < n; ++j) m.lowest[j] = m.highest[j] = t.at[j].y;
  for (int j = n - 1; j >= 0; --j) {
    if (!t.isBone[j] && !t.isTip[j]) continue;
    if (t.isBone[j]) m.count[j] += 1, m.depth[j] += 1;
    const int p = t.parents[j];
    if (p < 0) continue;
    m.reach[p] = std::max(m.reach[p], m.reach[j] + distance(t.at[p], t.at[j]));
    m.lowest[p] = std::min(m.lowest[p], m.lowest[j]);
    m.highest[p] = std::max(m.highest[p], m.highest[j]);
    m.count[p] += m.count[j];
    m.depth[p] = std::max(m.depth[p], m.depth[j]);
  }
  return m;
}

// How well a joint's name fits a part: 1 … −1, weighted by the trust in names.
double named(const BodyTree& t, int joint, Part part) {
  if (joint < 0 || t.trust <= 0) return 0;
  const NameCue& cue = t.cues[joint];
  if (cue.helper || cue.end) return -t.trust;
  if (!cue.known()) return 0;
  const double fit = cue.at(part);
  double value = fit > 0 ? fit : -.6;
  if (cue.twist) value = std::min(value, -.3);
  return t.trust * value;
}

// The chain of bones from `root` outwards, at each fork the way that reaches farthest.
std::vector<int> chainFrom(const BodyTree& t, const Measures& m, int root) {
  std::vector<int> chain;
  for (int j = root; j >= 0 && chain.size() < 16;) {
    chain.push_back(j);
    int next = -1;
    double best = -1;
    for (const int c : t.bones[j]) {
      double far = distance(t.at[j], t.at[c]) + m.reach[c];
      if (t.trust > 0 && (t.cues[c].twist || t.cues[c].helper)) far *= .3;
      // A straight way on without length (a second joint at the same place) still counts.
      if (far > best + 1e-12) best = far, next = c;
    }
    j = next;
  }
  return chain;
}

Vec3d tipOf(const BodyTree& t, int joint) {
  Vec3d best = t.at[joint];
  double far = -1;
  for (const int c : t.tips[joint])
    if (distance(t.at[c], t.at[joint]) > far) far = distance(t.at[c], t.at[joint]), best = t.at[c];
  return best;
}

// Chains of bones that start at a joint, joints at the same place counted as one (palms side by side).
int fork(const BodyTree& t, int joint, bool twinsAreOne) {
  const double near = 1e-3;
  int chains = 0;
  const auto count = [&](int j) {
    std::vector<int> seen;
    for (const int c : t.bones[j]) {
      const double size = distance(t.at[c], t.at[j]);
      const bool twin = std::any_of(seen.begin(), seen.end(), [&](int o) { return distance(t.at[o], t.at[c]) <= near * size && size > 0; });
      if (t.trust > .5 && (t.cues[c].twist || t.cues[c].helper || t.cues[c].end)) continue;
      if (!twin || !twinsAreOne) ++chains;
      seen.push_back(c);
    }
  };
  count(joint);
  if (t.parents[joint] >= 0)
    for (const int sibling : t.bones[t.parents[joint]])
      if (sibling != joint && distance(t.at[sibling], t.at[joint]) <= near * distance(t.at[joint], t.at[t.parents[joint]])) count(sibling);
  return chains;
}

struct Triple {
  int upper = -1, lower = -1, end = -1;
  double cost = 1e9;
};

// Picks upper, lower and end joint of two chains that belong together (the same places in both).
Triple pickTriple(const BodyTree& t, const Measures& m, const std::vector<int>& a, const std::vector<int>& b, bool leg, double ground) {
  Triple best;
  const int n = static_cast<int>(std::min(a.size(), b.size()));
  const Part parts[3] = {leg ? Part::upperLeg : Part::upperArm, leg ? Part::lowerLeg : Part::lowerArm, leg ? Part::foot : Part::hand};
  // Prefix sums of the way along each chain.
  const auto cost = [&](const std::vector<int>& c, int i, int j, int k) {
    const auto way = [&](int from, int to) {
      double sum = 0;
      for (int s = from; s < to; ++s) sum += distance(t.at[c[s]], t.at[c[s + 1]]);
      return sum;
    };
    const double u = distance(t.at[c[i]], t.at[c[j]]), l = distance(t.at[c[j]], t.at[c[k]]), wayU = way(i, j), wayL = way(j, k);
    const double whole = u + l;
    if (u < 1e-6 || l < 1e-6) return 1e6;
    double sum = 1.2 * std::abs(std::log(u / l) - (leg ? 0.03 : 0.1));
    // Upper and lower part are rigid: joints inside them lie on their line.
    sum += 5 * (1 - u / wayU) + 5 * (1 - l / wayL);
    // What comes before (collar bone, hip helper) and after (hand, foot) is shorter than the limb.
    const double before = (t.parents[c[0]] >= 0 ? distance(t.at[t.parents[c[0]]], t.at[c[0]]) : 0) + way(0, i);
    const double after = m.reach[c[k]];
    sum += (leg ? 2.0 : 1.0) * std::max(0.0, way(0, i) / whole - .35) + 3 * std::max(0.0, way(0, i) / whole - .8) + .1 * before / whole;
    const int atEnd = leg ? 0 : fork(t, c[k], false);
    sum += (atEnd >= 2 ? .8 : 2.5) * std::max(0.0, after / whole - (leg ? .45 : .5)) + .3 * after / whole;
    if (leg) {
      // Standing legs are nearly straight; a foot turns forward.
      const double straight = dot(t.at[c[j]] - t.at[c[i]], t.at[c[k]] - t.at[c[j]]) / (u * l);
      sum += 1.5 * std::max(0.0, .9 - straight);
      const double high = (t.at[c[k]].y - ground) / whole;
      sum += std::max(0.0, high - .15) + 3 * std::max(0.0, high - .4);
      if (t.at[c[i]].y < t.at[c[k]].y) sum += 3;
    } else {
      if (atEnd >= 2) sum -= .4;            // the fingers start at the hand
      if (after < .02 * whole) sum += .25;  // and a hand has a length
      // Nothing but a hand carries three chains.
      for (int s = 0; s < k; ++s) {
        const int chains = fork(t, c[s], s <= j);
        if (chains >= 3)
          sum += 1.2;
        else if (chains == 2 && s > j)
          sum += .15;
      }
    }
    // Fewer joints left over inside a limb are likelier; upper arm and thigh are divided no more often than the part below.
    const int inUpper = j - i - 1, inLower = k - j - 1;
    sum += .15 * (inUpper + inLower) + .45 * std::max(0, inUpper - inLower);
    // Of joints at one place the first is meant.
    if (k > 0 && distance(t.at[c[k]], t.at[c[k - 1]]) < .02 * whole) sum += .5;
    if (j > 0 && distance(t.at[c[j]], t.at[c[j - 1]]) < .02 * whole) sum += .5;
    if (i > 0 && distance(t.at[c[i]], t.at[c[i - 1]]) < .02 * whole) sum += .5;
    sum -= 1.3 * (named(t, c[i], parts[0]) + named(t, c[j], parts[1]) + named(t, c[k], parts[2]));
    // A collar bone's name in front of the limb, fingers or toes behind it.
    for (int s = 0; s < i; ++s) sum -= leg ? 0 : .4 * named(t, c[s], Part::shoulder);
    return sum;
  };
  for (int i = 0; i < n; ++i)
    for (int j = i + 1; j < n; ++j)
      for (int k = j + 1; k < n; ++k) {
        const double both = (cost(a, i, j, k) + cost(b, i, j, k)) / 2;
        // Upper joints of both sides stand apart; a hip helper in the middle does not.
        const double apart = distance(t.at[a[i]], t.at[b[i]]);
        const double whole = distance(t.at[a[i]], t.at[a[j]]) + distance(t.at[a[j]], t.at[a[k]]);
        double close = apart < .06 * whole ? 2 : 0;
        // Arms start at the shoulders, not near the middle; legs start with the first joint that is not in the middle.
        if (!leg) close += std::max(0.0, 1 - apart / (.3 * whole));
        if (leg && i > 0) close += .9 * std::min(1.0, distance(t.at[a[0]], t.at[b[0]]) / (.12 * whole));
        if (both + close < best.cost) best = {i, j, k, both + close};
      }
  return best;
}

struct Pair {
  int a = -1, b = -1;
  double likeness = 0;
};

std::vector<Pair> mirroredPairs(const BodyTree& t, const Measures& m) {
  std::vector<Pair> pairs;
  for (int p = 0; p < t.size(); ++p) {
    std::vector<int> c = t.bones[p];
    // Limbs are among the longest chains of a joint; this keeps figures with hundreds of strands quick.
    constexpr std::size_t most = 24;
    if (c.size() > most) {
      std::stable_sort(c.begin(), c.end(), [&](int x, int y) { return m.reach[x] > m.reach[y]; });
      c.resize(most);
    }
    for (std::size_t i = 0; i < c.size(); ++i)
      for (std::size_t k = i + 1; k < c.size(); ++k) {
        if (m.depth[c[i]] < 2 || m.depth[c[k]] < 2) continue;
        const double like =
            ratio(m.reach[c[i]], m.reach[c[k]]) * std::sqrt(ratio(m.count[c[i]], m.count[c[k]])) *
            std::sqrt(ratio(distance(t.at[p], t.at[c[i]]) + .1 * m.reach[c[i]], distance(t.at[p], t.at[c[k]]) + .1 * m.reach[c[k]]));
        if (like > .55) pairs.push_back({c[i], c[k], like});
      }
  }
  return pairs;
}

double nameVotes(const BodyTree& t, const std::vector<int>& chain, std::initializer_list<Part> wanted) {
  if (t.trust <= 0) return 0;
  double best = 0, worst = 0;
  for (const int j : chain) {
    const NameCue& cue = t.cues[j];
    if (cue.helper) {
      worst -= .3;
      continue;
    }
    if (!cue.known()) continue;
    bool fits = false;
    for (const Part p : wanted) fits = fits || cue.at(p) > 0;
    (fits ? best : worst) += fits ? .35 : -.35;
  }
  return t.trust * std::clamp(best + worst, -1.5, 1.5);
}

int commonAncestor(const BodyTree& t, int a, int b) {
  while (a != b) {
    if (a > b)
      a = t.parents[a];
    else
      b = t.parents[b];
    if (a < 0 || b < 0) return -1;
  }
  return a;
}

// Feet that hang elsewhere: a pair of joints outside the legs, below the knees, near where the shanks end.
void findDetachedFeet(const BodyTree& t, const Measures& m, BodyShape& body, double ground) {
  std::array<int, 2> best{-1, -1};
  double bestCost = 1.2;
  std::array<std::vector<std::pair<int, double>>, 2> found;
  for (int s = 0; s < 2; ++s) {
    const Limb& leg = body.legs[s];
    const int upper = leg.joint(leg.upper), lower = leg.joint(leg.lower);
    const double thigh = distance(t.at[upper], t.at[lower]);
    const bool hasTip = !t.tips[lower].empty();
    const Vec3d tip = hasTip ? tipOf(t, lower) : t.at[lower];
    for (int j = 0; j < t.size(); ++j) {
      if (!t.isBone[j] || t.under(leg.chain.front(), j) || t.under(j, lower)) continue;
      if (t.at[j].y > t.at[lower].y - .2 * thigh) continue;
      const double shank = distance(t.at[lower], t.at[j]);
      const double aside = length(horizontal(t.at[j] - t.at[lower])) / thigh;
      double cost = .5 * std::abs(std::log(shank / thigh)) + aside + std::abs(t.at[j].y - ground) / thigh - .5 * named(t, j, Part::foot);
      if (hasTip) cost = .5 * cost + distance(t.at[j], tip) / thigh;
      found[s].push_back({j, cost});
    }
  }
  for (const auto& [j, costJ] : found[0])
    for (const auto& [k, costK] : found[1]) {
      if (j == k) continue;
      // Each foot stands under its own leg, and both are alike.
      const double cost = (costJ + costK) / 2 + (t.parents[j] == t.parents[k] ? 0 : .4) + .5 * (1 - ratio(m.count[j], m.count[k]));
      if (cost < bestCost) bestCost = cost, best = {j, k};
    }
  if (best[0] >= 0)
    for (int s = 0; s < 2; ++s) body.legs[s].detachedFoot = best[s];
}

struct LegChoice {
  Pair pair;
  double score;
};
// Puts a body together on one pair of legs.
struct Assembly {
  const BodyTree& t;
  const Measures& m;
  const std::vector<Pair>& pairs;
  BodyShape body;
  Pair legs, arm;
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
    Triple pick = pickTriple(t, m, body.legs[0].chain, body.legs[1].chain, true, ground);
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
    for (const Pair& p : pairs) {
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
      Triple p = pickTriple(t, m, body.arms[0].chain, body.arms[1].chain, false, ground);
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

std::vector<LegChoice> rankLegs(const BodyTree& t, const Measures& m, const std::vector<Pair>& pairs) {
  std::vector<LegChoice> choices;
  for (const Pair& p : pairs) {
    const double low = std::max(m.lowest[p.a], m.lowest[p.b]);
    const double reach = std::min(m.reach[p.a], m.reach[p.b]);
    if (reach < 1e-6) continue;
    const double drop = (std::min(t.at[p.a].y, t.at[p.b].y) - low) / reach;
    if (drop < .35) continue;
    const double ground = m.lowest[t.parents[p.a]];
    // Tall in the figure and nothing below it.
    const double height = m.highest[t.parents[p.a]] - ground;
    const double share = height > 0 ? (std::min(t.at[p.a].y, t.at[p.b].y) - low) / height : 0;
    double score = p.likeness + drop + .8 * std::min(1.0, share / .35) - 2 * std::max(0.0, (low - ground) / reach - .1);
    score += .25 * std::min(3, m.depth[p.a]);
    const auto chain = chainFrom(t, m, p.a), other = chainFrom(t, m, p.b);
    const auto words = {Part::hips, Part::upperLeg, Part::lowerLeg, Part::foot, Part::toes};
    score += nameVotes(t, chain, words) + nameVotes(t, other, words);
    choices.push_back({p, score});
  }
  std::sort(choices.begin(), choices.end(), [](const LegChoice& x, const LegChoice& y) { return x.score > y.score; });
  if (choices.size() > 4) choices.resize(4);
  return choices;
}

}  // namespace

BodyShape findBody(const BodyTree& t) {
  const Measures m = measure(t);
  const std::vector<Pair> pairs = mirroredPairs(t, m);
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
