// The gentlest way over what it must not go below.
#pragma once

#include <vector>

namespace understudy {

/// What comes before and after a sequence: nothing that counts where it is `free`, else zeros.
struct SequenceEnds {
  bool freeBefore = false, freeAfter = false;
};

/// Values of a sequence nowhere below `least` (≥ 0 each): those for which the sum of the squares of all second differences that touch the
/// sequence, and of `pull` > 0 times its values, is least. By a primal-dual active set (Hintermüller, Ito and Kunisch 2003, "The Primal-Dual
/// Active Set Strategy as a Semismooth Newton Method"); should the set not settle in 60 rounds, what still lacks is filled up.
[[nodiscard]] std::vector<double> leastBentAbove(const std::vector<double>& least, double pull, SequenceEnds ends = {});

}  // namespace understudy
