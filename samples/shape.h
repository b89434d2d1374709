// Parts of a body: a closed surface with one colour, hung on bones by the same field that shapes it.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "core/figure/figure.h"
#include "samples/field.h"
#include "samples/polygonise.h"

namespace understudy::samples {

/// A bone as the field sees it when weights are made.
struct Handle {
  int joint = 0;  ///< skeleton joint
  Cone shape;
};

/// Handles and how softly one gives way to the next (metres).
struct WeightField {
  std::vector<Handle> handles;
  double softness = 0.03;
};

struct Weights {
  std::array<int, 4> joint{};
  std::array<float, 4> weight{};  ///< multiples of 2⁻¹⁶ that sum to exactly 1; descending
};

/// Shares of a blended surface: each handle's exp(−distance / softness), the four largest kept.
[[nodiscard]] Weights weightsAt(const WeightField& field, const Vec3d& point);

struct Part {
  std::string name;
  std::array<double, 3> colour{};  ///< sRGB 0 … 255
  Field field;
  Vec3d low, high;      ///< a box around the surface
  double cell = 0.015;  ///< metres
  WeightField weights;
  /// Extra tint at a point (linear factors), for cheeks and stitches; empty: none.
  std::function<Vec3d(const Vec3d& point, const Vec3d& normal)> tint;
  Surface surface;  ///< made already (swept bands); empty: polygonise the field
};

/// Linear value of an sRGB channel 0 … 255.
[[nodiscard]] double linearOf(double channel);

/// Adds parts to a figure: one mesh each, all on `skin` (−1: rigid, on `node`). Vertex colours hold tint times the
/// occlusion by all parts together, so the figure reads well in plain light.
void addParts(Figure& figure, const std::vector<Part>& parts, int node, int skin);

}  // namespace understudy::samples
