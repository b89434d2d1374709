// Anatomical frames of the roles and how one figure's are laid onto the other's. Internal to retargeting.
#pragma once

#include "core/retarget/posed_body.h"

namespace understudy {

/// Same reference geometry on both sides: then every role keeps its own orientation exactly.
[[nodiscard]] bool sameBody(const PosedBody& a, const PosedBody& b);

/// A: what turns each character role's reference orientation into the performer's (identity where the character
/// keeps its own posture). `clip` is the performer's motion, used to measure hinges and soles.
[[nodiscard]] Alignment alignBodies(const PosedBody& performer, const Motion& clip, const PosedBody& character, const RetargetSettings& settings);

}  // namespace understudy
