// Fewer keys: which frames of a baked motion need one.
#pragma once

#include "core/io/write.h"
#include "core/mapping/bone_map.h"

namespace understudy {

struct ReduceSettings {
  double tolerance = 0.001;  ///< metres, > 0: how far any of the points 3 cm from a joint along the three axes may be off, at and between frames
  bool editable = false;     ///< keys of a limb at the same frames, with smooth slopes
};

/// The frames that keep `motion` within the tolerance after everything above a joint has moved it, checked at every frame and halfway
/// between. Tracks that never change are left to the writer, which gives them one key. `map` (may be null) tells limbs apart.
/// Errors: a tolerance that is not positive; stopped.
[[nodiscard]] Result<KeyPlan> planKeys(const Figure& character, const Motion& motion, const std::vector<int>& rotated, const SkeletonMap* map,
                                       const ReduceSettings& settings, const RunControl& control = {});

/// The motion as a plan's keys give it back.
[[nodiscard]] Motion withKeys(const Motion& motion, const KeyPlan& plan);

}  // namespace understudy
