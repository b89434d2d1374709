// The middle of values.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace understudy {

/// The value in the middle, of an even number the upper one; 0 where there is none.
[[nodiscard]] inline double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace understudy
