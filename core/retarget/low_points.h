// What of a body can lie on the floor when it sits, kneels or lies. Internal to retargeting.
#pragma once

#include "core/retarget/few_joints.h"

namespace understudy {

/// Trunk, thighs, shanks and feet of a body, as points of its skin that move with one joint each; of a body without a skin as its joints
/// with flesh around them.
class LowPoints {
 public:
  explicit LowPoints(const PosedBody& body);

  /// Metres above the world's zero of the lowest of them at a frame of a motion, and of the lowest of trunk and thighs.
  struct Low {
    double all = 0, trunk = 0;
  };
  class Heights {
   public:
    Heights(const LowPoints& points, const Motion& motion);
    [[nodiscard]] Low at(int frame);

   private:
    const LowPoints& points_;
    FewJoints joints_;
  };

 private:
  struct Point {
    int joint = -1;
    Vec3d local;       ///< in the joint's own frame, file unit
    double flesh = 0;  ///< metres around it
    bool trunk = false;  ///< or thigh
  };
  [[nodiscard]] std::vector<int> joints() const;

  const PosedBody& body_;
  std::vector<Point> points_;
};

}  // namespace understudy
