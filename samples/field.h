// Implicit shapes: rounded cones that melt into each other.
#pragma once

#include <functional>
#include <vector>

#include "core/math/vec.h"

namespace understudy::samples {

/// A signed distance or something close to one: metres, negative inside.
using Field = std::function<double(const Vec3d&)>;

/// Two spheres and everything between them. `squash` divides coordinates before the distance is taken (about `a`), so
/// {1, 1, 0.8} makes the cone 0.8 as deep as wide; the value is then only close to a distance.
struct Cone {
  Vec3d a, b;
  double radiusA = 0, radiusB = 0;
  Vec3d squash{1, 1, 1};
};

[[nodiscard]] double distanceTo(const Cone& cone, const Vec3d& point);

/// −k·ln Σ exp(−dᵢ/k): a smooth minimum; shapes closer than a few k melt into each other.
[[nodiscard]] double blended(const std::vector<Cone>& cones, double k, const Vec3d& point);
[[nodiscard]] double smoothMin(double a, double b, double k);
[[nodiscard]] double smoothMax(double a, double b, double k);

/// Central differences over `step` metres; not normalised.
[[nodiscard]] Vec3d gradient(const Field& field, const Vec3d& point, double step = 5e-4);

}  // namespace understudy::samples
