// Offsets, nudges, and spans over which nudges are taken off.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// Offsets in list order, then nudges in theirs, less what restores take off. `repairs` hold offsets and restores; all lie in list
/// order, not muted, and outlive the layer. What cannot be applied (unknown bones, spans outside the clip, numbers that are none)
/// is told in `issues` and left out.
///
/// A change is applied in its space: q′ = q · exp(w r) in the bone's, exp(w r) · q in the parent's, else about an axis of the stage.
/// Within one offset or nudge parents come first. Offsets in the character's space turn with it; a nudge keeps the heading that the
/// hips have, after all that comes before it, at its own frame: affected() tells. The same holds for an edit: where an offset or nudge
/// is changed, its extent and affected(extent) have to be applied again.
/// A bone at which the restores of a frame have weights v₁, v₂, … keeps (1 − v₁)(1 − v₂)… of its nudges.
[[nodiscard]] RepairLayerPtr makeOffsetLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs,
                                             std::vector<const Nudge*> nudges, Issues& issues);

/// Nudges made on the result, after all repairs: the same, with restores only.
[[nodiscard]] RepairLayerPtr makeLateLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> restores,
                                           std::vector<const Nudge*> nudges, Issues& issues);

/// One change shared equally by the bones from `upper` down to `lower`, both included: for offsets of whole chains. Errors: a bone
/// is unknown, or `lower` does not hang on `upper`.
[[nodiscard]] Result<std::vector<JointNudge>> sharedAlong(const RepairContext& context, const std::string& upper, const std::string& lower,
                                                          const Vec3d& rotation, const Vec3d& translation = {});

}  // namespace understudy
