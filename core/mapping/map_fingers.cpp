#include <algorithm>
#include <array>

#include "core/mapping/mapper.h"

namespace understudy {
namespace {

// Chain of bones below a finger's first one.
std::vector<int> fingerChain(const BodyTree& t, int root) {
  std::vector<int> chain;
  for (int j = root; j >= 0 && chain.size() < 6;) {
    chain.push_back(j);
    j = t.bones[j].empty() ? -1 : t.bones[j].front();
  }
  return chain;
}

}  // namespace

void mapFingers(Mapper& m, int hand, int lower, bool left) {
  const BodyTree& t = m.t;
  const double fore = distance(t.at[lower], t.at[hand]);
  std::vector<std::vector<int>> chains;
  const auto addRoot = [&](int root) {
    if (t.trust > .5 && (t.cues[root].twist || t.cues[root].helper || t.cues[root].end)) return;
    chains.push_back(fingerChain(t, root));
  };
  for (const int c : t.bones[hand]) {
    // A second joint of the hand (palm) hands its fingers on.
    const bool onlyHand = t.trust > .5 ? t.cues[c].best() == Part::hand : t.bones[c].size() >= 3;
    if (onlyHand)
      for (const int d : t.bones[c]) addRoot(d);
    else
      addRoot(c);
  }
  for (const int c : t.bones[t.parents[hand]])
    if (c != hand && distance(t.at[c], t.at[lower]) > .6 * fore) {
      if (distance(t.at[c], t.at[hand]) < .03 * fore && !t.bones[c].empty() && !(t.trust > .5 && t.cues[c].at(Part::thumb) > 0))
        for (const int d : t.bones[c]) addRoot(d);
      else
        addRoot(c);
    }
  std::array<int, 5> which{-1, -1, -1, -1, -1};
  bool anyNamed = false;
  if (t.trust > .5) {
    int generic = -1, generics = 0;
    for (std::size_t i = 0; i < chains.size(); ++i) {
      int finger = -1;
      std::size_t first = 0;
      for (std::size_t s = 0; s < chains[i].size() && finger < 0; ++s)
        for (int f = 0; f < 5; ++f)
          if (t.cues[chains[i][s]].at(static_cast<Part>(static_cast<int>(Part::thumb) + f)) > .5) finger = f, first = s;
      if (finger >= 0) {
        if (which[finger] < 0) which[finger] = static_cast<int>(i);
        chains[i].erase(chains[i].begin(), chains[i].begin() + static_cast<long>(first));
        while (chains[i].size() > 1 && (t.cues[chains[i].back()].end)) chains[i].pop_back();
        anyNamed = true;
      } else if (t.cues[chains[i].front()].at(Part::finger) > 0) {
        generic = static_cast<int>(i), ++generics;
      }
    }
    if (generics == 1 && which[2] < 0) which[2] = generic, anyNamed = true;
  }
  if (!anyNamed && chains.size() >= 3 && chains.size() <= 5) {
    // By shape: the thumb starts nearest to the wrist, the others follow in order of distance from it.
    const Vec3d along = normalised(t.at[hand] - t.at[lower]);
    std::vector<std::pair<double, int>> order;
    int thumb = -1;
    double nearest = 1e9;
    for (std::size_t i = 0; i < chains.size(); ++i) {
      const double d = dot(t.at[chains[i].front()] - t.at[hand], along) + .5 * dot(t.at[chains[i].back()] - t.at[hand], along);
      if (d < nearest) nearest = d, thumb = static_cast<int>(i);
    }
    for (std::size_t i = 0; i < chains.size(); ++i)
      if (static_cast<int>(i) != thumb) {
        const std::size_t s = chains[i].size() > 1 ? 1 : 0;
        order.push_back({distance(t.at[chains[i][s]], t.at[chains[thumb].back()]), static_cast<int>(i)});
      }
    std::sort(order.begin(), order.end());
    which[0] = thumb;
    static constexpr std::array<std::array<int, 4>, 5> slots{{{1, 0, 0, 0}, {1, 0, 0, 0}, {2, 4, 0, 0}, {1, 2, 3, 0}, {1, 2, 3, 4}}};
    for (std::size_t i = 0; i < order.size(); ++i) which[slots[order.size()][i]] = order[i].second;
  }
  const int base = indexOf(left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal);
  for (int f = 0; f < 5; ++f) {
    if (which[f] < 0) continue;
    const std::vector<int>& c = chains[which[f]];
    std::size_t skip = 0;
    if (f > 0 && c.size() >= 2 && t.trust > .5 && (t.cues[c[0]].phalanx == 0 || (c.size() >= 4 && t.cues[c[0]].number == 0))) skip = 1;
    // A palm bone is longer than the bone after it, and no shorter than its own distance from the wrist.
    const double palm = c.size() >= 4 ? distance(t.at[c[0]], t.at[c[1]]) : 0;
    if (f > 0 && c.size() >= 4 && palm > 1.3 * distance(t.at[c[1]], t.at[c[2]]) && palm > .6 * distance(t.at[hand], t.at[c[0]])) skip = 1;
    for (std::size_t s = skip; s < c.size() && s - skip < 3; ++s)
      m.set(roleAt(base + 3 * f + static_cast<int>(s - skip)), {c[s]}, anyNamed ? .8 : .45, "on the hand");
  }
}
}  // namespace understudy
