// How a hand goes along with a forearm that is turned.
#pragma once

#include "core/math/two_bone.h"

namespace understudy {

/// The part (0 … 1) of a forearm's turn (radians) that its hand shares. A hand keeps the direction it has in the stage while the forearm turns by
/// little; of more it takes what would bend the wrist farther, which nears 50°. A wrist bends by 20° to 80° from straight in its four directions
/// (American Academy of Orthopaedic Surgeons, Joint Motion, 1965), and by a part of that already before; which part to leave is common practice, no source.
[[nodiscard]] inline double handShare(double turn) {
  constexpr double most = 0.8726646;  // 50°
  return turn > 1e-9 ? 1 - softReach(turn, most, 0.5) / turn : 0;
}

}  // namespace understudy
