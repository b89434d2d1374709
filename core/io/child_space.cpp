#include "core/io/child_space.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <limits>

namespace understudy {
namespace {

constexpr double smallestBody = 0.25, tallestBody = 6, likelyBody = 1.7;  // metres

struct Bounds {
  Vec3d low{1e300, 1e300, 1e300}, high{-1e300, -1e300, -1e300};
  void add(const Vec3d& p) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y), std::min(low.z, p.z)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y), std::max(high.z, p.z)};
  }
  [[nodiscard]] double size() const { return std::max({0.0, high.x - low.x, high.y - low.y, high.z - low.z}); }
};

/// The joint where the limbs part: going down along the larger branch until two branches are two joints deep or more.
int bodyRoot(const Skeleton& skeleton) {
  const int joints = skeleton.size();
  std::vector<int> depth(static_cast<std::size_t>(joints), 0), count(static_cast<std::size_t>(joints), 1),
      deep(static_cast<std::size_t>(joints), 0);
  const auto at = [](int j) { return static_cast<std::size_t>(j); };
  int best = -1;
  for (int j = joints - 1; j >= 0; --j) {
    const int parent = skeleton.parents[at(j)];
    if (parent >= 0) {
      depth[at(parent)] = std::max(depth[at(parent)], depth[at(j)] + 1);
      count[at(parent)] += count[at(j)];
      if (depth[at(j)] >= 1) ++deep[at(parent)];
    } else if (best < 0 || count[at(j)] > count[at(best)]) {
      best = j;
    }
  }
  if (best < 0) return -1;
  const auto children = childrenOf(skeleton);
  for (int j = best;;) {
    // Controls and targets hang beside the body with a joint or two; the limbs hold more.
    int limbs = 0, next = -1;
    for (int child : children[at(j)]) {
      if (depth[at(child)] >= 1 && count[at(child)] * 12 >= count[at(best)]) ++limbs;
      if (next < 0 || count[at(child)] > count[at(next)]) next = child;
    }
    if (limbs >= 2) return j;
    if (next < 0) return best;
    j = next;
  }
}

std::string spelt(double metres) {
  char text[32];
  std::snprintf(text, sizeof text, "%.3g", metres);
  return text;
}

}  // namespace

double bodySize(const Figure& figure) {
  Bounds bounds;
  bool skinned = false;
  const std::vector<Affined> bind = bindWorld(figure);
  for (const Mesh& mesh : figure.meshes) {
    if (mesh.skin < 0) continue;
    for (const Vec3f& p : skinnedPositions(figure, mesh, bind)) bounds.add(Vec3d(p)), skinned = true;
  }
  if (skinned) return bounds.size();
  const int root = bodyRoot(figure.skeleton);
  if (root < 0) return 0;
  const std::vector<Affined> rest = restWorld(figure.skeleton);
  for (int j = 0; j < figure.skeleton.size(); ++j)
    if (j == root || isAncestor(figure.skeleton, root, j)) bounds.add(rest[static_cast<std::size_t>(j)].translation);
  return bounds.size();
}

Status settleSpace(Figure& figure, const ReadSettings& settings) {
  Space& space = figure.space;
  if (!settings.up.empty()) {
    std::string up = settings.up;
    if (up.starts_with("\xE2\x88\x92")) up = "-" + up.substr(3);  // U+2212, the minus sign
    const std::size_t axis = up.size() == 2 ? std::string("XYZ").find(up[1]) : std::string::npos;
    if (axis == std::string::npos || (up[0] != '+' && up[0] != '-'))
      return makeError(Fault::usage, "'" + settings.up + "' is no axis", {}, "Use one of +X -X +Y -Y +Z -Z");
    Vec3d direction{};
    direction[static_cast<int>(axis)] = up[0] == '+' ? 1 : -1;
    // Keep the stated facing where it agrees.
    if (distance(rotate(space.worldFromFile, direction), Vec3d{0, 1, 0}) > 1e-6)
      space.worldFromFile = rotationBetween(direction, Vec3d{0, 1, 0});
    space.upName = up;
    space.upStated = true;
  }
  if (settings.metresPerUnit > 0) {
    space.metresPerUnit = settings.metresPerUnit;
    space.unitName = spelt(settings.metresPerUnit) + " m";
    space.unitStated = true;
    return Done{};
  }
  if (!settings.body) return Done{};
  const double size = bodySize(figure), stated = size * space.metresPerUnit;
  if (!(size > 0) || (stated >= smallestBody && stated <= tallestBody)) return Done{};

  // What may have gone wrong on the way: a power of ten (mm, cm, dm, m taken for one another), or inches, feet or the
  // unit of 1/0.45 inch of one large family of captures, written as if they were metres or centimetres.
  struct Unit {
    double metres;
    const char* name;
    double odds;  // how much less likely than a power of ten, as a distance in log size
  };
  constexpr std::array<Unit, 4> units{{{1, "", 0}, {0.0254, "inches", 0.35}, {0.3048, "feet", 0.5}, {0.0254 / 0.45, "5.644 cm", 0.25}}};
  double best = std::numeric_limits<double>::infinity(), chosen = space.metresPerUnit;
  std::string name;
  for (const Unit& unit : units)
    for (int power = -7; power <= 7; ++power) {
      if (unit.metres != 1 && power != 0 && power != 2) continue;
      const double factor = unit.metres * std::pow(10.0, power), metres = stated * factor;
      if (metres < smallestBody || metres > tallestBody) continue;
      const double distanceFromLikely = std::abs(std::log(metres / likelyBody)) + unit.odds;
      if (distanceFromLikely < best) best = distanceFromLikely, chosen = space.metresPerUnit * factor, name = unit.name;
    }
  if (!std::isfinite(best)) {
    figure.issues.push_back(
        makeWarning("The body measures " + spelt(stated) + " m in the file's unit, and no usual unit makes it a body's size", {},
                    "Give the unit yourself"));
    return Done{};
  }
  figure.issues.push_back(makeNote("By the unit the file states the body would measure " + spelt(stated) + " m; it is taken as " +
                                       spelt(size * chosen) + " m" + (name.empty() ? "" : " (numbers in " + name + ")"),
                                   {}, "Give the unit yourself if that is wrong"));
  space.metresPerUnit = chosen;
  space.unitName = spelt(chosen) + " m";
  space.unitStated = false;
  return Done{};
}

}  // namespace understudy
