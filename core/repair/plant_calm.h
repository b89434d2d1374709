// A pelvis that stumbles while a foot stands. Internal to plants.
#pragma once

#include <array>
#include <vector>

#include "core/repair/plant_pelvis.h"

namespace understudy {

/// Where the pelvis is in a frame: what it turns about, how it is turned, both hips, and how thighs and trunk are turned, world.
struct PelvisPose {
  Vec3d pivot;
  Quatd turn;
  std::array<Vec3d, 2> hips;
  std::array<Quatd, 2> thighs;
  Quatd trunk;
};

/// How the pelvis is to move, and thighs and trunk to turn (world rotation vectors) for what in them stumbles with it: often they jerk
/// against it, and are hardly turned.
struct Calms {
  PelvisMove pelvis;
  std::array<Vec3d, 2> thighs;
  Vec3d trunk;
};

/// Frames on either side of one that say how it is to be calmed.
[[nodiscard]] int calmReach(double rate);

/// How the pelvis is to move, a value a frame, so that its way no longer stumbles: a frame in which the hips are accelerated many
/// times more than usual around it is taken, with those beside it, to the mean of the frames around. A foot that stands would turn
/// each such jerk of the capture into one of its knee. So are thighs of legs that stand, whose jerks would be turned into some of the
/// ankle. `firm`: how firmly each foot stands in each frame, 0 … 1. `leg`: metres.
[[nodiscard]] std::vector<Calms> calmed(const std::vector<PelvisPose>& way, const std::array<std::vector<double>, 2>& firm, double rate, double leg);

/// Frames on either side of one that say how its toes are to be calmed.
[[nodiscard]] int toesReach(double rate);

/// The toes of each frame, in the foot's frame, as they bend evenly: captures see little of toes, which lie still as soon as the foot stands.
[[nodiscard]] std::vector<Quatd> calmedToes(const std::vector<LegFrame>& legs, double rate);

/// Frames on either side of one that say how its knee's twist is to be calmed.
[[nodiscard]] int twistReach(double rate);

/// By how much each frame's shank is to turn about its own length, radians, so that the knee twists evenly: a knee hardly twists, what jerks
/// there is the capture's, and a foot that stands would have to jerk back against it.
[[nodiscard]] std::vector<double> calmedTwists(const std::vector<LegFrame>& legs, double rate);

}  // namespace understudy
