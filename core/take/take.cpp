#include "core/take/take.h"

namespace understudy {
namespace {

RoleKeys keysOf(const RoleJoints& role, const Skeleton& skeleton) {
  RoleKeys keys{{}, role.confidence, role.reason};
  for (int joint : role.joints) keys.joints.push_back(jointKey(skeleton, joint));
  return keys;
}

SkeletonMap resolve(const PerRole<RoleKeys>& keys, const Skeleton& skeleton, const std::string& whose, Issues* issues) {
  SkeletonMap map;
  for (int r = 0; r < roleCount; ++r) {
    const RoleKeys& from = keys[static_cast<std::size_t>(r)];
    RoleJoints& to = map.roles[static_cast<std::size_t>(r)];
    to.confidence = from.confidence;
    to.reason = from.reason;
    for (const std::string& key : from.joints) {
      const Result<int> joint = findJoint(skeleton, key);
      if (joint) {
        to.joints.push_back(*joint);
      } else if (issues) {
        issues->push_back(makeWarning("The " + whose + " has no joint '" + key + "' any more", std::string(roleName(roleAt(r))),
                                      "Choose another joint for this role"));
      }
    }
    if (to.joints.empty()) to.confidence = 0;
  }
  return map;
}

}  // namespace

std::string bakeKindName(BakeKind kind) { return kind == BakeKind::sampled ? "sampled" : kind == BakeKind::reduced ? "reduced" : "editable"; }

bool bakeKindNamed(const std::string& name, BakeKind& kind) {
  for (BakeKind one : {BakeKind::sampled, BakeKind::reduced, BakeKind::editable})
    if (name == bakeKindName(one)) {
      kind = one;
      return true;
    }
  return false;
}

Reel newReel() {
  Reel reel;
  Take take;
  take.name = "Take 1";
  reel.takes.emplace_back(std::move(take));
  return reel;
}

MapKeys keysOf(const BoneMap& map, const Skeleton& performer, const Skeleton& character) {
  MapKeys keys;
  for (std::size_t r = 0; r < static_cast<std::size_t>(roleCount); ++r) {
    keys.performer[r] = keysOf(map.performer.roles[r], performer);
    keys.character[r] = keysOf(map.character.roles[r], character);
  }
  return keys;
}

BoneMap resolveMap(const MapKeys& keys, const Skeleton& performer, const Skeleton& character, Issues* issues) {
  return {resolve(keys.performer, performer, "performer", issues), resolve(keys.character, character, "character", issues)};
}

}  // namespace understudy
