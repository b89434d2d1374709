// What a stage of clearance has to do: which arms, kept out of what, with which hands taken by touches and grips.
#pragma once

#include <vector>

#include "core/repair/arm_clearance.h"
#include "core/repair/clearance.h"

namespace understudy {

/// A prop in an arm's hand and when it is there.
struct HeldProp {
  HeldPoints points;
  std::vector<std::size_t> grips;    // of the layer's repairs: there while they act
  std::vector<FrameSpan> spans;      // and there
};

/// One arm of a task.
struct ClearedArm {
  int side = 0;
  ArmClearanceSettings settings;
  std::vector<std::size_t> holders;  // touches and grips that take its hand, and touches that may turn what it hangs on
  HeldProp held;
};

/// A touch that holds a hand.
struct ClearancePin {
  std::size_t repair = 0;  // of the layer's
  bool slides = false;     // the hand's skin touches what arms are kept out of, and may go along its surface
  friend bool operator==(const ClearancePin&, const ClearancePin&) = default;
};

/// Arms that are cleared together.
struct ClearanceTask {
  FrameSpan span;                    // that it may write: other tasks of its arms have others
  std::vector<ClearedArm> arms;      // one, or both where one thing is in both hands
  double margin = 0;                 // metres
  std::vector<std::size_t> repairs;  // clearances of the layer that speak of them
  std::vector<std::size_t> grips;    // that keep both hands together
  std::vector<ClearancePin> pins;    // touches that hold what a shift of the grips would move
};

/// Seconds around a hold in which arms are looked at as well, and in which that fades out.
inline constexpr double fadeSeconds = 0.35;

/// Holds are put together with those they meet in time, so that nothing depends on a hold elsewhere. `model` is the context's. Names that mean no
/// bone are told in `issues`.
[[nodiscard]] std::vector<ClearanceTask> clearanceTasks(const RepairContext& context, const BodyModel& model, const std::vector<const Repair*>& repairs, ClearedHands hands,
                                                        Issues& issues);

/// Whether a grip may change what arms without a hold do, by what it puts into their hands.
[[nodiscard]] bool gripsMatterToFreeArms(const RepairContext& context, const std::vector<const Repair*>& repairs);

}  // namespace understudy
