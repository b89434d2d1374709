#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/io/read.h"

namespace understudy {
namespace {

struct Axis {
  const char* name;
  Vec3d up;
};
constexpr std::array<Axis, 6> kAxes{{{"+Y", {0, 1, 0}}, {"+Z", {0, 0, 1}}, {"-Y", {0, -1, 0}}, {"-Z", {0, 0, -1}}, {"+X", {1, 0, 0}}, {"-X", {-1, 0, 0}}}};

/// The quarter or half turn that puts `axis` on +Y.
Quatd uprightTurn(std::size_t axis) {
  constexpr double h = std::numbers::sqrt2 / 2;
  constexpr std::array<Quatd, 6> turns{{{1, 0, 0, 0}, {h, -h, 0, 0}, {0, 1, 0, 0}, {h, h, 0, 0}, {h, 0, 0, h}, {h, 0, 0, -h}}};
  return turns[axis];
}

/// Index into kAxes of "+Z", "z", "−Z"; −1 for anything else.
int axisNamed(std::string text) {
  bool negative = false;
  if (text.starts_with("+")) {
    text.erase(0, 1);
  } else if (text.starts_with("-")) {
    negative = true;
    text.erase(0, 1);
  } else if (text.starts_with("\xE2\x88\x92")) {
    negative = true;
    text.erase(0, 3);
  }
  if (text.size() != 1) return -1;
  const char letter = text.front() >= 'a' ? static_cast<char>(text.front() - 32) : text.front();
  for (std::size_t a = 0; a < kAxes.size(); ++a)
    if (kAxes[a].name[1] == letter && (kAxes[a].name[0] == '-') == negative) return static_cast<int>(a);
  return -1;
}

double percentile(std::vector<double> values, double fraction) {
  if (values.empty()) return 0;
  const auto at = static_cast<std::ptrdiff_t>(fraction * static_cast<double>(values.size() - 1) + 0.5);
  std::nth_element(values.begin(), values.begin() + at, values.end());
  return values[static_cast<std::size_t>(at)];
}

/// What is measured of the figure: joint positions in pairs of successive frames spread over the clip.
struct Poses {
  std::vector<std::vector<Vec3d>> now, next;
  std::vector<Vec3d> rest;
  bool moving = false;
};

std::vector<Vec3d> positionsAt(const Skeleton& skeleton, const Motion* motion, int frame) {
  const std::size_t count = skeleton.parents.size();
  std::vector<Vec3d> points(count), own(count);
  std::vector<Quatd> turns(count);
  for (std::size_t j = 0; j < count; ++j) own[j] = skeleton.rest[j].translation;
  if (motion) {
    const auto moved = motion->translationsAt(frame);
    for (std::size_t k = 0; k < moved.size(); ++k) own[static_cast<std::size_t>(motion->movedJoints[k])] = Vec3d(moved[k]);
  }
  for (std::size_t j = 0; j < count; ++j) {
    const Quatd turn = motion ? Quatd(motion->rotationsAt(frame)[j]) : skeleton.rest[j].rotation;
    const int parent = skeleton.parents[j];
    if (parent < 0) {
      points[j] = own[j];
      turns[j] = turn;
    } else {
      const auto p = static_cast<std::size_t>(parent);
      points[j] = points[p] + rotate(turns[p], own[j]);
      turns[j] = turns[p] * turn;
    }
  }
  return points;
}

Poses posesOf(const Figure& figure) {
  Poses poses;
  poses.rest = positionsAt(figure.skeleton, nullptr, 0);
  const Motion* motion = figure.clips.empty() ? nullptr : figure.clips.front().sampled.get();
  if (!motion || motion->frames < 1 || motion->joints != figure.skeleton.size()) return poses;
  const int most = figure.skeleton.size() > 1000 ? 8 : 64;
  const int pairs = std::min(most, std::max(1, motion->frames - 1));
  for (int i = 0; i < pairs; ++i) {
    const int frame = static_cast<int>(static_cast<std::int64_t>(motion->frames - 1) * i / pairs);
    poses.now.push_back(positionsAt(figure.skeleton, motion, frame));
    poses.next.push_back(positionsAt(figure.skeleton, motion, std::min(frame + 1, motion->frames - 1)));
  }
  poses.moving = motion->frames > 2;
  return poses;
}

Vec3d centre(const std::vector<Vec3d>& points, const std::vector<double>& weights) {
  Vec3d sum;
  double total = 0;
  for (std::size_t j = 0; j < points.size(); ++j) sum += points[j] * weights[j], total += weights[j];
  return total > 0 ? sum / total : sum;
}

/// Weights of joints as pieces of body: half of each bone's length goes to either end.
std::vector<double> boneWeights(const Skeleton& skeleton, const std::vector<Vec3d>& points) {
  std::vector<double> weights(points.size(), 0);
  for (std::size_t j = 0; j < points.size(); ++j) {
    const int parent = skeleton.parents[j];
    if (parent < 0) continue;
    const double bone = distance(points[j], points[static_cast<std::size_t>(parent)]);
    weights[j] += bone / 2;
    weights[static_cast<std::size_t>(parent)] += bone / 2;
  }
  return weights;
}

/// Limbs in pairs: two unbranched chains from one joint (or from joints at the same place in the tree) with lengths
/// that agree. Found without names.
struct LimbPair {
  int left = -1, right = -1;  ///< their last joints
  int fork = -1;              ///< the joint where their paths to the root meet
  double length = 0;          ///< path from the fork to an end
};

std::vector<LimbPair> limbPairs(const Skeleton& skeleton, const std::vector<Vec3d>& rest) {
  std::vector<LimbPair> pairs;
  const int count = skeleton.size();
  if (count > 2000) return pairs;
  const auto children = childrenOf(skeleton);
  const auto bone = [&](int j) {
    const int p = skeleton.parents[static_cast<std::size_t>(j)];
    return p < 0 ? 0.0 : distance(rest[static_cast<std::size_t>(j)], rest[static_cast<std::size_t>(p)]);
  };
  // Longest way down from every joint, and the end it leads to.
  std::vector<double> reach(static_cast<std::size_t>(count), 0);
  std::vector<int> end(static_cast<std::size_t>(count));
  for (int j = count - 1; j >= 0; --j) {
    end[static_cast<std::size_t>(j)] = j;
    for (int c : children[static_cast<std::size_t>(j)]) {
      const double below = reach[static_cast<std::size_t>(c)] + bone(c);
      if (below > reach[static_cast<std::size_t>(j)]) reach[static_cast<std::size_t>(j)] = below, end[static_cast<std::size_t>(j)] = end[static_cast<std::size_t>(c)];
    }
  }
  double longest = 0;
  for (double r : reach) longest = std::max(longest, r);
  for (int j = 0; j < count; ++j) {
    const auto& kids = children[static_cast<std::size_t>(j)];
    for (std::size_t a = 0; a < kids.size(); ++a) {
      for (std::size_t b = a + 1; b < kids.size(); ++b) {
        const double la = reach[static_cast<std::size_t>(kids[a])] + bone(kids[a]), lb = reach[static_cast<std::size_t>(kids[b])] + bone(kids[b]);
        if (std::min(la, lb) < 0.25 * longest || std::abs(la - lb) > 0.05 * std::max(la, lb)) continue;
        pairs.push_back({end[static_cast<std::size_t>(kids[a])], end[static_cast<std::size_t>(kids[b])], j, std::max(la, lb)});
      }
    }
  }
  return pairs;
}

bool contains(const std::string& text, std::initializer_list<const char*> words) {
  for (const char* word : words)
    if (text.find(word) != std::string::npos) return true;
  return false;
}

/// Joints whose names speak of feet (−1), of head and chest (+1), or of neither (0). Names may lie, so that they are
/// one voice among several.
std::vector<int> namedSides(const Skeleton& skeleton) {
  std::vector<int> sides(skeleton.names.size(), 0);
  for (std::size_t j = 0; j < sides.size(); ++j) {
    std::string name = skeleton.names[j];
    for (char& c : name) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
    if (contains(name, {"foot", "feet", "toe", "ankle", "heel"})) sides[j] = -1;
    else if (contains(name, {"head", "neck", "chest", "thorax", "clav", "collar", "shoulder", "skull"})) sides[j] = 1;
  }
  return sides;
}

/// From the named feet to the named head and chest, zero without both.
Vec3d namedUp(const std::vector<int>& sides, const std::vector<Vec3d>& points) {
  Vec3d low, high;
  int lows = 0, highs = 0;
  for (std::size_t j = 0; j < points.size(); ++j) {
    if (sides[j] < 0) low += points[j], ++lows;
    if (sides[j] > 0) high += points[j], ++highs;
  }
  if (!lows || !highs) return {};
  return normalised(high / static_cast<double>(highs) - low / static_cast<double>(lows));
}

struct Evidence {
  std::array<double, 6> score{};
  void add(const Vec3d& direction, double weight) {
    for (std::size_t a = 0; a < kAxes.size(); ++a) score[a] += weight * dot(direction, kAxes[a].up);
  }
};

/// Sum of all bone lengths: a size no pose changes.
double totalBoneLength(const Skeleton& skeleton, const std::vector<Vec3d>& rest) {
  double sum = 0;
  for (std::size_t j = 0; j < rest.size(); ++j)
    if (skeleton.parents[j] >= 0) sum += distance(rest[j], rest[static_cast<std::size_t>(skeleton.parents[j])]);
  return sum;
}

}  // namespace

void detectSpace(Figure& figure, const ReadSettings& settings) {
  Space& space = figure.space;
  space = {};
  const Skeleton& skeleton = figure.skeleton;
  const Poses poses = posesOf(figure);
  const double bones = totalBoneLength(skeleton, poses.rest);
  const std::vector<double> mass = boneWeights(skeleton, poses.rest);
  const std::vector<LimbPair> limbs = limbPairs(skeleton, poses.rest);
  const std::vector<int> sides = namedSides(skeleton);
  const std::size_t frames = poses.now.size();

  // --- which way is up ---
  Evidence evidence;
  double legLength = 0;
  evidence.score[0] += 0.15;  // most files put Y up; this decides nothing but ties
  evidence.score[1] += 0.08;
  if (bones > 0) {
    evidence.add(namedUp(sides, poses.rest), 0.35);
    Vec3d named, supported;
    for (std::size_t f = 0; f < frames; ++f) {
      const std::vector<Vec3d>& points = poses.now[f];
      named += namedUp(sides, points) / static_cast<double>(frames);
      if (!poses.moving) continue;
      // The slowest parts of a body carry it; its weight is above them.
      std::vector<double> steady(points.size());
      for (std::size_t j = 0; j < points.size(); ++j) {
        const double step = distance(points[j], poses.next[f][j]) / bones;
        steady[j] = mass[j] / (step * step + 1e-9);
      }
      supported += normalised(centre(points, mass) - centre(points, steady)) / static_cast<double>(frames);
    }
    evidence.add(named, 0.6);
    evidence.add(supported, 0.8);
    // Legs leave the fork they share on the side away from the rest of the body, and on average hang below it.
    // Of several pairs of limbs, the one whose ends come to rest again and again are the legs.
    double slowest = std::numeric_limits<double>::infinity();
    const LimbPair* legs = nullptr;
    for (const LimbPair& pair : limbs) {
      std::vector<double> steps;
      for (std::size_t f = 0; f < frames; ++f)
        for (int e : {pair.left, pair.right}) steps.push_back(distance(poses.now[f][static_cast<std::size_t>(e)], poses.next[f][static_cast<std::size_t>(e)]));
      const double pace = poses.moving ? percentile(steps, 0.3) : 0;
      if (pace < slowest) slowest = pace, legs = &pair;
    }
    if (legs && poses.moving) {
      legLength = legs->length;
      Vec3d hanging;
      for (std::size_t f = 0; f < frames; ++f) {
        const std::vector<Vec3d>& points = poses.now[f];
        const Vec3d ends = (points[static_cast<std::size_t>(legs->left)] + points[static_cast<std::size_t>(legs->right)]) / 2.0;
        hanging += normalised(points[static_cast<std::size_t>(legs->fork)] - ends) / static_cast<double>(frames);
      }
      evidence.add(hanging, 0.8);
    }
    if (!poses.moving) {
      // Without motion only the pose speaks: legs hang to one side of their fork, arms held out to both.
      Vec3d furthest;
      for (const LimbPair& pair : limbs) {
        const std::vector<Vec3d>& points = frames ? poses.now.front() : poses.rest;
        const Vec3d ends = (points[static_cast<std::size_t>(pair.left)] + points[static_cast<std::size_t>(pair.right)]) / 2.0;
        const Vec3d hanging = (points[static_cast<std::size_t>(pair.fork)] - ends) / pair.length;
        if (length(hanging) > length(furthest)) furthest = hanging;
      }
      evidence.add(furthest, 0.5);
    }
    // Along the true up the lowest point of the body stays on the floor, however far the body travels.
    if (poses.moving) {
      for (std::size_t a = 0; a < kAxes.size(); ++a) {
        std::vector<double> lowest;
        for (const auto& points : poses.now) {
          double low = std::numeric_limits<double>::infinity();
          for (const Vec3d& p : points) low = std::min(low, dot(p, kAxes[a].up));
          lowest.push_back(low);
        }
        const double spread = (percentile(lowest, 0.85) - percentile(lowest, 0.15)) / bones;
        evidence.score[a] += 0.8 * std::exp(-spread / 0.006);
      }
    }
  }
  std::size_t best = 0;
  for (std::size_t a = 1; a < kAxes.size(); ++a)
    if (evidence.score[a] > evidence.score[best]) best = a;
  double second = -std::numeric_limits<double>::infinity();
  for (std::size_t a = 0; a < kAxes.size(); ++a)
    if (a != best) second = std::max(second, evidence.score[a]);
  space.upStated = false;
  if (!settings.up.empty()) {
    const int axis = axisNamed(settings.up);
    if (axis >= 0) {
      best = static_cast<std::size_t>(axis);
      space.upStated = true;
    } else {
      figure.issues.push_back(makeWarning("'" + settings.up + "' is no axis", figure.path, "Use +X, -X, +Y, -Y, +Z or -Z; the detected axis is taken"));
    }
  }
  space.upName = kAxes[best].name;
  space.worldFromFile = uprightTurn(best);
  if (!space.upStated && evidence.score[best] - second < 0.3)
    figure.issues.push_back(makeWarning("It is not certain which way is up; " + space.upName + " is taken", figure.path, "Set the up axis if the figure lies or stands on its head"));

  // --- how long is a unit ---
  const Vec3d up = kAxes[best].up;
  const auto extent = [&](const std::vector<Vec3d>& points) {
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const Vec3d& p : points) low = std::min(low, dot(p, up)), high = std::max(high, dot(p, up));
    return points.empty() ? 0.0 : high - low;
  };
  std::vector<double> heights;
  for (const auto& points : poses.now) heights.push_back(extent(points));
  double stature = std::max(percentile(heights, 0.5), extent(poses.rest));
  if (!(stature > 0)) stature = bones;
  // A whole body is some 1.4 times as tall as its leg from hip to toe is long; of legs alone the body is inferred.
  if (legLength > 0 && stature < 1.25 * legLength) stature = legLength / 0.65;
  struct Unit {
    const char* name;
    double metres;
    double rarity;
  };
  // 5.644 cm is an inch divided by 0.45, the unit of a well-known public capture library.
  constexpr std::array<Unit, 7> units{{{"cm", 0.01, 0}, {"m", 1, 0}, {"in", 0.0254, 0.1}, {"mm", 0.001, 0.1}, {"5.644 cm", 0.0254 / 0.45, 0.15}, {"ft", 0.3048, 0.35}, {"dm", 0.1, 0.35}}};
  const auto cost = [&](const Unit& unit) {
    const double metres = stature * unit.metres;
    // Performers are adults more often than children, and hardly ever giants.
    return unit.rarity + (metres < 1.4 ? std::log(1.4 / metres) : metres > 2.1 ? 4 * std::log(metres / 2.1) : 0.0);
  };
  space.unitStated = false;
  if (settings.metresPerUnit > 0) {
    space.metresPerUnit = settings.metresPerUnit;
    space.unitStated = true;
    space.unitName.clear();
    for (const Unit& unit : units)
      if (std::abs(unit.metres - settings.metresPerUnit) < 1e-3 * unit.metres) space.unitName = unit.name;
    if (space.unitName.empty()) space.unitName = std::to_string(settings.metresPerUnit) + " m";
  } else if (!(stature > 0)) {
    space.metresPerUnit = 0.01;
    space.unitName = "cm";
    figure.issues.push_back(makeWarning("The figure has no size; centimetres are assumed", figure.path, "Set the unit"));
  } else {
    const Unit* chosen = &units.front();
    for (const Unit& unit : units)
      if (cost(unit) < cost(*chosen)) chosen = &unit;
    space.metresPerUnit = chosen->metres;
    space.unitName = chosen->name;
    if (cost(*chosen) > 0.9) {
      space.metresPerUnit = 1.7 / stature;
      space.unitName = std::to_string(space.metresPerUnit) + " m";
      figure.issues.push_back(makeWarning("No customary unit makes this body as tall as a person; it is taken to be 1.7 m tall", figure.path, "Set the unit if its size matters"));
    }
  }

  // --- a first frame that does not belong ---
  const Motion* motion = figure.clips.empty() ? nullptr : figure.clips.front().sampled.get();
  if (motion && frames > 3 && bones > 0 && motion->frames > 8) {
    std::vector<double> steps;
    const auto step = [&](std::size_t f) {
      double sum = 0;
      for (std::size_t j = 0; j < mass.size(); ++j) sum += mass[j] * distance(poses.now[f][j], poses.next[f][j]);
      return sum / bones;
    };
    for (std::size_t f = 1; f < frames; ++f) steps.push_back(step(f));
    const double usual = percentile(steps, 0.5), first = step(0);
    if (first > 5 * usual && first > 0.02 * stature)
      figure.issues.push_back(makeNote("The first frame does not belong to the motion: the step from it is far larger than the usual one", figure.path + ", frame 1",
                                       "Start at frame 2, or use frame 1 as the reference pose"));
  }
}

}  // namespace understudy
