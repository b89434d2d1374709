// Why a flaw is still there: measured on the stages of an evaluated take.
#pragma once

#include "core/evaluate/evaluate.h"
#include "core/inspect/finding.h"

namespace understudy {

/// `take` and `evaluated` (its own evaluation, complete) must stay alive.
class Causes {
 public:
  Causes(const Take& take, const Evaluated& evaluated) : take_(take), seen_(evaluated) {}

  /// Worst miss of a repair over the frames of `span` that it covers; none: over all it covers.
  [[nodiscard]] Miss worstMiss(const Repair& repair, std::optional<FrameSpan> span = std::nullopt) const;

  /// "plant 3 'left foot' misses by 12 mm: out of reach", where the repair itself says that it misses over the finding's frames
  /// by as much as a quarter of what is left; "" otherwise. Hands whose arm is not stretched then are within reach: their way is kept smooth.
  [[nodiscard]] std::string ofMiss(const Repair& repair, const Finding& finding) const;

  /// Degrees a joint turns from the frame before `frame`, by what comes into each stage and, last, by the result.
  [[nodiscard]] std::array<double, stageCount + 1> steps(int joint, int frame) const;

  /// What of the take makes a jump that was not in the performance as the bridges leave it, with its measure; "" where the performance has
  /// at least this part of it.
  [[nodiscard]] std::string ofJump(const Finding& finding, double performed = 0.5) const;

  /// The repair of a stage that acts at a frame, best one that moves the bone's limb; null where there is none.
  [[nodiscard]] const Repair* repairAt(RepairStage stage, const std::string& bone, int frame) const;

 private:
  /// Whether the limb of a touch is nearly straight in one of these frames, as the stage of touches leaves it.
  [[nodiscard]] bool stretches(const TouchRepair& touch, FrameSpan frames) const;

  const Take& take_;
  const Evaluated& seen_;
};

}  // namespace understudy
