// How far each repair of an evaluated take stays from what it promises.
#pragma once

#include <string>
#include <vector>

#include "app/command/json_text.h"
#include "app/command/repair_reel.h"

namespace understudy::cli {

struct RepairLimits {
  double millimetres = 0.5, degrees = 0.5;
};

/// Frames that follow each other and miss by more than the limits.
struct MissSpan {
  FrameRange frames;
  double millimetres = 0, degrees = 0;  ///< worst in there
};

struct RepairState {
  const Repair* repair = nullptr;
  FrameRange frames;             ///< numbers shown; of an empty span first > last
  bool applied = false;
  std::string reason;            ///< why it is not
  double millimetres = 0, degrees = 0;
  int worstFrame = 0;            ///< number shown, of the worst distance, or else the worst angle; 0: it misses nowhere
  bool missed = false;
  std::vector<MissSpan> beyond;
  FrameSpan measured;            ///< frames of `misses`, from 0 in the untrimmed clip
  std::vector<Miss> misses;
};

/// In list order. `take` and `evaluated` stay alive as long as the states.
[[nodiscard]] std::vector<RepairState> repairStates(const Take& take, const Evaluated& evaluated, const FrameNumbers& numbers, const RepairLimits& limits = {});

[[nodiscard]] Json toJson(const RepairState& state, const FrameNumbers& numbers, bool allMisses);
/// "0.21 mm, 0.0° at 20", "exact", "left out: muted".
[[nodiscard]] std::string describeMiss(const RepairState& state);

}  // namespace understudy::cli
