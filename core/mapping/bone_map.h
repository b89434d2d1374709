// Which joints of a skeleton fill which role, and how sure that is.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/roles.h"

namespace understudy {

/// The joints of one skeleton that fill a role. A chain (several spine bones, an upper arm and its twist bones) lists
/// its joints from the root outwards; the first one is the role's own.
struct RoleJoints {
  std::vector<int> joints;
  double confidence = 0;   ///< 0 … 1; below `doubtfulBelow` the editor asks
  std::string reason;      ///< why, for people: "named 'LArm', left, between shoulder and elbow"
  friend bool operator==(const RoleJoints&, const RoleJoints&) = default;

  [[nodiscard]] bool empty() const { return joints.empty(); }
  [[nodiscard]] int first() const { return joints.empty() ? -1 : joints.front(); }
};

inline constexpr double doubtfulBelow = 0.6;

/// The map of one skeleton.
struct SkeletonMap {
  PerRole<RoleJoints> roles;
  Issues issues;

  [[nodiscard]] const RoleJoints& at(Role role) const { return roles[indexOf(role)]; }
  [[nodiscard]] RoleJoints& at(Role role) { return roles[indexOf(role)]; }
  /// First joint of the role, −1 where it is empty.
  [[nodiscard]] int joint(Role role) const { return at(role).first(); }
  friend bool operator==(const SkeletonMap& a, const SkeletonMap& b) { return a.roles == b.roles; }
};

/// What the body hangs between on its legs: the upper legs' joints, as far as there are any, else the hips'.
[[nodiscard]] std::vector<int> hipJoints(const SkeletonMap& map);

/// Some rigs hang what carries fingers beside the hand, on the forearm: the topmost joints on one side that do so, ascending.
[[nodiscard]] std::vector<int> besideHand(const Skeleton& skeleton, const SkeletonMap& map, bool left);

/// The bone map of a take: role → performer joints, role → character bones.
struct BoneMap {
  SkeletonMap performer, character;
  friend bool operator==(const BoneMap&, const BoneMap&) = default;
};

struct MapSettings {
  bool useNames = true;   ///< false: topology and rest geometry alone
};

/// Finds the roles of a skeleton from its names, topology and rest (bind) geometry; motion of the figure's first clip
/// settles what the rest pose leaves open (zero poses that are no poses). Roles it cannot find stay empty.
[[nodiscard]] SkeletonMap mapRoles(const Figure& figure, const MapSettings& settings = {});

/// Required roles that are empty, as names.
[[nodiscard]] std::vector<std::string> missingRequired(const SkeletonMap& map);

/// Map file: JSON with "roles": { role: { "performer": key | [keys], "character": key | [keys] } } and, for people,
/// confidences and reasons. Keys are those of jointKey().
[[nodiscard]] std::string writeMapFile(const BoneMap& map, const Figure& performer, const Figure& character);
/// Errors name the role, the key and the line of the file where possible. Unknown fields are kept out of the map
/// with a warning in `issues`.
[[nodiscard]] Result<BoneMap> readMapFile(std::string_view json, const std::string& path, const Figure& performer, const Figure& character,
                                          Issues* issues = nullptr);

}  // namespace understudy
