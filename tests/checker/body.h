// Regions of the skin, and how deep arms are in the torso.
#pragma once

#include <map>
#include <memory>

#include "tests/checker/film.h"

namespace checker {

using Roles = std::map<std::string, int>;  ///< VRM 1.0 role → node

/// Which role each node belongs to: its own, else that of the nearest ancestor; "" above all roles.
[[nodiscard]] std::vector<std::string> roleOfNodes(const Film& film, const Roles& roles);

struct Regions {
  /// Points that move at least nine tenths with that side's arm below the shoulder joint, on elbow's half of the upper arm and beyond.
  std::array<std::vector<int>, 2> arm;
  std::array<std::vector<int>, 2> foot;       ///< mainly moved by foot and toes
  std::array<std::vector<int>, 2> hand;       ///< mainly moved by the hand itself
  std::vector<std::array<int, 3>> torso;      ///< triangles mainly moved by hips, spine and chest
  std::array<std::vector<std::array<int, 3>>, 3> others;  ///< by neck and head, by the left thigh, by the right thigh
  /// By point: the part of the body it moves most with; `none` above all roles and for things that are no body.
  enum class Part : unsigned char { head, torso, leftUpperArm, rightUpperArm, leftForearm, rightForearm, leftHand, rightHand, leftThigh, rightThigh, leftShank, rightShank, none };
  std::vector<Part> part;
  double height = 0;                          ///< of the whole skin in the bind pose
};
[[nodiscard]] Regions::Part partOfRole(const std::string& role);
[[nodiscard]] Regions regionsOf(const Film& film, const Roles& roles);

/// The torso's skin with its holes capped, asked with generalised winding numbers (Jacobson, Kavan, Sorkine-Hornung 2013), far
/// triangles as dipoles (Barill et al. 2018).
class Torso {
 public:
  Torso(const Film& film, const std::vector<std::array<int, 3>>& triangles, double height);
  ~Torso();
  Torso(const Torso&) = delete;
  Torso& operator=(const Torso&) = delete;
  /// Poses the surface; −1: the bind pose.
  void pose(int frame);
  /// Distance to the real surface (caps left out) of a point inside, 0 outside.
  [[nodiscard]] double depth(const Vector3d& point) const;
  /// Distance to the real surface, from either side.
  [[nodiscard]] double distance(const Vector3d& point) const;
  [[nodiscard]] bool empty() const;

 private:
  struct Tree;
  std::unique_ptr<Tree> tree_;
};

}  // namespace checker
