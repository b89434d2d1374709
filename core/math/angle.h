// Between radians, as angles are held everywhere, and degrees, as they are shown and written.
#pragma once

#include <numbers>

namespace understudy {

inline constexpr double degreesPerRadian = 180 / std::numbers::pi;

}  // namespace understudy
