// One bone of a limb, the twist of what follows it, and the bones between. Internal to untwisting.
#pragma once

#include <optional>
#include <vector>

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// Rigid local rotations of a frame: of joint j in what it hangs on, mirrored nodes included.
class LocalPose {
 public:
  explicit LocalPose(const RepairContext& context);
  void load(const TiledMotion& motion, int frame);
  [[nodiscard]] const Quatd& operator[](int joint) const { return local_[static_cast<std::size_t>(joint)]; }
  void set(int joint, const Quatd& local) {
    local_[static_cast<std::size_t>(joint)] = local;
    changed_[static_cast<std::size_t>(joint)] = 1;
  }
  /// Place of a joint in the frame of what it hangs on, metres.
  [[nodiscard]] Vec3d place(int joint) const { return place_[static_cast<std::size_t>(joint)]; }
  void move(int joint, const Vec3d& place) {
    place_[static_cast<std::size_t>(joint)] = place;
    moved_[static_cast<std::size_t>(joint)] = 1;
  }
  /// Writes the changed joints; moves are lost where the motion has no track.
  void store(TiledMotion& out, int frame) const;

 private:
  const RepairContext& context_;
  std::vector<Quatd> local_;
  std::vector<Vec3d> place_, restPlace_;
  std::vector<char> changed_, moved_;
};

struct TwistLink {
  struct Beside {
    int joint = 0;
    double t = 0;  ///< place along the bone, 0 … 1
  };
  int base = -1;
  std::vector<int> path;        ///< from the base's child down to the end
  std::vector<double> along;    ///< of the path's joints but the last: place along the bone, 0 … 1, ascending
  std::vector<Beside> beside;   ///< twist bones that hang on the base, not on the path
  struct Held {
    int joint = 0;
    bool moves = false;  ///< it lies off the line from base to end, so that it has to be moved
  };
  std::vector<Held> held;       ///< joints of the end that hang on the base as well (fingers beside a palm): they stay as the end does
  Quatd reference;              ///< rotation of the end in the base's frame, reference pose
  Vec3d axis;                   ///< unit, from base to end in the base's frame, reference pose

  int above = -1;               ///< the joint before the base in the limb, −1 where there is none
  std::vector<int> baseWay;     ///< from its child down to the base
  Quatd baseReference;          ///< rotation of the base in its frame, reference pose

  /// Turn of the base in its own frame, since the reference pose, against the joint above: its twist about `axis` is the base's own.
  [[nodiscard]] Quatd baseChange(const LocalPose& pose) const;
  /// Rotation of the end in the base's frame, against the reference pose.
  [[nodiscard]] Quatd change(const LocalPose& pose) const;
  /// The base turns by `angle` about the line to the end, and all that follows the end stays as it is.
  void share(LocalPose& pose, double angle) const;
};

/// `chain`: the base's role's joints, among which twist bones are looked for; `above`: see there. None where the end does not hang on the base or lies on it.
[[nodiscard]] std::optional<TwistLink> twistLink(const RepairContext& context, int base, int end, const std::vector<int>& chain,
                                                 int above = -1);

}  // namespace understudy
