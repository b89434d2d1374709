// How a leg goes from one stay to the next: its change against its own motion, joint by joint, with the least acceleration.
// Internal to plants.
#pragma once

#include <array>
#include <vector>

#include "core/repair/plant_pose.h"

namespace understudy {

/// A change of a leg against its own motion: rotation vectors, each in the joint's own frame, from what it has under the joint
/// above it.
struct LegTurn {
  Vec3d thigh, shank, foot, toe;
  LegTurn& add(const LegTurn& t, double s) {
    thigh += t.thigh * s;
    shank += t.shank * s;
    foot += t.foot * s;
    toe += t.toe * s;
    return *this;
  }
};
[[nodiscard]] inline double dot(const LegTurn& a, const LegTurn& b) {
  return dot(a.thigh, b.thigh) + dot(a.shank, b.shank) + dot(a.foot, b.foot) + dot(a.toe, b.toe);
}

[[nodiscard]] LegTurn turnOf(const LegFrame& own, const LegFrame& wanted);
/// How the joints' turns change from the step into a frame to the step out of it.
[[nodiscard]] LegTurn bendOf(const LegFrame& before, const LegFrame& at, const LegFrame& after);
/// The leg once it has turned and its hip has moved. `hinge`: see LimbRig.
[[nodiscard]] LegFrame turnedBy(const LegFrame& own, const Vec3d& hinge, const Vec3d& moves, const LegTurn& turn);

/// The two values before a gap, then the two after it, in time's order.
using GapEnds = std::array<LegTurn, 4>;

/// Ways over gaps of `count` frames such that the sum of the squares of all second differences that touch the gap or its two nearest
/// ends, and of `pull` times the values in it, is least. To each difference what `bends` says is added first, in time's order from
/// the end before the gap to the one after it.
class LeadOver {
 public:
  LeadOver(int count, double pull, std::vector<LegTurn> bends);
  [[nodiscard]] std::vector<LegTurn> way(const GapEnds& ends) const;
  /// Half of how that sum grows with each end.
  [[nodiscard]] GapEnds slope(const GapEnds& ends) const;
  /// Half of how those slopes grow: `growth()[i][k]` times the identity.
  [[nodiscard]] const std::array<std::array<double, 4>, 4>& growth() const { return growth_; }
  /// The sum itself.
  [[nodiscard]] double cost(const GapEnds& ends) const;

 private:
  [[nodiscard]] std::vector<LegTurn> bent(const GapEnds& ends, const std::vector<LegTurn>& way) const;

  std::size_t count_;
  double pull_;
  std::vector<LegTurn> bends_;
  std::vector<double> d_, l1_, l2_;
  std::array<std::array<double, 4>, 4> growth_{};
};

/// Seconds over which a leg on its way comes back to its own motion, see homeward().
inline constexpr double legHoming = 0.08;
/// The `pull` of a LeadOver whose way comes to nothing over about so many frames.
[[nodiscard]] inline double pullOf(double frames) { return 1 / (frames * frames * frames * frames); }

/// The fastest change of a joint's turn but the toes'.
[[nodiscard]] double hasteOf(const LegTurn& bend);

/// Joint by joint the way of a LeadOver that comes to nothing over about `homing` frames, and over more where the joint would be in more
/// haste than `usual`, radians a frame a frame. A knee that is in no haste comes home sooner, so that no stretch it left or lands with
/// lasts over a flight; thighs that come home at a stroke run into arms. `own`: how the leg's own turns change, from the frame before the
/// gap to the one after it.
[[nodiscard]] std::vector<LegTurn> homeward(int count, const GapEnds& ends, const std::vector<LegTurn>& bends, const std::vector<LegTurn>& own, double usual, double homing);

}  // namespace understudy
