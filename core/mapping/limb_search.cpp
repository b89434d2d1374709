#include "core/mapping/limb_search.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

double ratio(double a, double b) {
  return std::max(a, b) < 1e-9 ? 1 : std::min(a, b) / std::max(a, b);
}

}  // namespace

Vec3d horizontal(const Vec3d& v) {
  return {v.x, 0, v.z};
}

TreeMeasures measureTree(const BodyTree& t) {
  const int n = t.size();
  TreeMeasures m{std::vector<double>(n, 0), std::vector<double>(n), std::vector<double>(n), std::vector<int>(n, 0), std::vector<int>(n, 0)};
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

std::vector<int> chainFrom(const BodyTree& t, const TreeMeasures& m, int root) {
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

LimbPlaces pickTriple(const BodyTree& t, const TreeMeasures& m, const std::vector<int>& a, const std::vector<int>& b, bool leg, double ground) {
  LimbPlaces best;
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

std::vector<ChainPair> mirroredPairs(const BodyTree& t, const TreeMeasures& m) {
  std::vector<ChainPair> pairs;
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

void findDetachedFeet(const BodyTree& t, const TreeMeasures& m, BodyShape& body, double ground) {
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

std::vector<LegChoice> rankLegs(const BodyTree& t, const TreeMeasures& m, const std::vector<ChainPair>& pairs) {
  std::vector<LegChoice> choices;
  for (const ChainPair& p : pairs) {
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

}  // namespace understudy
