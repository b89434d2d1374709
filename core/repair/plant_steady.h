// Knees of legs that stand, made steady by the pelvis. Internal to plants.
#pragma once

#include <array>
#include <vector>

#include "core/math/vec.h"

namespace understudy {

/// A leg in a frame, as far as its knee goes.
struct KneeFrame {
  int stay = -1;      ///< that holds its foot; −1: none
  double firm = 0;    ///< how firmly
  Vec3d up;           ///< from the foot's joint to where its hip comes to be, metres
  Vec3d lever;        ///< by which that moves as the hips roll by a radian, metres
  double full = 0;    ///< its length, metres
  double own = 0;     ///< bend of its knee in the motion itself, radians
};

/// Frames on either side of one that say how it is made steady.
[[nodiscard]] int steadyReach(double rate);

/// How the hips are to move, metres, and to roll, radians.
struct HipShift {
  Vec3d by;
  double roll = 0;
};

/// What the hips are to do in each frame so that the knees of legs that stand are accelerated least against their own motion: where a leg is
/// almost straight a hair of its length is many degrees, and on a body built otherwise a pelvis that shakes comes nearer to its feet and
/// away from them again. Slow changes are left alone, as are frames in which no foot stands. `leg`: metres.
[[nodiscard]] std::vector<HipShift> steadied(const std::array<std::vector<KneeFrame>, 2>& knees, double rate, double leg);

}  // namespace understudy
