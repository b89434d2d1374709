// One of several ways at each moment, so that over time they go together.
#pragma once

#include <cstddef>
#include <functional>
#include <vector>

namespace understudy {

/// The index chosen at each moment among `worth[moment]` (what each way costs there; at least one) so that the costs of the ways and of
/// the steps between them are least in sum (dynamic programming). Each choice looks at the moments within `around` of it alone, so that
/// what lies farther off does not matter to it. `step(m, a, b)` is the cost from way `a` of moment m − 1 to way `b` of moment m; it is asked
/// once for each pair. Ties go to the first way.
[[nodiscard]] std::vector<int> steadyChoice(const std::vector<std::vector<double>>& worth, int around, const std::function<double(std::size_t, int, int)>& step);

}  // namespace understudy
