#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "core/repair/drag.h"
#include "core/repair/offset.h"
#include "core/repair/poser.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

Poser posed(const RepairContext& context, const TiledMotion& motion, int frame) {
  Poser poser(context);
  poser.load(motion, frame);
  return poser;
}

/// The pose at a frame once the nudge that a drag has written is applied.
Poser applied(const test::Stand& stand, const Nudge& nudge, int frame) {
  Issues issues;
  const TiledMotion out = test::runLayer(*makeOffsetLayer(stand.context, {}, {&nudge}, issues), stand.motion).motion;
  EXPECT_TRUE(issues.empty());
  return posed(*stand.context, out, frame);
}

TEST(Drag, HandsAndFeetReachTheirPlaceAndTheLimbFollows) {
  const test::Stand stand = test::walkingStick(60);
  const RepairContext& c = *stand.context;
  const Poser before = posed(c, stand.motion, 30);
  for (const LimbRig* limb : {&c.arms[0], &c.arms[1], &c.legs[0], &c.legs[1]}) {
    const Vec3d target = before.position(limb->root) + (before.position(limb->end) - before.position(limb->root)) * 0.8 + Vec3d{0.03, 0.02, 0.05};
    const auto drag = dragged(c, stand.motion, 30, limb->end, target);
    ASSERT_TRUE(drag.ok());
    EXPECT_LT(drag->miss, 1e-9);
    EXPECT_EQ(drag->nudge.joints.size(), 3U);
    const Poser after = applied(stand, drag->nudge, 30);
    EXPECT_NEAR(distance(after.position(limb->end), target), 0, 2e-6);
    EXPECT_NEAR(angleBetween(after.rotation(limb->end), before.rotation(limb->end)), 0, 1e-6);
    EXPECT_NEAR(distance(after.position(limb->root), before.position(limb->root)), 0, 1e-6);
    const auto along = dragged(c, stand.motion, 30, limb->end, target, {.endKeepsRotation = false});
    EXPECT_EQ(along->nudge.joints.size(), 2U);
    // Too far away: what is missing is told.
    const auto far = dragged(c, stand.motion, 30, limb->end, before.position(limb->root) + Vec3d{3, 0, 0});
    EXPECT_NEAR(far->miss, 3 - limb->full(), 1e-6);
  }
}

TEST(Drag, ElbowsAndKneesSwingWhileTheEndStays) {
  const test::Stand stand = test::walkingStick(60);
  const RepairContext& c = *stand.context;
  const LimbRig& arm = c.arms[0];
  // An arm that is bent well.
  test::Stand bent = stand;
  const Poser straight = posed(c, stand.motion, 30);
  const auto hand = dragged(c, stand.motion, 30, arm.end, straight.position(arm.root) + (straight.position(arm.end) - straight.position(arm.root)) * 0.6);
  Issues issues;
  bent.motion = test::runLayer(*makeOffsetLayer(stand.context, {}, {&hand->nudge}, issues), stand.motion).motion;
  const Poser before = posed(c, bent.motion, 30);
  const Vec3d line = normalised(before.position(arm.end) - before.position(arm.root));
  const Vec3d out = rotate(fromAxisAngle(line, 0.7), before.position(arm.mid) - before.position(arm.root)) + before.position(arm.root);
  const auto drag = dragged(c, bent.motion, 30, arm.mid, out);
  ASSERT_TRUE(drag.ok());
  EXPECT_LT(drag->miss, 1e-6);
  const Poser after = applied(bent, drag->nudge, 30);
  EXPECT_NEAR(distance(after.position(arm.mid), out), 0, 2e-6);
  EXPECT_NEAR(distance(after.position(arm.end), before.position(arm.end)), 0, 2e-6);
  EXPECT_NEAR(angleBetween(after.rotation(arm.end), before.rotation(arm.end)), 0, 1e-6);
  // Off the circle the nearest place on it is taken.
  const auto off = dragged(c, bent.motion, 30, arm.mid, out + line * 0.1);
  EXPECT_NEAR(off->miss, 0.1, 1e-5);
  // The upper bone alone.
  const auto free = dragged(c, bent.motion, 30, arm.mid, before.position(arm.root) + Vec3d{0, arm.upper, 0}, {.endStays = false});
  ASSERT_TRUE(free.ok());
  EXPECT_EQ(free->nudge.joints.size(), 1U);
  EXPECT_LT(free->miss, 1e-5);
}

TEST(Drag, TheHipsCarryTheBodyAndTheFeetStay) {
  const test::Stand stand = test::walkingStick(60);
  const RepairContext& c = *stand.context;
  const int hips = c.joint(Role::hips);
  const Poser before = posed(c, stand.motion, 20);
  const Vec3d target = before.position(hips) + Vec3d{0.03, -0.12, 0.02};
  for (const bool hands : {false, true}) {
    const auto drag = dragged(c, stand.motion, 20, hips, target, {.handsStay = hands});
    ASSERT_TRUE(drag.ok());
    const Poser after = applied(stand, drag->nudge, 20);
    EXPECT_NEAR(distance(after.position(hips), target), 0, 2e-6);
    for (const LimbRig& leg : c.legs) {
      EXPECT_NEAR(distance(after.position(leg.end), before.position(leg.end)), 0, 3e-6);
      EXPECT_NEAR(angleBetween(after.rotation(leg.end), before.rotation(leg.end)), 0, 2e-6);
    }
    for (const LimbRig& arm : c.arms) EXPECT_EQ(distance(after.position(arm.end), before.position(arm.end)) < 3e-6, hands);
  }
  const auto alone = dragged(c, stand.motion, 20, hips, target, {.feetStay = false});
  EXPECT_EQ(alone->nudge.joints.size(), 1U);
}

TEST(Drag, OtherBonesAreBroughtIntoTheDirection) {
  const test::Stand stand = test::walkingStick(60);
  const RepairContext& c = *stand.context;
  const int head = c.joint(Role::head), neck = c.figure->skeleton.parents[static_cast<std::size_t>(head)];
  const Poser before = posed(c, stand.motion, 20);
  const Vec3d target = before.position(neck) + Vec3d{0.1, 0.3, 0.1};
  const auto drag = dragged(c, stand.motion, 20, head, target);
  ASSERT_TRUE(drag.ok());
  ASSERT_EQ(drag->nudge.joints.size(), 1U);
  EXPECT_EQ(drag->nudge.joints[0].joint, boneName(c, neck));
  const Poser after = applied(stand, drag->nudge, 20);
  EXPECT_NEAR(distance(normalised(after.position(head) - after.position(neck)), normalised(target - before.position(neck))), 0, 1e-5);
  // Dropped where it was: nothing is written.
  EXPECT_TRUE(dragged(c, stand.motion, 20, head, before.position(head))->nudge.joints.empty());
}

TEST(Drag, BadInputIsRefused) {
  const test::Stand stand = test::walkingStick(30);
  const RepairContext& c = *stand.context;
  const double nan = std::numeric_limits<double>::quiet_NaN();
  EXPECT_FALSE(dragged(c, stand.motion, 30, 2, {0, 0, 0}).ok());
  EXPECT_FALSE(dragged(c, stand.motion, -1, 2, {0, 0, 0}).ok());
  EXPECT_FALSE(dragged(c, stand.motion, 3, 999, {0, 0, 0}).ok());
  EXPECT_FALSE(dragged(c, stand.motion, 3, 2, {nan, 0, 0}).ok());
  test::Stand still = test::swinging(c.figure, c.map, 10, 0, 1);
  const LimbRig& arm = c.arms[0];
  const auto straight = dragged(*still.context, still.motion, 3, arm.mid, {0, 0, 0});
  ASSERT_FALSE(straight.ok());
  EXPECT_NE(straight.error().text().find("straight"), std::string::npos);
}

}  // namespace
}  // namespace understudy
