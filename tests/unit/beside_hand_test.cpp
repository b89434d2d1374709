// Hands whose fingers hang beside them, on the forearm.
#include <gtest/gtest.h>

#include <optional>

#include "core/body/body_surface.h"
#include "core/mapping/bone_map.h"

namespace understudy {
namespace {

struct Rig {
  Skeleton skeleton;
  SkeletonMap map;
  int join(const char* name, int parent, std::optional<Role> role = {}) {
    const int j = skeleton.add(name, parent, Trsd{}, skeleton.size());
    if (role) map.at(*role).joints = {j};
    return j;
  }
};

TEST(BesideHand, WhatCarriesFingersBesideTheHandIsFound) {
  Rig rig;
  const int forearm = rig.join("forearm", rig.join("arm", rig.join("hips", -1, Role::hips), Role::leftUpperArm), Role::leftLowerArm);
  const int twist = rig.join("twist", forearm), hand = rig.join("hand", twist, Role::leftHand);
  rig.join("middle", rig.join("palm 2", hand), Role::leftMiddleProximal);
  const int palm = rig.join("palm 1", forearm), index = rig.join("index", rig.join("knuckle", palm), Role::leftIndexProximal);
  const int thumb = rig.join("thumb", twist, Role::leftThumbProximal);
  EXPECT_EQ(besideHand(rig.skeleton, rig.map, true), (std::vector<int>{palm, thumb}));
  EXPECT_TRUE(besideHand(rig.skeleton, rig.map, false).empty());
  const std::vector<BodyPart> parts = partsOfJoints(rig.skeleton, rig.map);
  for (const int j : {hand, palm, index, thumb}) EXPECT_EQ(parts[static_cast<std::size_t>(j)], BodyPart::leftHand) << j;
  for (const int j : {forearm, twist}) EXPECT_EQ(parts[static_cast<std::size_t>(j)], BodyPart::leftForearm) << j;
}

}  // namespace
}  // namespace understudy
