// Feet on their way from stay to stay are kept off the ground.
#include <algorithm>
#include <cmath>

#include "core/math/least_bent.h"
#include "core/repair/plant_ease.h"
#include "core/repair/plant_run.h"

namespace understudy {
namespace {

constexpr double byAnkle = 0.9;       // part of what keeps a foot off the ground that its ankle does
constexpr double unseen = 0.002;      // metres of a character 1.7 m tall: so deep a foot on its way is left
constexpr double pitchFading = 0.045, riseFading = 0.06;  // seconds over which either goes once nothing asks for it
constexpr double fewestFrames = 2;    // frames that a pitch fades over at least: in fewer it is gone at a stroke
constexpr double stepTime = 0.2;     // seconds from a stay in which its higher ground counts too

}  // namespace

double PlantRun::lowest(int side, const GroundPlane& ground, const FootPose& pose) const {
  return ground.above(pose.at) + leg(side).lowest(pose, ground.normal).height;
}

// A foot on its way is kept off the ground: pitched towards level for a part of what that takes, as far as it helps, and raised for the rest,
// both as gently as the way allows: what was pitched one way is not pitched the other way at a stroke as the foot passes level.
void PlantRun::clear(int side) {
  const PlantLeg& foot = leg(side);
  const double ignored = plan_.context.scaled(unseen);
  const double rate = plan_.context.rate.hertz(), pitchPull = pullOf(std::max(fewestFrames, pitchFading * rate)), risePull = pullOf(riseFading * rate);
  const auto onItsWay = [&](int f) { return swings_.holds(f) && goal(side, f).active && goal(side, f).stay < 0; };
  for (int first = swings_.first, next; first <= swings_.last; first = next + 1) {
    std::vector<GroundPlane> grounds;
    std::vector<double> deep;        // metres
    double inGround = 0;             // metres
    const auto comesBack = [&](int f) {
      if (clip_.holds(f) && !goal(side, f).active) inGround = std::max(inGround, -lowest(side, groundAt(side, f), own(side, f).foot));
    };
    const auto pitched = [&](std::size_t k, double by) { return foot.pitched(goal(side, first + static_cast<int>(k)).pose, by); };
    const auto sinks = [&](std::size_t k, const FootPose& pose) {
      return std::max(0.0, -lowest(side, grounds[k], pose) - ignored - (1 - goal(side, first + static_cast<int>(k)).share) * inGround);
    };
    for (next = first; onItsWay(next); ++next) grounds.push_back(groundAt(side, next));
    if (grounds.empty()) continue;
    comesBack(first - 1);
    comesBack(next);
    for (std::size_t k = 0; k < grounds.size(); ++k) deep.push_back(sinks(k, goal(side, first + static_cast<int>(k)).pose));
    if (std::all_of(deep.begin(), deep.end(), [](double d) { return d <= 0; })) continue;
    const SequenceEnds ends{first == clip_.first, next > clip_.last};
    std::vector<double> toesUp(deep.size(), 0.0), heelUp(deep.size(), 0.0), lacks;  // radians; metres
    for (std::size_t k = 0; k < deep.size(); ++k) {
      const double level = -foot.pitchOf(goal(side, first + static_cast<int>(k)).pose.foot, grounds[k].normal);
      const double flat = deep[k] > 0 ? sinks(k, pitched(k, level)) : 1e300, wanted = (1 - byAnkle) * deep[k];
      if (flat >= deep[k]) continue;
      double least = 0, most = 1;
      for (int step = 0; flat <= wanted && step < 12; ++step) {
        const double middle = (least + most) / 2;
        (sinks(k, pitched(k, middle * level)) < wanted ? most : least) = middle;
      }
      (level > 0 ? toesUp : heelUp)[k] = most * std::abs(level);
    }
    toesUp = leastBentAbove(toesUp, pitchPull, ends);
    heelUp = leastBentAbove(heelUp, pitchPull, ends);
    std::vector<FootPose> poses;
    for (std::size_t k = 0; k < deep.size(); ++k) {
      poses.push_back(pitched(k, toesUp[k] - heelUp[k]));
      lacks.push_back(sinks(k, poses[k]));
    }
    const std::vector<double> rises = leastBentAbove(lacks, risePull, ends);
    for (std::size_t k = 0; k < deep.size(); ++k) {
      if (toesUp[k] <= 0 && heelUp[k] <= 0 && rises[k] <= 0) continue;
      FootGoal& g = goal(side, first + static_cast<int>(k));
      g.pose = poses[k];
      g.pose.at += grounds[k].normal * rises[k];
      g.cleared = true;
    }
  }
}

// What a foot on its way is to keep off: between grounds of two heights the lower one, but near where it stands on the higher.
GroundPlane PlantRun::groundAt(int side, int frame) const {
  const auto [before, after] = beside(side, frame);
  const GroundPlane& near = stay(nearest(side, frame)).plane;
  if (before < 0 || after < 0) return near;
  const Stay &a = stay(before), &b = stay(after);
  const Vec3d at = own(side, frame).foot.at;
  const auto heightOf = [&](const GroundPlane& plane) { return at.y - plane.above(at) / plane.normal.y; };
  const double left = heightOf(a.plane), lands = heightOf(b.plane);
  if (left == lands && a.plane.normal == b.plane.normal) return near;
  const double time = std::min(stepTime * plan_.context.rate.hertz(), static_cast<double>(b.span.first - a.span.last));
  const double away = left > lands ? frame - a.span.last : b.span.first - frame, high = fade(away / time), first = left > lands ? high : 1 - high;
  return groundPlane({at.x, lands + (left - lands) * first, at.z}, a.plane.normal * first + b.plane.normal * (1 - first));
}

// The stays of a foot before and after a frame; -1 for none.
std::array<int, 2> PlantRun::beside(int side, int frame) const {
  std::array<int, 2> out{-1, -1};
  for (const int i : plan_.order[static_cast<std::size_t>(side)]) {
    if (stay(i).span.first <= frame) out[0] = i;
    else if (out[1] < 0) out[1] = i;
  }
  return out;
}

int PlantRun::nearest(int side, int frame) const {
  int best = -1, away = 1 << 30;
  for (const int i : plan_.order[static_cast<std::size_t>(side)])
    if (const int a = std::max(stay(i).span.first - frame, frame - stay(i).span.last); a < away) away = a, best = i;
  return best;
}

}  // namespace understudy
