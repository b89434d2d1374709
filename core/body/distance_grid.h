// Signed distances to a solid, sampled on a grid: quick to look up.
#pragma once

#include <array>
#include <utility>
#include <vector>

#include "core/body/triangle_tree.h"

namespace understudy {

struct DistanceSample {
  double distance = 0;  ///< negative inside
  Vec3d gradient;       ///< of the interpolated distance; length near 1 except along ridges
};

/// A box of nodes `cell` apart with the signed distance at each. Lengths in the mesh's unit.
class DistanceGrid {
 public:
  DistanceGrid() = default;
  /// Covers the mesh and `pad` around it. The solid is where the winding number is above one half; triangles that lie inside
  /// another piece of it do not count as its surface. Nodes further than `exact` from the surface are interpolated from every
  /// fourth one. `threads` as in parallelFor().
  DistanceGrid(const TriangleTree& mesh, double cell, double pad, double exact, int threads = 0);

  /// From what low(), cell(), nodes() and values() gave.
  DistanceGrid(const Vec3d& low, double cell, const std::array<int, 3>& nodes, std::vector<float> values)
      : low_(low), cell_(cell), perCell_(1 / cell), size_{nodes[0], nodes[1], nodes[2]}, values_(std::move(values)) {}

  /// A grid that guides out of the solid: outside the same distances; inside minus the way to the surface away from an axis (a
  /// point, where `axis` is zero), or minus `most` times the depth where that is less. Its slope has no ridges but the axis.
  [[nodiscard]] DistanceGrid guide(const Vec3d& middle, const Vec3d& axis, double most) const;

  [[nodiscard]] bool empty() const { return values_.empty(); }
  [[nodiscard]] double cell() const { return cell_; }
  [[nodiscard]] const Vec3d& low() const { return low_; }
  [[nodiscard]] Vec3d high() const;
  [[nodiscard]] std::array<int, 3> nodes() const { return {size_[0], size_[1], size_[2]}; }
  [[nodiscard]] const std::vector<float>& values() const { return values_; }  ///< x runs fastest, z slowest

  /// Interpolated linearly. Outside the box: the value where the line to the nearest point of the box enters, plus its length.
  [[nodiscard]] double at(const Vec3d& point) const;
  [[nodiscard]] DistanceSample sample(const Vec3d& point) const;

 private:
  [[nodiscard]] std::size_t index(int x, int y, int z) const {
    return (static_cast<std::size_t>(z) * static_cast<std::size_t>(size_[1]) + static_cast<std::size_t>(y)) * static_cast<std::size_t>(size_[0]) +
           static_cast<std::size_t>(x);
  }
  struct Place {
    std::size_t first;   // node at the cell's low corner
    double x, y, z;      // within the cell, 0 … 1
    double outside;      // distance from the box
    Vec3d away;          // unit vector out of the box, where outside
  };
  [[nodiscard]] Place place(const Vec3d& point) const {
    const double x = (point.x - low_.x) * perCell_, y = (point.y - low_.y) * perCell_, z = (point.z - low_.z) * perCell_;
    if (x >= 0 && y >= 0 && z >= 0 && x < size_[0] - 1 && y < size_[1] - 1 && z < size_[2] - 1) {
      // Within the box, as nearly always.
      const int cx = static_cast<int>(x), cy = static_cast<int>(y), cz = static_cast<int>(z);
      return {index(cx, cy, cz), x - cx, y - cy, z - cz, 0, {}};
    }
    return placeOutside(point);
  }
  [[nodiscard]] Place placeOutside(const Vec3d& point) const;

  Vec3d low_;
  double cell_ = 1, perCell_ = 1;
  int size_[3] = {0, 0, 0};
  std::vector<float> values_;
};

inline double DistanceGrid::at(const Vec3d& point) const {
  if (values_.empty()) return 1e9;
  const Place p = place(point);
  const float* v = values_.data() + p.first;
  const std::size_t up = static_cast<std::size_t>(size_[0]), deep = up * static_cast<std::size_t>(size_[1]);
  const double a = v[0] + (v[1] - v[0]) * p.x, b = v[up] + (v[up + 1] - v[up]) * p.x;
  const double c = v[deep] + (v[deep + 1] - v[deep]) * p.x, d = v[deep + up] + (v[deep + up + 1] - v[deep + up]) * p.x;
  const double e = a + (b - a) * p.y, f = c + (d - c) * p.y;
  return e + (f - e) * p.z + p.outside;
}

}  // namespace understudy
