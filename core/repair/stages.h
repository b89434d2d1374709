// The fixed order in which repairs are applied.
#pragma once

#include <array>

#include "core/repair/layer.h"

namespace understudy {

/// In order. Where repairs compete, the later stage has the last word: plant > touch > grip are kept apart by what they may
/// move (touches and grips never move the pelvis).
enum class RepairStage : unsigned char {
  untwist,
  smooth,
  hold,           ///< bridge, still
  offset,         ///< offsets, then nudges, less what `restore` takes off
  plant,
  hands,          ///< hand shapes, fingers on handles: what lies against the body from here on is the hand as it is shaped
  freeClearance,  ///< arms that hold and touch nothing
  touch,
  grip,
  gripClearance,  ///< arms that do: their hands keep their place
  headClearance,  ///< the head gives way where arms have no room beside it
  late,           ///< nudges made on the result
};
inline constexpr int stageCount = 12;

/// True where a stage needs to know of the repair: touches and grips also tell clearance which hands are taken, and grips tell touches
/// how a prop lies in the hand.
[[nodiscard]] bool concerns(RepairStage stage, const Repair& repair);
[[nodiscard]] bool concerns(RepairStage stage, const Nudge& nudge);

/// True where it is the stage that brings about what the repair asks.
[[nodiscard]] bool appliedBy(RepairStage stage, const Repair& repair);

/// The stage's layer. Null where these repairs have nothing to do at this stage. `repairs` and `nudges`, all of this stage and
/// to be applied, stay alive as long as the layer. What cannot be applied is told in `issues` and left out.
[[nodiscard]] RepairLayerPtr makeLayer(RepairStage stage, std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs,
                                       std::vector<const Nudge*> nudges, Issues& issues);

/// A repair whose anchor is read off the stage's input, where its kind has one; the same repair otherwise. Errors: it cannot stand there.
[[nodiscard]] Result<Repair> anchored(const Repair& repair, const std::shared_ptr<const RepairContext>& context, const TiledMotion& input);

}  // namespace understudy
