// Soft shadow on the ground: how much of the sky a figure hides from each spot of the floor. Internal to render/.
#pragma once

#include <cstdint>
#include <vector>

#include "render/stage_figure.h"

namespace understudy {

/// Darkness 0 … 255 over a rectangle of the ground.
struct ShadowMap {
  int width = 0, height = 0;
  double x = 0, z = 0;            ///< low corner, world metres
  double sizeX = 0, sizeZ = 0;
  std::vector<std::uint8_t> darkness;
};

/// The shadow of all instances together; each weighs as much as it is opaque. Every piece of surface spreads its area
/// over a disc that widens with its height: tight where a foot stands, soft where it floats. Empty (width 0) where
/// nothing is near the ground.
[[nodiscard]] ShadowMap groundShadow(std::span<const FigureInstance> instances, double groundHeight);

}  // namespace understudy
