// Feet on their way from stay to stay are kept off the ground.
#include <algorithm>
#include <cmath>

#include "core/repair/plant_ease.h"
#include "core/repair/plant_run.h"

namespace understudy {
namespace {

constexpr double levelTime = 0.2;    // seconds from a stay in which a foot on its way is levelled to keep off the ground
constexpr double clearTime = 0.2;     // and raised
constexpr double levelArm = 0.25;     // part of the foot's length by which a turn surely raises what is lowest of it

}  // namespace

// Between stays the sole must not be pushed deeper than the ground, near them not even where it was: the foot is levelled as far
// as that helps, then raised.
void PlantRun::clear(int side) {
  const PlantLeg& foot = leg(side);
  const auto onItsWay = [&](int f) { return goal(side, f).active && goal(side, f).stay < 0; };
  const auto lowest = [&](const GroundPlane& plane, const FootPose& pose) { return plane.above(pose.at) + foot.lowest(pose, plane.normal).height; };
  const auto floorAt = [&](int f, const GroundPlane& plane) { return (1 - goal(side, f).share) * std::min(0.0, lowest(plane, own(side, f).foot)); };
  const FrameSpan here = common(frames_, clip_);
  std::vector<GroundPlane> grounds(static_cast<std::size_t>(swings_.count()));
  for (int f = swings_.first; f <= swings_.last; ++f)
    if (onItsWay(f)) grounds[static_cast<std::size_t>(f - swings_.first)] = groundAt(side, f);
  const auto ground = [&](int f) -> const GroundPlane& { return grounds[static_cast<std::size_t>(f - swings_.first)]; };
  Strip level(swings_);  // parts of the way to level
  bool any = false;
  for (int f = swings_.first; f <= swings_.last; ++f) {
    if (!onItsWay(f)) continue;
    const FootPose& pose = goal(side, f).pose;
    const GroundPlane& plane = ground(f);
    const double floor = floorAt(f, plane), low = lowest(plane, pose), flat = lowest(plane, levelled(foot, plane, pose, 1));
    if (low >= floor) continue;
    any = true;
    if (flat <= low) continue;
    double least = 0, most = 1;
    for (int step = 0; flat > floor && step < 12; ++step) {
      const double middle = (least + most) / 2;
      (lowest(plane, levelled(foot, plane, pose, middle)) > floor ? most : least) = middle;
    }
    // No further than what lacks could be had by.
    const double turn = angleBetween(pose.foot, levelled(foot, plane, pose, 1).foot);
    level[f] = std::min(most, (floor - low) / std::max(levelArm * foot.footLength() * turn, 1e-9));
  }
  if (!any) return;
  const Strip levels = covering(level, swings_, plan_.kernel);
  Strip rise(swings_);  // metres
  const auto turned = [&](int f, double part) { return levelled(foot, ground(f), goal(side, f).pose, levels.at(f) * part); };
  for (int f = swings_.first; f <= swings_.last; ++f) {
    if (!onItsWay(f)) continue;
    const GroundPlane& plane = ground(f);
    if (const double low = lowest(plane, goal(side, f).pose); low < floorAt(f, plane)) rise[f] = std::max(0.0, floorAt(f, plane) - lowest(plane, turned(f, 1)));
  }
  // Less and less towards where the foot lands and leaves, where it is as the stay says.
  const auto far = [&](int f, double time) {
    const Stay& s = stay(nearest(side, f));
    return 1 - fade(std::max(s.span.first - f, f - s.span.last) / (time * plan_.context.rate.hertz()));
  };
  const Strip rises = closelyCovering(rise, here, plan_.reach);
  for (int f = here.first; f <= here.last; ++f) {
    if (!onItsWay(f) || (rises.at(f) <= 0 && levels.at(f) <= 0)) continue;
    FootGoal& g = goal(side, f);
    g.pose = turned(f, far(f, levelTime));
    g.pose.at += ground(f).normal * (rises.at(f) * far(f, clearTime));
    g.cleared = true;
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
  const double time = std::min(clearTime * plan_.context.rate.hertz(), static_cast<double>(b.span.first - a.span.last));
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
