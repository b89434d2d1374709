// Where the character's floor is under a clip that was carried over. Internal to retargeting.
#pragma once

#include <vector>

#include "core/retarget/plan.h"

namespace understudy {

/// How far a motion of the character has to rise, world metres.
struct FloorLift {
  double standing = 0;         ///< while it stands
  std::vector<double> frames;  ///< of each frame; empty: it always stands
  [[nodiscard]] double at(int frame) const { return frames.empty() ? standing : frames[static_cast<std::size_t>(frame)]; }
};

/// While the performer stands on its feet, all the same: so that the character's feet stand where the performer's do, times the stride; a
/// performer without a skin stands on its own floor, wherever the capture put it, and the character on that of its reference pose.
/// While it sits or lies, what of trunk and legs is lowest lies where the performer's does.
[[nodiscard]] FloorLift floorLift(const Plan& plan, const Motion& clip, const Motion& motion);

/// Raises all that the plan moves. `moved`: the motion's joints with a translation track, ascending.
void raise(const Plan& plan, const std::vector<int>& moved, const FloorLift& lift, Motion& motion);

}  // namespace understudy
