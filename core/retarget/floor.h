// Where the character's floor is under a clip that was carried over. Internal to retargeting.
#pragma once

#include <vector>

#include "core/retarget/plan.h"

namespace understudy {

/// How far a motion of the character has to rise (world metres) so that its feet stand where the performer's do, times the stride; a
/// performer without a skin stands on its own floor, wherever the capture put it, and the character on that of its reference pose.
[[nodiscard]] double floorOffset(const Plan& plan, const Motion& clip, const Motion& motion);

/// Raises all that the plan moves. `moved`: the motion's joints with a translation track, ascending.
void raise(const Plan& plan, const std::vector<int>& moved, double metres, Motion& motion);

}  // namespace understudy
