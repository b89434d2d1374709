// Where repairs take arms and legs far from the performance.
#pragma once

#include <string>
#include <vector>

#include "core/evaluate/evaluate.h"
#include "core/inspect/limb_names.h"

namespace understudy {

struct LikenessSettings {
  double limit = 0.2617994;  ///< radians between a limb bone's direction and its direction as retargeted; 15°
  double join = 0.25;        ///< seconds between spans of one limb that are told as one
};

/// A limb that is far from its way without repairs. Frames count from 0 in the untrimmed clip.
struct Departure {
  BodyLimb limb = BodyLimb::other;
  FrameSpan span;
  int frames = 0;         ///< of the span that are beyond the limit
  int worst = 0;          ///< frame
  double radians = 0;     ///< there
  std::uint64_t repair = 0;  ///< that demands most of it in the worst frame; 0: a nudge
  std::string demands;    ///< as messages name it
};

/// Of both arms and legs, upper and lower bone, in the stage; by time. `evaluated` is the take's own evaluation and complete.
[[nodiscard]] std::vector<Departure> departures(const Take& take, const Evaluated& evaluated, const LikenessSettings& settings = {});

}  // namespace understudy
