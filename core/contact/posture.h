// Whether a performer stands on its feet, sits or lies. Internal to contacts.
#pragma once

#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"

namespace understudy {

/// Follows a performer frame by frame.
class Posture {
 public:
  /// `leg`: metres.
  Posture(const Figure& figure, const SkeletonMap& map, double leg);
  /// `world`: of every joint at the next frame, in the file's unit and axes.
  void add(const std::vector<Affined>& world);

  /// Hips well above the lower ankle, as where one stands or crouches; by frame.
  [[nodiscard]] const std::vector<char>& onFeet() const { return onFeet_; }
  /// Hips low and the trunk nearer to level than to upright: feet carry nothing; by frame.
  [[nodiscard]] const std::vector<char>& lies() const { return lies_; }

 private:
  Affined toWorld_;
  double leg_;
  std::vector<int> hips_, ankles_;
  int top_ = -1;
  std::vector<char> onFeet_, lies_;
};

}  // namespace understudy
