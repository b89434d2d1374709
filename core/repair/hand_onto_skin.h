// A hand that touches the body, brought back to its skin after the arm has been cleared.
#pragma once

#include "core/repair/arm_clearance.h"

namespace understudy {

/// The way (metres, stage) by which a hand (0 left, 1 right) that touches the body comes back to its skin where clearing the arm has moved it a
/// little off or into it: into the body by no more than a touch is allowed to miss, and only where the arm is out of it but for `left` metres,
/// out of it as far as it takes; not so far that the rest of the arm comes to lie in the body. `hold`: how firmly the hand is held, 0 … 1. `arm`
/// is the hand's and loses its loaded pose.
[[nodiscard]] Vec3d wayOntoSkin(const Poser& poser, ArmClearer& arm, int side, double hold, double left);

/// Moves the hand that way, as far as the rest of the arm stays out of the body as above. Returns how deep the arm lies in the body then, metres.
double moveHand(Poser& poser, ArmClearer& arm, int side, const Vec3d& way, double left);

}  // namespace understudy
