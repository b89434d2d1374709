// How much of a change does good, over time.
#pragma once

#include <functional>
#include <vector>

namespace understudy {

/// How near places of a row are looked at together.
struct PartWindow {
  int judged = 9;  ///< places on either side over which a part is judged
  int fades = 4;   ///< and over which parts come and go
  /// Places on either side of one that its part depends on.
  [[nodiscard]] int support() const { return judged + fades; }
};

/// The part, 0 … 1, of its change that each place takes: all of it, but where something of more than `bound` stays near by the least part that
/// leaves hardly more than any other would, squares added up around. `changed`: places with a change; `left(place, part)`: what stays there
/// when it takes a part, asked for changed places only, and for few of them.
[[nodiscard]] std::vector<double> partsTaken(const std::vector<char>& changed, double bound, const PartWindow& window, const std::function<double(std::size_t, double)>& left);

}  // namespace understudy
