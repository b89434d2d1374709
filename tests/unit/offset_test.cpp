#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "core/repair/mirror.h"
#include "core/repair/offset.h"
#include "core/repair/poser.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr NudgeSpace allSpaces[] = {NudgeSpace::bone, NudgeSpace::parent, NudgeSpace::character, NudgeSpace::world, NudgeSpace::view, NudgeSpace::ground};

Repair offset(std::vector<JointNudge> bones, NudgeSpace space, std::optional<FrameSpan> span, bool bothSides = false) {
  Repair repair;
  repair.id = 3;
  if (span) repair.span = TimeRange{span->first / 30.0, span->last / 30.0};
  repair.action = OffsetRepair{std::move(bones), space, bothSides};
  return repair;
}

Nudge nudge(std::vector<JointNudge> bones, NudgeSpace space, int frame, int ease = 8) {
  Nudge n;
  n.id = 9;
  n.time = frame / 30.0;
  n.easeBefore = n.easeAfter = ease / 30.0;
  n.space = space;
  n.joints = std::move(bones);
  return n;
}

/// The character standing still in its reference pose.
test::Stand still(int frames = 40) {
  const test::Stand walk = test::walkingStick(2, 0);
  test::Stand out = test::swinging(walk.context->figure, walk.context->map, frames, 0, 1);
  // swinging() makes the hips travel.
  out.motion = out.motion.writable(0, frames);
  for (int f = 0; f < frames; ++f) out.motion.translationsToWrite(f)[0] = Vec3f(out.context->body.translation[static_cast<std::size_t>(out.motion.movedJoints()[0])]);
  return out;
}

Poser posed(const RepairContext& context, const TiledMotion& motion, int frame) {
  Poser poser(context);
  poser.load(motion, frame);
  return poser;
}

TEST(Offset, KeepsItsPromisesInEverySpace) {
  const test::Stand stand = test::walkingStick(150);
  const int arm = stand.context->joint(Role::leftUpperArm), hips = stand.context->joint(Role::hips), other = stand.context->joint(Role::rightUpperArm);
  for (const NudgeSpace space : allSpaces)
    for (const bool both : {false, true}) {
      Issues issues;
      const std::vector<Repair> repairs{offset({{"@leftUpperArm", {0.2, 0.1, -0.3}, {0.02, 0.03, 0}}, {"@hips", {0, 0.5, 0.1}, {}}}, space, FrameSpan{50, 90}, both),
                                        offset({{"@leftUpperArm", {0.2, 0, 0}, {}}}, space, FrameSpan{70, 120}, both)};
      const auto layer = makeOffsetLayer(stand.context, {&repairs[0], &repairs[1]}, {}, issues);
      EXPECT_TRUE(issues.empty());
      EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 11, 0, [&](int j) { return j == arm || j == hips || (both && j == other); }), "") << nudgeSpaceName(space);
      EXPECT_GE(test::firstDifference(stand.motion.withMoved(stand.context->figure->skeleton, layer->movedJoints()), test::runLayer(*layer, stand.motion).motion), 43);
    }
}

TEST(Offset, NudgesKeepTheirPromisesTooAlsoWhereHeadingsHangOnOneAnother) {
  const test::Stand stand = test::walkingStick(150);
  const std::vector<Nudge> nudges{nudge({{"@hips", {0, 0.9, 0}, {}}}, NudgeSpace::world, 60, 20), nudge({{"@hips", {0, 0, 0.4}, {0.1, 0, 0}}}, NudgeSpace::character, 70, 20),
                                  nudge({{"@chest", {0.4, 0, 0}, {}}}, NudgeSpace::character, 85, 20), nudge({{"@head", {0.4, 0, 0}, {}}}, NudgeSpace::character, 155, 20)};
  Repair restore;
  restore.id = 5;
  restore.span = TimeRange{2.5, 2.7};
  restore.action = RestoreRepair{{"@chest"}};
  Issues issues;
  std::vector<const Nudge*> list;
  for (const Nudge& n : nudges) list.push_back(&n);
  const auto layer = makeOffsetLayer(stand.context, {&restore}, list, issues);
  EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 12, nudges.size()), "");
  // Frame 60 turns the hips at frame 70, whose nudge acts to 89 and so changes the heading at 85, which acts to 104.
  EXPECT_EQ(layer->affected({60, 60}), (FrameSpan{60, 60}));
  EXPECT_EQ(layer->affected({70, 70}), (FrameSpan{51, 104}));
  EXPECT_EQ(layer->affected({149, 149}), (FrameSpan{136, 149}));
}

TEST(Offset, TurnsAboutTheAxesOfItsSpace) {
  const test::Stand stand = still();
  const int arm = stand.context->joint(Role::leftUpperArm), hand = stand.context->joint(Role::leftHand);
  const Vec3d r{0.3, -0.2, 0.4}, t{0.05, 0.02, -0.01};
  const Poser before = posed(*stand.context, stand.motion, 20);
  const auto run = [&](NudgeSpace space, double weight) {
    Repair repair = offset({{"@leftUpperArm", r, t}}, space, std::nullopt);
    repair.weight = weight;
    Issues issues;
    return posed(*stand.context, test::runLayer(*makeOffsetLayer(stand.context, {&repair}, {}, issues), stand.motion).motion, 20);
  };
  for (const double weight : {1.0, 0.5}) {
    for (const NudgeSpace space : {NudgeSpace::world, NudgeSpace::view, NudgeSpace::character, NudgeSpace::ground}) {
      const Poser after = run(space, weight);
      EXPECT_NEAR(angleBetween(after.rotation(arm), expOf(r * weight) * before.rotation(arm)), 0, 1e-6) << nudgeSpaceName(space);
      EXPECT_NEAR(distance(after.position(arm), before.position(arm) + t * weight), 0, 1e-6) << nudgeSpaceName(space);
      EXPECT_NEAR(distance(after.position(hand) - after.position(arm), rotate(expOf(r * weight), before.position(hand) - before.position(arm))), 0, 1e-6);
    }
    const Poser bone = run(NudgeSpace::bone, weight), parent = run(NudgeSpace::parent, weight);
    EXPECT_NEAR(angleBetween(bone.rotation(arm), before.rotation(arm) * expOf(r * weight)), 0, 1e-6);
    EXPECT_NEAR(distance(bone.position(arm), before.position(arm) + rotate(before.rotation(arm), t * weight)), 0, 1e-6);
    EXPECT_NEAR(angleBetween(parent.rotation(arm), before.above(arm) * expOf(r * weight) * conjugate(before.above(arm)) * before.rotation(arm)), 0, 1e-6);
  }
}

TEST(Offset, CharacterAndGroundAxesTurnWithTheBody) {
  test::Stand stand = still();
  const int hips = stand.context->joint(Role::hips), foot = stand.context->joint(Role::leftFoot);
  const Quatd quarter = fromAxisAngle(Vec3d{0, 1, 0}, 1.5707963267948966);
  stand.motion = stand.motion.writable(0, 40);
  for (int f = 0; f < 40; ++f) {
    Poser poser = posed(*stand.context, stand.motion, f);
    poser.turn(hips, quarter);
    poser.store(stand.motion, f);
  }
  const Poser before = posed(*stand.context, stand.motion, 10);
  for (const NudgeSpace space : {NudgeSpace::character, NudgeSpace::ground}) {
    // Toe up, seen from the side of a character that now looks along +X.
    const Repair repair = offset({{"@leftFoot", {-0.3, 0, 0}, {0, 0, 0.1}}}, space, std::nullopt);
    Issues issues;
    const Poser after = posed(*stand.context, test::runLayer(*makeOffsetLayer(stand.context, {&repair}, {}, issues), stand.motion).motion, 10);
    EXPECT_NEAR(angleBetween(after.rotation(foot), fromAxisAngle(Vec3d{0, 0, 1}, 0.3) * before.rotation(foot)), 0, 1e-6);
    EXPECT_NEAR(distance(after.position(foot), before.position(foot) + Vec3d{0.1, 0, 0}), 0, 1e-6);
  }
}

TEST(Offset, BothSidesAreEachOthersMirrorImage) {
  const test::Stand stand = still();
  const RepairContext& c = *stand.context;
  for (const NudgeSpace space : allSpaces) {
    const Repair repair = offset({{"@leftUpperArm", {0.3, -0.2, 0.4}, {0.05, 0.02, -0.01}}, {"@leftLowerArm", {0.1, 0.5, 0}, {}}, {"@leftFoot", {0.2, 0.3, 0.1}, {}}}, space,
                                 std::nullopt, true);
    Issues issues;
    const Poser after = posed(c, test::runLayer(*makeOffsetLayer(stand.context, {&repair}, {}, issues), stand.motion).motion, 10);
    EXPECT_TRUE(issues.empty());
    for (const auto& [left, right] : {std::pair{Role::leftHand, Role::rightHand}, {Role::leftUpperArm, Role::rightUpperArm}, {Role::leftToes, Role::rightToes}})
      EXPECT_NEAR(distance(mirroredPlace(after.position(c.joint(left))), after.position(c.joint(right))), 0, 1e-6) << nudgeSpaceName(space) << ' ' << roleName(left);
    EXPECT_GT(distance(after.position(c.joint(Role::leftHand)), c.body.position[static_cast<std::size_t>(c.joint(Role::leftHand))]), 0.01);
  }
}

TEST(Offset, RestoreTakesNudgesOffButNoOffsets) {
  const test::Stand stand = test::walkingStick(150);
  const auto arm = static_cast<std::size_t>(stand.context->joint(Role::leftUpperArm)), head = static_cast<std::size_t>(stand.context->joint(Role::head));
  const Nudge key = nudge({{"@leftUpperArm", {0.4, 0, 0}, {}}, {"@head", {0.4, 0, 0}, {}}}, NudgeSpace::bone, 70, 40);
  const Repair plain = offset({{"@leftUpperArm", {0, 0.2, 0}, {}}}, NudgeSpace::bone, std::nullopt);
  Repair restore;
  restore.span = TimeRange{2, 3};
  restore.action = RestoreRepair{{"@leftUpperArm"}};
  Issues issues;
  const auto offsetOnly = test::runLayer(*makeOffsetLayer(stand.context, {&plain}, {}, issues), stand.motion).motion;
  const auto nudged = test::runLayer(*makeOffsetLayer(stand.context, {&plain}, {&key}, issues), stand.motion).motion;
  const auto restored = test::runLayer(*makeOffsetLayer(stand.context, {&plain, &restore}, {&key}, issues), stand.motion).motion;
  for (int f = 60; f <= 90; ++f) {
    EXPECT_EQ(restored.rotationsAt(f)[arm], offsetOnly.rotationsAt(f)[arm]) << f;
    EXPECT_EQ(restored.rotationsAt(f)[head], nudged.rotationsAt(f)[head]) << f;
  }
  EXPECT_NE(nudged.rotationsAt(70)[arm], offsetOnly.rotationsAt(70)[arm]);
  // Half way through the ease half of the nudge is left.
  const Quatd base(offsetOnly.rotationsAt(56)[arm]);
  const double all = angleBetween(base, Quatd(nudged.rotationsAt(56)[arm])), left = angleBetween(base, Quatd(restored.rotationsAt(56)[arm]));
  EXPECT_NEAR(left / all, 0.5, 1e-3);
}

TEST(Offset, AChainSharesOneTurn) {
  const test::Stand stand = still();
  const auto chain = sharedAlong(*stand.context, "@spine", "@head", {0, 0.9, 0});
  ASSERT_TRUE(chain.ok()) << chain.error().text();
  EXPECT_GE(chain->size(), 4U);
  const Repair repair = offset(*chain, NudgeSpace::character, std::nullopt);
  Issues issues;
  const Poser before = posed(*stand.context, stand.motion, 5);
  const Poser after = posed(*stand.context, test::runLayer(*makeOffsetLayer(stand.context, {&repair}, {}, issues), stand.motion).motion, 5);
  const int head = stand.context->joint(Role::head);
  EXPECT_NEAR(angleBetween(after.rotation(head), fromAxisAngle(Vec3d{0, 1, 0}, 0.9) * before.rotation(head)), 0, 1e-6);
  EXPECT_FALSE(sharedAlong(*stand.context, "@head", "@spine", {}).ok());
  EXPECT_FALSE(sharedAlong(*stand.context, "@spine", "tail", {}).ok());
}

TEST(Offset, BadInputIsToldAndLeftOut) {
  const test::Stand stand = test::walkingStick(60);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  std::vector<Repair> repairs{offset({{"@leftUpperArm", {1, 0, 0}, {}}}, NudgeSpace::bone, FrameSpan{90, 120}), offset({{"@leftUpperArm", {1, 0, 0}, {}}}, NudgeSpace::bone, FrameSpan{30, 20}),
                              offset({{"@leftUpperArm", {nan, 0, 0}, {}}}, NudgeSpace::bone, FrameSpan{20, 30}), offset({{"tail", {1, 0, 0}, {}}, {"@leftWing", {1, 0, 0}, {}}}, NudgeSpace::bone, std::nullopt),
                              offset({{"@leftUpperArm", {1, 0, 0}, {}}}, NudgeSpace::bone, FrameSpan{20, 30}), offset({}, NudgeSpace::bone, std::nullopt)};
  repairs[4].span->first = nan;
  Nudge key = nudge({{"@head", {1, 0, 0}, {}}}, NudgeSpace::bone, 20);
  key.time = nan;
  Issues issues;
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  const auto layer = makeOffsetLayer(stand.context, list, {&key}, issues);
  EXPECT_EQ(issues.size(), 7U);
  EXPECT_EQ(test::firstDifference(test::runLayer(*layer, stand.motion).motion, stand.motion), -1);
  EXPECT_NE(issues[0].text().find("1:60"), std::string::npos);
  EXPECT_EQ(makeOffsetLayer(stand.context, {}, {}, issues), nullptr);
}

}  // namespace
}  // namespace understudy
