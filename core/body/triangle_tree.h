// Inside or outside of a triangle mesh, and how far from it: exact answers, used to build and to check quicker ones.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/math/vec.h"

namespace understudy {

/// The point of a triangle nearest to `point` (Ericson, "Real-Time Collision Detection", 5.1.5). Triangles of no area are
/// segments or points.
[[nodiscard]] Vec3d closestOnTriangle(const Vec3d& point, const Vec3d& a, const Vec3d& b, const Vec3d& c);

/// A bounding-volume tree over triangles. Lengths in the unit of the positions.
class TriangleTree {
 public:
  TriangleTree() = default;
  /// `indices` holds three a triangle, all below positions.size(). Positions must be finite.
  TriangleTree(std::vector<Vec3d> positions, std::vector<std::uint32_t> indices);

  [[nodiscard]] bool empty() const { return indices_.empty(); }
  [[nodiscard]] const std::vector<Vec3d>& positions() const { return positions_; }
  [[nodiscard]] const std::vector<std::uint32_t>& indices() const { return indices_; }

  /// Generalised winding number (see core/math/distance.h). Triangles further away than three radii of their node are taken
  /// together as one dipole (Barill, Dickson, Schmidt, Levin and Jacobson 2018, "Fast Winding Numbers for Soups and Clouds"),
  /// which costs less than 0.01.
  [[nodiscard]] double winding(const Vec3d& point) const;
  [[nodiscard]] bool inside(const Vec3d& point) const { return winding(point) > 0.5; }

  struct Nearest {
    int triangle = -1;    ///< −1: none within reach
    Vec3d point;
    double distance = 0;
  };
  /// The nearest point of the mesh, where it is nearer than `within`.
  [[nodiscard]] Nearest nearest(const Vec3d& point, double within = 1e300) const;

  /// The same triangles with other positions (as many as before), in the same tree.
  void move(std::vector<Vec3d> positions);

 private:
  struct Node {
    Vec3d low, high;
    Vec3d centre, area;      ///< of the dipole: area-weighted centre, sum of the triangles' area vectors
    double radius = 0;       ///< of a ball about `centre` that holds the node
    int first = 0, count = 0;  ///< triangles in order_; leaves only
    int left = -1, right = -1;
  };
  int build(int first, int count);
  void measure(Node& node) const;

  std::vector<Vec3d> positions_;
  std::vector<std::uint32_t> indices_;
  std::vector<int> order_;
  std::vector<Node> nodes_;
};

}  // namespace understudy
