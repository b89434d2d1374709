// Whether a repair makes sense as it is given: asked before it enters a take.
#pragma once

#include "core/repair/repair_context.h"
#include "core/take/take.h"

namespace understudy {

/// Errors (usage) about spans and times outside the clip, bones the character does not have, directions without length, marks out of
/// order, props and set objects that are missing, and other repairs of the take that ask the opposite of the same limb over the
/// same frames. Empty: nothing stands against it. `firstShown` is the number people see on the untrimmed clip's first frame.
[[nodiscard]] Issues checkRepair(const Repair& repair, const Repairs& others, const RepairContext& context, int firstShown = 1);
/// The same for a nudge: its time and its bones.
[[nodiscard]] Issues checkNudge(const Nudge& nudge, const RepairContext& context, int firstShown = 1);

}  // namespace understudy
