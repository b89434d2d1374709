// Whether a performer stands on its feet, kneels, sits or lies. Internal to contacts.
#pragma once

#include <array>
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
  /// A shank (0 left, 1 right) that lies nearly level, or knee down, as where one kneels on it or sits with the leg stretched out: its foot
  /// carries nothing; by frame.
  [[nodiscard]] const std::vector<char>& shankLies(int side) const { return shankLies_[static_cast<std::size_t>(side)]; }

 private:
  Affined toWorld_;
  double leg_;
  std::vector<int> hips_, ankles_;
  int top_ = -1;
  std::vector<char> onFeet_, lies_;
  struct Shank {
    int knee = -1, ankle = -1;
    double length = 0;  // metres, bind pose
  };
  std::array<Shank, 2> shanks_;
  std::array<std::vector<char>, 2> shankLies_;
};

}  // namespace understudy
