// A character made ready for repairs: what every kind of repair asks of it, worked out once.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <mutex>
#include <typeindex>

#include "core/body/soles.h"
#include "core/retarget/posed_body.h"
#include "core/repair/repair.h"

namespace understudy {

/// A two-bone limb: thigh, shank, foot; upper arm, forearm, hand. Joints are −1 where the map has none.
struct LimbRig {
  int root = -1, mid = -1, end = -1;
  int girdle = -1;            ///< clavicle of an arm
  int tip = -1;               ///< toes of a leg
  double upper = 0, lower = 0;  ///< lengths in the reference pose, metres
  std::vector<int> beside;    ///< of an arm: joints that carry fingers beside the hand, and go along with it
  bool detached = false;      ///< the end hangs elsewhere in the tree and follows by translation
  Quatd midFromRoot;          ///< rotation of the middle joint in the root joint's frame, reference pose
  Vec3d hinge;                ///< unit axis in the root joint's frame about which a positive turn opens the middle joint
  [[nodiscard]] bool complete() const { return root >= 0 && mid >= 0 && end >= 0 && upper > 0 && lower > 0; }
  [[nodiscard]] double full() const { return upper + lower; }
};

/// What kinds of repairs work out of a character once (distance grids, palms), kept beside it by type. Safe for threads.
class ContextParts {
 public:
  /// The part of type T, made by make() when it is first asked for.
  template <class T, class Make>
  [[nodiscard]] std::shared_ptr<const T> get(Make make) {
    const std::scoped_lock lock(guard_);
    std::shared_ptr<const void>& slot = parts_[std::type_index(typeid(T))];
    if (!slot) slot = std::make_shared<const T>(make());
    return std::static_pointer_cast<const T>(slot);
  }
  /// The part of type T, empty at first: for what is remembered.
  template <class T>
  [[nodiscard]] std::shared_ptr<const T> get() {
    const std::scoped_lock lock(guard_);
    std::shared_ptr<const void>& slot = parts_[std::type_index(typeid(T))];
    if (!slot) slot = std::make_shared<const T>();
    return std::static_pointer_cast<const T>(slot);
  }

 private:
  std::recursive_mutex guard_;
  std::map<std::type_index, std::shared_ptr<const void>> parts_;
};

struct PlantLegs;

/// World frames are the stage's: metres, Y up, the character facing +Z in its reference pose.
struct RepairContext {
  std::shared_ptr<const Figure> figure;
  std::shared_ptr<const BoneMap> map;
  PosedBody body;                 ///< the character in its reference pose
  std::vector<std::vector<int>> below;  ///< each joint's descendants, ascending, itself not included
  std::array<LimbRig, 2> arms, legs;    ///< left, right
  std::array<Sole, 2> soles;
  std::shared_ptr<const PlantLegs> standing;  ///< how both feet stand and roll
  double height = 1.7;            ///< H, metres
  double leg = 0;                 ///< thigh + shank, mean, metres
  FrameRate rate;
  int frames = 0;                 ///< of the untrimmed clip
  std::vector<PropItem> props;
  std::vector<SetItem> set;
  std::vector<std::string> leftOut;  ///< meshes that are no part of the body, as in Take
  /// Joints that automatic repairs leave alone, with the frames.
  struct Locked {
    std::vector<int> joints;
    FrameSpan span;
  };
  std::vector<Locked> locks;
  /// Shared by contexts of one character and map; what lies in it must not depend on props, set, locks, rate or frames.
  std::shared_ptr<ContextParts> parts = std::make_shared<ContextParts>();

  [[nodiscard]] const SkeletonMap& roles() const { return map->character; }
  [[nodiscard]] int joint(Role role) const { return map->character.joint(role); }
  /// `lengthAt17` metres of a character 1.7 m tall, for this one.
  [[nodiscard]] double scaled(double lengthAt17) const { return lengthAt17 * height / 1.7; }
  /// A point of the file's reference pose (world transform `fileWorld`) in a joint's rigid frame, metres.
  [[nodiscard]] Vec3d rigidPoint(const JointPoint& point) const;
};

/// `settings` are the take's; the context holds the figure. Errors: no body can be read off the character.
[[nodiscard]] Result<std::shared_ptr<const RepairContext>> repairContext(std::shared_ptr<const Figure> character, std::shared_ptr<const BoneMap> map,
                                                                         const RetargetSettings& settings, FrameRate rate, int frames);

/// The joint a repair's bone name means: "@role" (also "@role/2" for the second joint of a chain) or a jointKey().
[[nodiscard]] Result<int> findBone(const RepairContext& context, const std::string& name);
/// The name by which a repair should call a joint: its role where it fills one.
[[nodiscard]] std::string boneName(const RepairContext& context, int joint);
/// Joints of all names, ascending; names the character does not have are told in `issues`. No names: all joints of roles and
/// those between them.
[[nodiscard]] std::vector<int> findBones(const RepairContext& context, const std::vector<std::string>& names, const std::string& where, Issues& issues);

}  // namespace understudy
