// The character: a lighthouse keeper with short legs, a wide coat, big hands and a red cap.
#pragma once

#include <cstdint>

#include "core/figure/figure.h"

namespace understudy::samples {

struct KeeperSettings {
  std::uint64_t seed = 1;  ///< 1 is the keeper as drawn; others vary his proportions a little
  bool tPose = false;      ///< true: arms straight out instead of hanging 40° below the horizontal
};

/// Metres, Y up, facing +Z, standing on y = 0. Every mesh is closed; weights sum to exactly 1, at most four a vertex.
[[nodiscard]] Figure makeKeeper(const KeeperSettings& settings);

/// The broom: one rigid mesh group, its axis along +Y, the bristles' end at the origin. `length` in metres.
[[nodiscard]] Figure makeBroom(double length);

}  // namespace understudy::samples
