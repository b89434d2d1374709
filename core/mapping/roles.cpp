#include "core/mapping/roles.h"

#include <string>

namespace understudy {
namespace {

constexpr PerRole<std::string_view> names{
    "hips", "spine", "chest", "upperChest", "neck", "head", "leftEye", "rightEye", "jaw",
    "leftUpperLeg", "leftLowerLeg", "leftFoot", "leftToes", "rightUpperLeg", "rightLowerLeg", "rightFoot", "rightToes",
    "leftShoulder", "leftUpperArm", "leftLowerArm", "leftHand", "rightShoulder", "rightUpperArm", "rightLowerArm", "rightHand",
    "leftThumbMetacarpal", "leftThumbProximal", "leftThumbDistal",
    "leftIndexProximal", "leftIndexIntermediate", "leftIndexDistal",
    "leftMiddleProximal", "leftMiddleIntermediate", "leftMiddleDistal",
    "leftRingProximal", "leftRingIntermediate", "leftRingDistal",
    "leftLittleProximal", "leftLittleIntermediate", "leftLittleDistal",
    "rightThumbMetacarpal", "rightThumbProximal", "rightThumbDistal",
    "rightIndexProximal", "rightIndexIntermediate", "rightIndexDistal",
    "rightMiddleProximal", "rightMiddleIntermediate", "rightMiddleDistal",
    "rightRingProximal", "rightRingIntermediate", "rightRingDistal",
    "rightLittleProximal", "rightLittleIntermediate", "rightLittleDistal"};

}  // namespace

std::string_view roleName(Role role) { return names[indexOf(role)]; }

std::optional<Role> roleNamed(std::string_view name) {
  for (int i = 0; i < roleCount; ++i)
    if (names[i] == name) return roleAt(i);
  return std::nullopt;
}

bool isRequired(Role role) {
  switch (role) {
    case Role::hips: case Role::spine: case Role::head:
    case Role::leftUpperLeg: case Role::leftLowerLeg: case Role::leftFoot:
    case Role::rightUpperLeg: case Role::rightLowerLeg: case Role::rightFoot:
    case Role::leftUpperArm: case Role::leftLowerArm: case Role::leftHand:
    case Role::rightUpperArm: case Role::rightLowerArm: case Role::rightHand:
      return true;
    default:
      return false;
  }
}

Side sideOf(Role role) {
  const std::string_view name = roleName(role);
  if (name.starts_with("left")) return Side::left;
  if (name.starts_with("right")) return Side::right;
  return Side::centre;
}

Role mirrored(Role role) {
  const std::string name(roleName(role));
  if (name.starts_with("left")) return *roleNamed("right" + name.substr(4));
  if (name.starts_with("right")) return *roleNamed("left" + name.substr(5));
  return role;
}

Role parentOf(Role role) {
  switch (role) {
    case Role::hips: return Role::hips;
    case Role::spine: return Role::hips;
    case Role::chest: return Role::spine;
    case Role::upperChest: return Role::chest;
    case Role::neck: return Role::upperChest;
    case Role::head: return Role::neck;
    case Role::leftEye: case Role::rightEye: case Role::jaw: return Role::head;
    case Role::leftUpperLeg: case Role::rightUpperLeg: return Role::hips;
    case Role::leftShoulder: case Role::rightShoulder: return Role::upperChest;
    default: break;
  }
  if (isFinger(role)) {
    const int first = indexOf(sideOf(role) == Side::left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal);
    if ((indexOf(role) - first) % 3 == 0) return sideOf(role) == Side::left ? Role::leftHand : Role::rightHand;
  }
  return roleAt(indexOf(role) - 1);  // the enum lists each limb from its root outwards
}

}  // namespace understudy
