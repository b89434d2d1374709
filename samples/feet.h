// Feet that really stand: each stance turns about heel, ball and toe, each swing joins two stances.
#pragma once

#include <vector>

#include "core/math/quat.h"

namespace understudy::samples {

/// Lengths of a foot, metres, foot level and pointing to +Z.
struct FootShape {
  double ankle = 0.07;  ///< height of the ankle above the sole
  double ball = 0.022;  ///< height of the toe joint above the sole
  double heelBack = 0.05, ballFront = 0.14, tipFront = 0.065;
  [[nodiscard]] Vec3d ankleToHeel() const { return {0, -ankle, -heelBack}; }
  [[nodiscard]] Vec3d ankleToBall() const { return {0, ball - ankle, ballFront}; }
  [[nodiscard]] Vec3d ballToTip() const { return {0, -ball, tipFront}; }
};

/// A time on the ground. Angles in radians; pitch is positive with the heel up.
struct Stance {
  double strike = 0, flat = 0, heelOff = 0, toeOff = 0;  ///< seconds
  double x = 0, z = 0;                                   ///< of the toe joint, metres
  double yaw = 0, strikePitch = 0, offPitch = 0;
  double spinStart = 0, spinEnd = 0, spin = 0;  ///< a turn on the ball while flat
};

struct FootPose {
  Vec3d ankle;
  Quatd foot, toes;  ///< world
  bool down = false;
  double yaw = 0;
};

class FootPath {
 public:
  FootPath(FootShape shape, std::vector<Stance> stances);
  [[nodiscard]] FootPose at(double time) const;
  [[nodiscard]] const std::vector<Stance>& stances() const { return stances_; }

 private:
  [[nodiscard]] FootPose standing(const Stance& stance, double time) const;
  [[nodiscard]] FootPose swinging(std::size_t index, double time, double lift) const;
  FootShape shape_;
  std::vector<Stance> stances_;
  std::vector<double> lifts_;
};

}  // namespace understudy::samples
