// The last ways of a hand whose arm has been cleared: back to the skin it touches, and along the line to its shoulder where the elbow would jerk.
#pragma once

#include <functional>
#include <map>

#include "core/repair/arm_clearance.h"

namespace understudy {

/// One hand over frames. All it is given must outlive it.
class HandWays {
 public:
  struct Asks {
    std::function<void(Poser&, int)> pose;  ///< loads a frame with its arm cleared
    std::function<double(int)> hold, give;  ///< how firmly the hand touches at a frame, and how much it may leave its way, 0 … 1
  };
  /// `arm` (0 left, 1 right is its side) loses its loaded pose with every call. `stride`: frames from node to node; `frames` of the motion.
  HandWays(const RepairContext& context, ArmClearer& arm, int side, int stride, int frames, Asks asks);

  /// The way (metres, stage) that is left to go at a frame.
  [[nodiscard]] Vec3d at(int frame);

  /// Frames on either side of one that matter to it.
  [[nodiscard]] static int support(int stride) { return 2 * nodesEvened * stride; }

 private:
  /// Nodes on either side over which ways and bends are evened out.
  static constexpr int nodesEvened = 2;

  /// An elbow as it bends after the way onto the skin.
  struct Elbow {
    double bend = 0;              // radians
    double upper = 0, lower = 0;  // metres
    Vec3d line;                   // unit, from shoulder to wrist
  };
  [[nodiscard]] Vec3d skinWay(int frame);
  [[nodiscard]] Vec3d evenedSkinWay(int frame);
  [[nodiscard]] const Elbow& elbow(int frame);

  const RepairContext& context_;
  ArmClearer& arm_;
  int side_, stride_, frames_;
  Asks asks_;
  Poser poser_;
  std::map<int, Vec3d> skinWays_;
  std::map<int, Elbow> elbows_;
};

}  // namespace understudy
