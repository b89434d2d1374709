// The stage of hands: fingers on handles, and shapes of hands over spans.
#pragma once

#include "core/repair/grip.h"

namespace understudy {

/// Shapes a HandShapeRepair may name, in order: relaxed, flat, fist, point, grip, own.
[[nodiscard]] const std::vector<std::string>& handShapeNames();
[[nodiscard]] std::optional<HandPose> handShapeNamed(const std::string& name);

/// A hand's handle as a grip's palm frame sees it; nothing for the support hand of a one-handed grip, and for grips without a prop.
[[nodiscard]] std::optional<HandleInPalm> handleOf(const RepairContext& context, const GripRepair& grip, bool lead);

/// Grips with a prop close the fingers of the hands that hold it until their skin meets the handle. Then hand shapes, in list order,
/// so that a shape has the last word; `grip` closes on the handle the hand holds at that time, else on one of a hand's usual width.
/// Each goes from the fingers' own pose by weight and amount. Fingers without a mapped joint stay; hands that have none and names that
/// are no shapes are told in `issues`.
[[nodiscard]] RepairLayerPtr makeHandLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

}  // namespace understudy
