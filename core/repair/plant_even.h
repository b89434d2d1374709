// How a foot rolls so that its leg's joints are accelerated least. Internal to plants.
#pragma once

#include <functional>
#include <optional>

#include "core/repair/plant_stay.h"
#include "core/repair/plant_swing.h"

namespace understudy {

/// What a leg leads to beyond an end of its stay.
struct LeadsTo {
  int gap = 0;                   ///< frames in between
  std::array<LegTurn, 2> turns;  ///< the two frames beyond it, in time's order
  std::vector<LegTurn> bends;    ///< see LeadOver
};

/// A leg in a frame of a stay.
struct RolledLeg {
  LegTurn turn;
  double stretched = 0;  ///< part of its length by which it is asked to reach further than it should
};

struct RollTask {
  const Stay& stay;
  const PlantLeg& leg;
  const std::vector<LegFrame>& own;
  const std::vector<Vec3d>& moves;
  std::function<RolledLeg(int index, const FootPose&)> legAt;  ///< in a frame of the stay, its foot to be there
  double pull = 0;  ///< how much a turn counts against what it changes from frame to frame to frame
  double gapPull = 0;
  int leaving = 0;             ///< frames before the release over which a heel may rise more and more beyond the foot's own pitch
  std::vector<LegTurn> bends;  ///< added to the turns' second differences, one a frame
  std::optional<LeadsTo> before, after;
};

/// Changes pitches of frames that are not flat, such that the sum of the squares of the turns' second differences, over the stay and
/// the ways beside it, and of `pull` times the turns is less: Gauss and Newton's steps, no phase leaving its own side of level.
[[nodiscard]] Roll evenedOut(const RollTask& task, Roll roll);

}  // namespace understudy
