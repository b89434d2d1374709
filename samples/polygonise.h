// From an implicit surface to triangles.
#pragma once

#include <cstdint>
#include <vector>

#include "samples/field.h"

namespace understudy::samples {

struct Surface {
  std::vector<Vec3d> positions;
  std::vector<Vec3d> normals;          ///< unit, outward
  std::vector<std::uint32_t> indices;  ///< three a triangle, counter-clockwise from outside
};

/// The zero set of `field` inside the box low…high (which must enclose it), by surface nets (Gibson 1998) on cells of
/// `cell` metres; vertices are then spread evenly and moved onto the surface.
[[nodiscard]] Surface polygonise(const Field& field, const Vec3d& low, const Vec3d& high, double cell);

/// Edges that are not shared by exactly two triangles in opposite directions: 0 for a closed surface.
[[nodiscard]] int openEdges(const std::vector<std::uint32_t>& indices);

}  // namespace understudy::samples
