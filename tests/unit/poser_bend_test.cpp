// Limbs that are nearly straight bend the hinge's way, whatever plane noise gives them.
#include <gtest/gtest.h>

#include <cmath>

#include "core/io/read.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

struct Arm {
  std::shared_ptr<const RepairContext> context;
  TiledMotion rest;
};

Arm keeperArm() {
  Arm out;
  Result<Figure> figure = readFigure(std::string(UNDERSTUDY_SOURCE) + "/samples/keeper.glb");
  if (!figure) return out;
  auto shared = std::make_shared<const Figure>(std::move(*figure));
  auto map = std::make_shared<BoneMap>();
  map->character = mapRoles(*shared);
  Result<std::shared_ptr<const RepairContext>> context = repairContext(shared, map, {}, {30, 1}, 1);
  if (!context) return out;
  out.context = *context;
  out.rest = TiledMotion(std::make_shared<const Motion>(restMotion(shared->skeleton, 1, {30, 1})));
  return out;
}

/// Straightens the arm but for `bend` radians towards `direction` (radians about the arm's line, 0: the hinge's way).
void straighten(Poser& poser, const LimbRig& arm, double bend, double direction) {
  const Vec3d upper = normalised(poser.position(arm.mid) - poser.position(arm.root)), lower = normalised(poser.position(arm.end) - poser.position(arm.mid));
  poser.turn(arm.mid, rotationBetween(lower, upper));
  const Vec3d hinge = rotate(fromAxisAngle(upper, direction), rotate(poser.rotation(arm.root), arm.hinge));
  poser.turn(arm.mid, fromAxisAngle(hinge, -bend));
}

TEST(PoserBend, APlaneOfNoiseDoesNotMoveTheElbowAbout) {
  const Arm arm = keeperArm();
  ASSERT_TRUE(arm.context);
  const LimbRig& limb = arm.context->arms[0];
  Poser poser(*arm.context);
  std::vector<Vec3d> elbows;
  std::vector<Quatd> uppers;
  for (int k = 0; k < 16; ++k) {
    poser.load(arm.rest, 0);
    straighten(poser, limb, 0.004, k * 2 * M_PI / 16);
    const Vec3d shoulder = poser.position(limb.root), target = shoulder + (poser.position(limb.end) - shoulder) * 0.85;
    EXPECT_LT(poser.solveLimb(limb, {target, {}, {}, 1}), 1e-9);
    elbows.push_back(poser.position(limb.mid));
    uppers.push_back(poser.rotation(limb.root));
  }
  for (std::size_t k = 1; k < elbows.size(); ++k) {
    EXPECT_LT(distance(elbows[k], elbows[0]), 0.01 * limb.full());
    EXPECT_LT(angleBetween(uppers[k], uppers[0]), 0.03);
  }
}

TEST(PoserBend, WhatIsWhereItShouldBeStaysAsItIs) {
  const Arm arm = keeperArm();
  ASSERT_TRUE(arm.context);
  const LimbRig& limb = arm.context->arms[1];
  Poser poser(*arm.context);
  for (const double bend : {0.0, 0.01, 0.1, 0.3, 0.6, 1.5})
    for (int k = 0; k < 8; ++k) {
      poser.load(arm.rest, 0);
      straighten(poser, limb, bend, k * 2 * M_PI / 8);
      const Quatd upper = poser.rotation(limb.root), lower = poser.rotation(limb.mid);
      poser.solveLimb(limb, {poser.position(limb.end), {}, {}, 1});
      EXPECT_LT(angleBetween(poser.rotation(limb.root), upper), 1e-4) << bend;
      EXPECT_LT(angleBetween(poser.rotation(limb.mid), lower), 1e-4) << bend;
    }
}

TEST(PoserBend, FromStraightToBentTheElbowGoesSmoothly) {
  const Arm arm = keeperArm();
  ASSERT_TRUE(arm.context);
  const LimbRig& limb = arm.context->arms[0];
  Poser poser(*arm.context);
  // The motion's own bend grows in a plane 40° off the hinge while the hand is held at the same part of the arm's length.
  Vec3d before;
  for (int k = 0; k <= 200; ++k) {
    poser.load(arm.rest, 0);
    straighten(poser, limb, 0.004 * k, 0.7);
    const Vec3d shoulder = poser.position(limb.root), target = shoulder + normalised(poser.position(limb.end) - shoulder) * (0.8 * limb.full());
    poser.solveLimb(limb, {target, {}, {}, 1});
    const Vec3d elbow = poser.position(limb.mid);
    if (k > 0) {
      EXPECT_LT(distance(elbow, before), 0.006 * limb.full()) << k;
    }
    before = elbow;
  }
}

}  // namespace
}  // namespace understudy
