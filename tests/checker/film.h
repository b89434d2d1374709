// What the checker knows of a file: a skeleton filmed frame by frame, and the skin on it. Nothing here comes from the program it judges.
#pragma once

#include <Eigen/Geometry>
#include <array>
#include <string>
#include <vector>

namespace checker {

using Eigen::Affine3d;
using Eigen::Quaterniond;
using Eigen::Vector3d;

inline std::size_t index(int i) { return static_cast<std::size_t>(i); }

/// A vertex as a weighted sum of points fixed to nodes.
struct SkinPoint {
  struct Share {
    int node;
    double weight;
    Vector3d local;  ///< the vertex in the node's own frame
  };
  std::vector<Share> shares;
  bool rigid = false;
};

/// World transforms of every node at frames 0 … frames−1, file unit, Y up.
struct Film {
  std::vector<std::string> names;
  std::vector<int> parents;
  std::vector<Affine3d> bind;         ///< world, from the inverse bind matrices where there are any, else the rest pose
  std::vector<Affine3d> world;        ///< [frame · nodes + node]
  std::vector<Vector3d> ends;         ///< offset to an end site, zero where there is none
  std::vector<SkinPoint> points;
  std::vector<std::array<int, 3>> triangles;
  double fps = 30;
  int frames = 0;
  bool finite = true;
  std::string clip;

  [[nodiscard]] int nodes() const { return static_cast<int>(names.size()); }
  [[nodiscard]] const Affine3d& at(int frame, int node) const { return world[static_cast<std::size_t>(frame) * names.size() + static_cast<std::size_t>(node)]; }
  [[nodiscard]] Vector3d place(int frame, int node) const { return at(frame, node).translation(); }
  [[nodiscard]] Quaterniond turn(int frame, int node) const;
  [[nodiscard]] Vector3d skinned(int frame, int point) const;
  [[nodiscard]] Vector3d skinnedInBind(int point) const;
  /// By name, by path "a/b/c" or by "#index". −1: none.
  [[nodiscard]] int find(const std::string& key) const;
};

[[nodiscard]] Quaterniond turnOf(const Affine3d& transform);

/// Reads BVH text. Throws std::runtime_error.
[[nodiscard]] Film readBvh(const std::string& path);
/// Reads a .glb or .gltf and samples one of its animations ("": the last) at `fps`. Throws std::runtime_error.
[[nodiscard]] Film readGltf(const std::string& path, const std::string& clip, double fps);
/// Turns the world so that the given axis ("+Z" …) points up.
void standUp(Film& film, const std::string& up);

}  // namespace checker
