// Body slots both skeletons can fill: the humanoid bones of VRM 1.0.
#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace understudy {

/// Humanoid bones in the order and spelling of the VRM 1.0 specification (VRMC_vrm-1.0, humanoid).
enum class Role : unsigned char {
  hips, spine, chest, upperChest, neck, head, leftEye, rightEye, jaw,
  leftUpperLeg, leftLowerLeg, leftFoot, leftToes, rightUpperLeg, rightLowerLeg, rightFoot, rightToes,
  leftShoulder, leftUpperArm, leftLowerArm, leftHand, rightShoulder, rightUpperArm, rightLowerArm, rightHand,
  leftThumbMetacarpal, leftThumbProximal, leftThumbDistal,
  leftIndexProximal, leftIndexIntermediate, leftIndexDistal,
  leftMiddleProximal, leftMiddleIntermediate, leftMiddleDistal,
  leftRingProximal, leftRingIntermediate, leftRingDistal,
  leftLittleProximal, leftLittleIntermediate, leftLittleDistal,
  rightThumbMetacarpal, rightThumbProximal, rightThumbDistal,
  rightIndexProximal, rightIndexIntermediate, rightIndexDistal,
  rightMiddleProximal, rightMiddleIntermediate, rightMiddleDistal,
  rightRingProximal, rightRingIntermediate, rightRingDistal,
  rightLittleProximal, rightLittleIntermediate, rightLittleDistal,
  count
};

inline constexpr int roleCount = static_cast<int>(Role::count);
enum class Side { centre, left, right };

/// The role's VRM spelling, such as "leftUpperArm".
[[nodiscard]] std::string_view roleName(Role role);
[[nodiscard]] std::optional<Role> roleNamed(std::string_view name);
/// True for the 15 bones VRM 1.0 requires.
[[nodiscard]] bool isRequired(Role role);
[[nodiscard]] Side sideOf(Role role);
/// The same slot on the other side; centre roles return themselves.
[[nodiscard]] Role mirrored(Role role);
/// The slot's parent in the VRM 1.0 hierarchy; hips returns hips.
[[nodiscard]] Role parentOf(Role role);
[[nodiscard]] inline bool isFinger(Role role) { return role >= Role::leftThumbMetacarpal; }

template <class T>
using PerRole = std::array<T, roleCount>;
[[nodiscard]] constexpr int indexOf(Role role) { return static_cast<int>(role); }
[[nodiscard]] constexpr Role roleAt(int index) { return static_cast<Role>(index); }

}  // namespace understudy
