// What plants do to a range of frames. Internal to plants.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "core/repair/ground_body.h"
#include "core/repair/plant_parts.h"
#include "core/repair/plant_stay.h"
#include "core/repair/plant_strip.h"

namespace understudy {

/// A time in which trunk and legs are kept above the ground.
struct GroundTask {
  std::size_t repair = 0;  ///< index in the layer
  RepairFrames frames;
  FrameSpan extent;        ///< frames it may write
  GroundParts parts{};
  double margin = 0;       ///< metres
  double weight = 1;
};

/// All plants of a layer, compiled.
struct PlantPlan {
  explicit PlantPlan(const RepairContext& c);

  const RepairContext& context;
  const std::array<PlantLeg, 2>& legs;
  std::vector<Stay> stays;                 ///< by first frame
  std::array<std::vector<int>, 2> order;   ///< of each foot
  std::vector<GroundTask> grounds;
  std::vector<double> lowest;              ///< height of the lowest ground, of each frame; where there are `grounds`
  int longestEase = 0;                     ///< frames
  int reach = 1;                           ///< frames over which the pelvis' way is enveloped, and again smoothed
  std::vector<double> kernel;

  /// Frames in which a foot joins or leaves a stay, the stay itself included.
  [[nodiscard]] static FrameSpan eased(const Stay& s) { return widened(s.span, s.before, s.after); }
  /// Frames a stay may write: eases, and the pelvis' way into and out of them.
  [[nodiscard]] FrameSpan written(const Stay& s) const { return widened(eased(s), 2 * reach, 2 * reach); }
  /// Frames whose result may differ where the motion differs in `changed`.
  [[nodiscard]] FrameSpan affected(FrameSpan changed) const;

 private:
  [[nodiscard]] FrameSpan affectedByFeet(FrameSpan changed) const;
};

/// Writes the frames of `frames` that plants of feet or the seat, or what keeps the body above the ground, move.
void applyPlants(const PlantPlan& plan, const PartPlants& parts, const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals);

}  // namespace understudy
