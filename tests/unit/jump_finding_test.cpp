#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <vector>

#include "core/inspect/limb_names.h"
#include "core/inspect/events.h"
#include "core/inspect/jumps.h"
#include "core/repair/hold.h"
#include "core/repair/poser.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

bool names(const Finding& finding, const char* bone) { return std::find(finding.bones.begin(), finding.bones.end(), bone) != finding.bones.end(); }

TiledMotion bridged(const test::Stand& stand, const TiledMotion& motion, const Finding& finding) {
  Issues issues;
  std::vector<const Repair*> repairs;
  for (const Repair& repair : finding.proposal) repairs.push_back(&repair);
  return test::runLayer(*makeHoldLayer(stand.context, repairs, issues), motion).motion;
}

/// Turns a bone while those on it stay as they lie.
void turnUnder(Poser& poser, int joint, const Quatd& turn, std::initializer_list<int> still) {
  std::vector<Quatd> kept;
  for (const int other : still) kept.push_back(poser.rotation(other));
  poser.turn(joint, turn);
  auto lay = kept.begin();
  for (const int other : still) poser.setRotation(other, *lay++);
}

/// From frame 100 on the pelvis turned while the thighs stay as they lie, and the left shank by `shank` degrees.
TiledMotion stumbled(const test::Stand& stand, double shank) {
  const RepairContext& context = *stand.context;
  TiledMotion motion = stand.motion.writable(100, 100);
  Poser poser(context);
  for (int f = 100; f < 200; ++f) {
    poser.load(motion, f);
    turnUnder(poser, context.joint(Role::hips), fromAxisAngle({1, 0, 0}, 9 * degree), {context.legs[0].root, context.legs[1].root});
    if (shank != 0) poser.turn(context.legs[0].mid, fromAxisAngle({1, 0, 0}, shank * degree));
    poser.store(motion, f);
  }
  return motion;
}

TEST(JumpFinding, ABoneThatJumpsIsFoundAndBridged) {
  const test::Stand stand = test::walkingStick(200);
  EXPECT_TRUE(jumpFindings(*stand.context, stand.motion).empty());
  const int arm = stand.context->arms[0].root;
  TiledMotion motion = stand.motion.writable(60, 1);
  Poser poser(*stand.context);
  poser.load(motion, 60);
  poser.turn(arm, fromAxisAngle({1, 0, 0}, 40 * degree));
  poser.store(motion, 60);
  const Findings found = jumpFindings(*stand.context, motion);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_NEAR(found[0].measure, 40, 8);
  EXPECT_EQ(found[0].bones.front(), "@leftUpperArm");
  EXPECT_TRUE(found[0].span == (FrameSpan{60, 60}));
  EXPECT_TRUE(jumpFindings(*stand.context, bridged(stand, motion, found[0])).empty());
}

TEST(JumpFinding, APelvisThatStumblesIsOneFindingWithWhatHangsOnIt) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  const int hips = context.joint(Role::hips), spine = context.joint(Role::spine);
  TiledMotion motion = stand.motion.writable(100, 1);
  Poser poser(context);
  poser.load(motion, 100);
  turnUnder(poser, hips, fromAxisAngle({1, 0, 0}, 9 * degree), {spine, context.legs[0].root, context.legs[1].root});
  poser.store(motion, 100);
  const Findings found = jumpFindings(context, motion);
  ASSERT_EQ(found.size(), 1U);
  for (const char* bone : {"@hips", "@spine"}) EXPECT_TRUE(names(found[0], bone)) << bone;
  ASSERT_EQ(found[0].proposal.size(), 1U);
  EXPECT_TRUE(jumpFindings(context, bridged(stand, motion, found[0])).empty());
}

// A pelvis in fast motion hides a stumble of one frame that the still spine on it shows: a bridge of the spine alone would stumble with it.
TEST(JumpFinding, AStumbleHiddenInFastMotionIsRebuiltWithWhatShowsIt) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  const int hips = context.joint(Role::hips), spine = context.joint(Role::spine);
  TiledMotion motion = stand.motion.writable(0, 200);
  Poser poser(context);
  for (int f = 0; f < 200; ++f) {
    poser.load(motion, f);
    poser.turn(hips, fromAxisAngle({0, 1, 0}, 16 * std::sin(0.25 * f) * degree));
    if (f == 100) turnUnder(poser, hips, fromAxisAngle({1, 0, 0}, 10 * degree), {spine});
    poser.store(motion, f);
  }
  const Findings found = jumpFindings(context, motion);
  ASSERT_FALSE(found.empty());
  const auto first = std::find_if(found.begin(), found.end(), [&](const Finding& f) { return names(f, "@spine"); });
  ASSERT_NE(first, found.end());
  EXPECT_TRUE(names(*first, "@hips"));
}

// Legs that swing hide the turns back that they make where the pelvis jumps; each would be off by its jump where that alone is rebuilt.
TEST(JumpFinding, LegsThatTurnBackAgainstAPelvisAreRebuiltWithIt) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  const TiledMotion motion = stumbled(stand, 0);
  const Findings found = jumpFindings(context, motion);
  ASSERT_FALSE(found.empty());
  for (const char* bone : {"@hips", "@leftUpperLeg", "@rightUpperLeg"}) EXPECT_TRUE(names(found[0], bone)) << bone;
  EXPECT_FALSE(names(found[0], "@leftLowerLeg"));
}

// Captures slip in two frames as well, which at few frames a second take as long as a fast move.
TEST(JumpFinding, TwoQuickStepsOfTheTrunkTheSameWayAreOneJump) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  const auto slipped = [&](int joint) {
    TiledMotion motion = stand.motion.writable(100, 100);
    Poser poser(context);
    for (int f = 100; f < 200; ++f) {
      poser.load(motion, f);
      poser.turn(joint, fromAxisAngle({1, 0, 0}, (f == 100 ? 45 : 90) * degree));
      poser.store(motion, f);
    }
    return motion;
  };
  const TiledMotion bent = slipped(context.joint(Role::spine));
  EXPECT_TRUE(jumpFindings(context, bent).empty());
  JumpLimits quick;
  quick.twoSteps = 2.5 / context.rate.hertz();
  const Findings found = jumpFindings(context, bent, quick);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_TRUE(found[0].span == (FrameSpan{100, 100}));
  EXPECT_TRUE(jumpFindings(context, bridged(stand, bent, found[0]), quick).empty());
  EXPECT_TRUE(jumpFindings(context, slipped(context.arms[0].root), quick).empty());  // limbs are as quick
}

// Where pelvis and thighs stumble, shanks that would not count as jumping by themselves are rebuilt too.
TEST(JumpFinding, WhatTurnsOutOfTheOrdinaryOnAStumblingChainIsRebuiltWithIt) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  const TiledMotion motion = stumbled(stand, -8);
  const Findings found = jumpFindings(context, motion);
  ASSERT_FALSE(found.empty());
  EXPECT_TRUE(names(found[0], "@leftLowerLeg"));
  EXPECT_FALSE(names(found[0], "@rightLowerLeg"));
  JumpLimits without;
  without.withRatio = 1e9;
  for (const Finding& f : jumpFindings(context, motion, without)) EXPECT_FALSE(names(f, "@leftLowerLeg"));
}

TEST(JumpFinding, AFirstFrameThatDoesNotBelongIsMadeAnew) {
  const test::Stand stand = test::walkingStick(200);
  const RepairContext& context = *stand.context;
  TiledMotion motion = stand.motion.writable(0, 1);
  const auto rotations = motion.rotationsToWrite(0);
  for (const RoleJoints& role : context.roles().roles)
    for (const int joint : role.joints)
      rotations[static_cast<std::size_t>(joint)] = Quatf(fromAxisAngle({0, 0, 1}, 25 * degree) * Quatd(rotations[static_cast<std::size_t>(joint)]));
  const Findings found = jumpFindings(context, motion);
  ASSERT_EQ(found.size(), 1U);
  const auto& bridge = std::get<BridgeRepair>(found[0].proposal.at(0).action);
  EXPECT_TRUE(bridge.bones.empty());
  EXPECT_TRUE(repairFrames(found[0].proposal[0], context.rate, 200).span == (FrameSpan{0, 0}));
  const TiledMotion mended = bridged(stand, motion, found[0]);
  for (const int joint : {context.joint(Role::hips), context.arms[0].root, context.legs[1].mid})
    EXPECT_LT(angleBetween(Quatd(mended.rotationsAt(0)[static_cast<std::size_t>(joint)]), Quatd(stand.motion.rotationsAt(0)[static_cast<std::size_t>(joint)])), 4 * degree) << joint;
}

Finding flaw(FindingKind kind, const char* bone, FrameSpan span, double measure, const char* cause) {
  Finding finding;
  finding.kind = kind;
  finding.bones = {bone};
  finding.span = span;
  finding.measure = measure;
  finding.sentence = bone;
  finding.cause = cause;
  return finding;
}

TEST(Events, WhatOneLimbDoesInOneGoIsOneFinding) {
  const FrameRate rate{100, 1};
  const Findings out = joinedEvents({flaw(FindingKind::pop, "@leftFoot", {50, 50}, 3, "b"), flaw(FindingKind::pop, "@leftLowerLeg", {30, 31}, 5, "a"),
                                     flaw(FindingKind::pop, "@rightFoot", {52, 52}, 4, "c"), flaw(FindingKind::slide, "@leftFoot", {45, 60}, 9, "d"),
                                     flaw(FindingKind::pop, "@leftToes", {90, 90}, 2, "")},
                                    rate);
  ASSERT_EQ(out.size(), 4U);
  EXPECT_TRUE(out[0].span == (FrameSpan{30, 50}));
  EXPECT_EQ(out[0].measure, 5);
  EXPECT_EQ(out[0].bones, (std::vector<std::string>{"@leftLowerLeg", "@leftFoot"}));
  EXPECT_EQ(out[0].cause, "a");
  EXPECT_NE(out[0].sentence.find("2 times"), std::string::npos);
  EXPECT_EQ(out[3].span.first, 90);
  // What is not explained stays so beside what is.
  EXPECT_EQ(joinedEvents({flaw(FindingKind::pop, "@leftFoot", {50, 50}, 3, "b"), flaw(FindingKind::pop, "@leftFoot", {60, 60}, 1, "")}, rate).at(0).cause, "");
}

TEST(Events, BonesBelongToLimbs) {
  EXPECT_EQ(limbOfBone("@leftIndexDistal"), BodyLimb::leftArm);
  EXPECT_EQ(limbOfBone("@rightToes"), BodyLimb::rightLeg);
  EXPECT_EQ(limbOfBone("@spine/2"), BodyLimb::trunk);
  EXPECT_EQ(limbOfBone("@leftEye"), BodyLimb::trunk);
  EXPECT_EQ(limbOfBone("Armature/coat"), BodyLimb::other);
  EXPECT_EQ(spokenBone("@leftUpperArm"), "left upper arm");
  EXPECT_EQ(boneDoes("@leftUpperArm", "jumps"), "left upper arm jumps");
  EXPECT_EQ(boneDoes("@leftToes", "jumps"), "left toes jump");
  EXPECT_EQ(boneDoes("@hips", "snaps straight"), "hips snap straight");
  EXPECT_EQ(spokenFigure(3.04, "°"), "3.0°");
  EXPECT_EQ(spokenFigure(12.4, "mm"), "12 mm");
}

}  // namespace
}  // namespace understudy
