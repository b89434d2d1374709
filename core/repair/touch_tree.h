// The triangles of a solid's skin in a pose, of which only those near a point are posed.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "core/body/body_surface.h"

namespace understudy {

/// A solid's triangles in a tree of balls (reference pose). Each ball knows how joints share in what is in it. The surface outlives it.
class SkinTree {
 public:
  SkinTree(const BodySurface& surface, const PartMesh& mesh);
  [[nodiscard]] bool empty() const { return nodes_.empty(); }

 private:
  friend class PosedSkin;
  struct Node {
    Vec3d middle;                ///< of the ball, reference pose
    double radius = 0;
    /// A joint's share in the vertices: the mean, and how far those of any may be off that.
    struct Share {
      int joint = -1;
      double mean = 0, off = 0;
    };
    std::vector<Share> shares;
    int right = -1;              ///< the left one comes next; −1: a leaf
    std::uint32_t first = 0, last = 0;          ///< triangles of a leaf, in corners_
    std::uint32_t firstVertex = 0, lastVertex = 0;  ///< their vertices, in vertices_
  };
  [[nodiscard]] std::vector<Node::Share> sharesOf(const PartMesh& mesh, std::span<const std::uint32_t> triangles) const;
  int build(const PartMesh& mesh, std::span<std::uint32_t> triangles, std::span<const Vec3d> middles);

  const BodySurface* surface_;
  std::vector<Node> nodes_;
  std::vector<int> vertices_;                           ///< of the surface, leaf by leaf
  std::vector<std::array<std::uint8_t, 3>> corners_;    ///< of each triangle, counted from its leaf's first vertex
  std::vector<std::vector<int>> rims_;                  ///< of filled holes, vertices of the surface
  struct Fill {
    std::uint32_t rim = 0;
    std::array<int, 3> corners{};  ///< places in the rim; −1: its mean
  };
  std::vector<Fill> fills_;                             ///< rim by rim
};

/// It in a pose. Not for several threads at once. Tree and frames outlive it.
class PosedSkin {
 public:
  /// `turned`: now · reference⁻¹ of every joint.
  PosedSkin(const SkinTree& tree, std::span<const Affined> turned) : tree_(tree), turned_(turned) {}
  struct Answer {
    double distance = 0;  ///< metres to the skin, `within` where none of it is that near
    bool inside = false;  ///< by the nearest of all faces, those that fill holes as well
    Vec3d way, normal;    ///< from the nearest place of the skin, and that place's
  };
  /// `enough`: what is nearer than that need not be the nearest, nor its side right.
  [[nodiscard]] Answer nearest(const Vec3d& point, double within, double enough = 0) const;

 private:
  struct Ball {
    Vec3d middle;
    double radius = 0;
    int node = -1;
    bool leaf = false;
    std::uint32_t posed = 0;              ///< of a leaf: 1 + where its triangles are
    std::array<std::uint32_t, 2> parts{}; ///< of another one: where those of its halves are; 0: not asked for yet
  };
  struct Triangle {
    std::array<Vec3d, 3> corners;
    Vec3d middle, normal;
    double radius = 0;
    /// True where a point that lies off the middle by that is farther than `least` metres.
    [[nodiscard]] bool beyond(const Vec3d& off, double least) const {
      const double far = radius + least + 1e-9;
      return dot(off, off) > far * far || std::abs(dot(off, normal)) > least + 1e-9;
    }
  };
  struct Rim {
    Vec3d middle;
    double radius = 0;
    std::uint32_t first = 0, last = 0;  ///< of fills_
  };
  struct Best;
  [[nodiscard]] static Triangle triangle(const Vec3d& a, const Vec3d& b, const Vec3d& c);
  /// Poses a node's; its place in balls_.
  std::uint32_t addBall(int node) const;
  [[nodiscard]] std::uint32_t partOf(std::uint32_t ball, std::size_t half) const;
  void look(std::uint32_t leaf, const Vec3d& point, Best& all, Best& skin) const;
  void pose() const;

  const SkinTree& tree_;
  std::span<const Affined> turned_;
  mutable std::vector<Ball> balls_;   ///< the whole tree's first
  mutable std::vector<Triangle> triangles_, fills_;
  mutable std::vector<Rim> rims_;
  mutable std::optional<std::uint32_t> last_;  ///< leaf that held the nearest triangle when last asked
};

}  // namespace understudy
