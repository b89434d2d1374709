// What the numbers of a BVH row mean: channels to rotations and translations. Internal to the reader.
#pragma once

#include <array>
#include <cstdint>
#include <utility>
#include <vector>

#include "core/motion/motion.h"

namespace understudy {

enum class BvhChannelKind : std::uint8_t { positionX, positionY, positionZ, rotationX, rotationY, rotationZ, ignored };

struct BvhChannel {
  int joint = 0;
  BvhChannelKind kind = BvhChannelKind::ignored;
};
/// As BVH spells it.
[[nodiscard]] const char* channelName(BvhChannelKind kind);

/// The channels of a file, worked out once for all its rows.
class BvhRows {
 public:
  /// `channels` in the order of a row's values, those of one joint together.
  BvhRows(const Skeleton& skeleton, const std::vector<BvhChannel>& channels);

  /// Joints with position channels, ascending as in the file.
  [[nodiscard]] std::vector<int> movedJoints() const;
  /// Writes a row (as many values as channels; degrees, file units) as frame `frame` of a motion with as many translation tracks as
  /// movedJoints(); the frame before it stands there already.
  void store(const std::vector<double>& row, std::size_t frame, Motion& motion);
  /// Position channels below the root normally hold the whole distance to the parent. Where they hold about nothing while OFFSET holds
  /// the bone, they are meant as an addition: adds it and says so.
  bool addOffsets(Motion& motion) const;

 private:
  /// What one joint's channels mean.
  struct RotationPlan {
    int joint = 0;
    int count = 0;                 ///< rotation channels
    std::array<int, 3> column{};   ///< value of the row, for up to three channels
    std::array<int, 3> axis{};     ///< 0, 1, 2
    float parity = 1;              ///< +1 for XYZ, YZX, ZXY, −1 for the other orders of three different axes
    bool plain = false;            ///< three different axes: the closed form applies
    std::vector<std::pair<int, int>> general;  ///< (column, axis) in file order, where it does not
  };

  struct PositionPlan {
    int joint = 0;
    std::array<int, 3> column{-1, -1, -1};
  };

  const Skeleton& skeleton_;
  std::vector<RotationPlan> rotations_;
  std::vector<PositionPlan> positions_;
  std::vector<int> still_;
  std::vector<float> sines_, cosines_;
};

}  // namespace understudy
