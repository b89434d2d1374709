// To which side arms bend, evened out over time, so that one that is straight for a moment does not turn within a frame.
#pragma once

#include <map>
#include <vector>

#include "core/repair/arm_clearance.h"

namespace understudy {

/// Looks at the nodes around a frame of a motion. All arguments must outlive it.
class ArmAround {
 public:
  /// `stride`: frames from node to node.
  ArmAround(const RepairContext& context, const TiledMotion& in, int stride, std::vector<ArmClearer*> arms);

  /// Of an arm: where its elbow lies off the line from shoulder to wrist, metres in ArmClearer::Pose::frame. An arm that is straight for a
  /// moment has the side it comes from and goes to.
  [[nodiscard]] Vec3d side(std::size_t arm, int frame);

  /// Frames on either side of one that matter to it.
  [[nodiscard]] static int support(int stride) { return (nodes + 1) * stride; }

 private:
  static constexpr int nodes = 4;
  const std::vector<Vec3d>& nodeAt(int n);

  const TiledMotion& in_;
  int stride_;
  std::vector<ArmClearer*> arms_;
  Poser poser_;
  std::map<int, std::vector<Vec3d>> sides_;  // of all arms, by node
};

}  // namespace understudy
