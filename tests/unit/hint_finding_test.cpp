// What is worth a look: joints beyond their range, standing off balance, knees that snap.
#include <gtest/gtest.h>

#include <cmath>

#include "core/inspect/balance.h"
#include "core/inspect/jumps.h"
#include "core/inspect/range.h"
#include "core/repair/poser.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

/// Every frame of `span` changed by `change`.
template <class Change>
TiledMotion changed(const test::Stand& stand, FrameSpan span, const Change& change) {
  TiledMotion motion = stand.motion.writable(span.first, span.count());
  for (int f = span.first; f <= span.last; ++f) {
    Poser poser(*stand.context);
    poser.load(motion, f);
    change(poser, f);
    poser.store(motion, f);
  }
  return motion;
}

/// Bends a limb to `degrees` from straight about its hinge; negative: backwards.
void bend(Poser& poser, const LimbRig& limb, double degrees) {
  const Vec3d upper = normalised(poser.position(limb.mid) - poser.position(limb.root)), lower = normalised(poser.position(limb.end) - poser.position(limb.mid));
  const Vec3d hinge = rotate(poser.rotation(limb.root), limb.hinge);
  // Straight first, then closed: a positive turn about the hinge opens.
  const Vec3d axis = cross(lower, upper);
  if (length(axis) > 1e-9) poser.turn(limb.mid, fromAxisAngle(normalised(axis), angleBetween(lower, upper)));
  poser.turn(limb.mid, fromAxisAngle(hinge, -degrees * degree));
}

TEST(RangeFinding, JointsBeyondPeoplesAreToldWithWhoTookThemThere) {
  const test::Stand stand = test::walkingStick(200);
  EXPECT_TRUE(rangeFindings(*stand.context, stand.motion, stand.motion).empty());
  const LimbRig& arm = stand.context->arms[0];
  const TiledMotion folded = changed(stand, {40, 70}, [&](Poser& poser, int) { bend(poser, arm, 172); });
  const Findings found = rangeFindings(*stand.context, folded, stand.motion);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_TRUE(found[0].hint);
  EXPECT_EQ(found[0].bones.front(), "@leftLowerArm");
  EXPECT_TRUE(found[0].span == (FrameSpan{40, 70}));
  EXPECT_NEAR(found[0].measure, 22, 1);  // elbows flex to 150°
  EXPECT_NE(found[0].cause.find("Repairs"), std::string::npos);
  EXPECT_NE(rangeFindings(*stand.context, folded, folded).at(0).cause.find("without repairs"), std::string::npos);
  // Within the margin, and for a moment, nothing is told.
  EXPECT_TRUE(rangeFindings(*stand.context, changed(stand, {40, 70}, [&](Poser& poser, int) { bend(poser, arm, 160); }), stand.motion).empty());
  EXPECT_TRUE(rangeFindings(*stand.context, changed(stand, {40, 41}, [&](Poser& poser, int) { bend(poser, arm, 172); }), stand.motion).empty());
  const TiledMotion backwards = changed(stand, {40, 70}, [&](Poser& poser, int) { bend(poser, stand.context->legs[1], -40); });
  const Findings knees = rangeFindings(*stand.context, backwards, stand.motion);
  ASSERT_EQ(knees.size(), 1U);
  EXPECT_EQ(knees[0].bones.front(), "@rightLowerLeg");
  EXPECT_NE(knees[0].sentence.find("backwards"), std::string::npos);
}

TEST(BalanceFinding, ABodyThatLeansFartherThanItsFeetReachIsToldOf) {
  const test::Stand stand = test::walkingStick(120);
  const RepairContext& context = *stand.context;
  std::vector<Repair> plants(2);
  plants[0].action = PlantRepair{.part = PlantPart::leftFoot};
  plants[1].action = PlantRepair{.part = PlantPart::rightFoot};
  // The reference pose throughout, upright or leant forwards about the feet.
  const auto posed = [&](double lean) {
    return changed(stand, {0, 119}, [&](Poser& poser, int) {
      const int hips = context.joint(Role::hips);
      for (int j = 0; j < context.figure->skeleton.size(); ++j) poser.setRotation(j, context.body.rotation[static_cast<std::size_t>(j)]);
      const Vec3d foot = (poser.position(context.legs[0].end) + poser.position(context.legs[1].end)) * 0.5, from = poser.position(hips) - foot;
      const Quatd turn = fromAxisAngle({1, 0, 0}, lean * degree);
      const std::array<Quatd, 2> feet{poser.rotation(context.legs[0].end), poser.rotation(context.legs[1].end)};
      poser.turn(hips, turn);
      for (std::size_t side = 0; side < 2; ++side) poser.setRotation(context.legs[side].end, feet[side]);
      poser.moveBy(hips, Vec3d{0, from.y, 0} + rotate(turn, from) - from + Vec3d{-poser.position(hips).x, -from.y, -poser.position(hips).z});
    });
  };
  EXPECT_TRUE(balanceFindings(context, posed(0), plants).empty());
  const Findings found = balanceFindings(context, posed(35), plants);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_TRUE(found[0].hint);
  EXPECT_GT(found[0].measure, 100);
  EXPECT_TRUE(balanceFindings(context, posed(35), {}).empty());
}

TEST(JumpFinding, AKneeThatJumpsToFullStretchSnaps) {
  const test::Stand stand = test::walkingStick(200);
  const LimbRig& leg = stand.context->legs[0];
  const TiledMotion motion = changed(stand, {60, 100}, [&](Poser& poser, int f) { bend(poser, leg, f < 80 ? 35 : 2); });
  bool snaps = false;
  for (const Finding& f : jumpFindings(*stand.context, motion))
    if (f.kind == FindingKind::snap && f.worst == 80) {
      snaps = true;
      EXPECT_EQ(f.bones.front(), "@leftLowerLeg");
      EXPECT_NEAR(f.measure, 33, 1);
    }
  EXPECT_TRUE(snaps);
}

}  // namespace
}  // namespace understudy
