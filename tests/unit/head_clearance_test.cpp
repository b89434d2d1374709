// The head giving way to an arm, judged with the exact inside test on the skin.
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <numbers>

#include "core/body/body_model.h"
#include "core/math/smooth_step.h"
#include "core/repair/clearance.h"
#include "core/repair/head_clearance.h"
#include "core/repair/poser.h"
#include "core/repair/vector_series.h"
#include "tests/support/layer_checks.h"
#include "tests/support/posed_skin.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// The head leans to the left, where the hand comes into it and leaves it again; the right arm is bent. `raises`: how far the hand is up, by frame.
test::Stand leaning(int frames, FrameRate rate, const std::function<double(int)>& raises) {
  test::Stand s;
  auto figure = test::puppet({0.16, 1, false, false});
  s.context = test::puppetContext(figure, rate, frames);
  auto motion = std::make_shared<Motion>(restMotion(figure->skeleton, frames, rate, {0}));
  const auto set = [&](int f, Role role, double angle) { motion->rotationsAt(f)[static_cast<std::size_t>(s.context->joint(role))] = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, angle)); };
  for (int f = 0; f < frames; ++f) {
    const double raised = raises(f);
    set(f, Role::head, -0.4);
    set(f, Role::leftUpperArm, 20 * degree);
    set(f, Role::leftLowerArm, (60 + 77 * raised) * degree);
    set(f, Role::rightLowerArm, -70 * degree);
  }
  s.motion = TiledMotion(motion);
  return s;
}
test::Stand leaning(int frames = 200) {
  return leaning(frames, {60, 1}, [frames](int f) { return smoothStep(1.6 - std::abs(f - 0.5 * frames) / (0.15 * frames)); });
}

/// Deepest point of the left forearm and hand in the head, metres, exactly.
double depthAt(const test::Stand& s, const TiledMotion& motion, int frame) {
  const test::PosedSkin skin(*s.context, motion, frame);
  const TriangleTree head = skin.solid(BodyPart::head);
  double worst = 0;
  for (int v = 0; v < skin.surface().vertices(); ++v) {
    const BodyPart part = skin.surface().parts[static_cast<std::size_t>(v)];
    if (part != BodyPart::leftForearm && part != BodyPart::leftHand) continue;
    const Vec3d p = skin.at(v);
    if (head.inside(p)) worst = std::max(worst, head.nearest(p).distance);
  }
  return worst;
}
double depthOf(const test::Stand& s, const TiledMotion& motion) {
  double worst = 0;
  for (int f = 0; f < motion.frames(); f += 2) worst = std::max(worst, depthAt(s, motion, f));
  return worst;
}
double turnAt(const test::Stand& s, const TiledMotion& motion, int f) {
  const auto head = static_cast<std::size_t>(s.context->joint(Role::head));
  return angleBetween(Quatd(s.motion.rotationsAt(f)[head]), Quatd(motion.rotationsAt(f)[head]));
}

Repair clearance() {
  Repair r;
  r.id = 1;
  r.action = ClearanceRepair{};
  return r;
}

TEST(HeadClearance, TheHeadTurnsAwaySmoothlyAndNothingElseMoves) {
  const test::Stand s = leaning();
  const Repair r = clearance();
  const RepairLayerPtr layer = makeHeadLayer(s.context, {&r});
  ASSERT_TRUE(layer);
  const int head = s.context->joint(Role::head);
  EXPECT_EQ(test::brokenPromises(*layer, s.motion, 7, 0, [&](int joint) { return joint == head; }), "");
  const TiledMotion out = test::runLayer(*layer, s.motion).motion;
  EXPECT_GT(depthOf(s, s.motion), 0.008);
  EXPECT_LT(depthOf(s, out), 0.003);
  double most = 0, rate = 0;
  for (int f = 1; f + 1 < out.frames(); ++f) {
    most = std::max(most, turnAt(s, out, f));
    rate = std::max(rate, std::abs(turnAt(s, out, f + 1) - 2 * turnAt(s, out, f) + turnAt(s, out, f - 1)));
  }
  EXPECT_GT(most, 3 * degree);
  EXPECT_LT(most, 20.1 * degree);
  EXPECT_LT(rate, 0.25 * degree);
}

TEST(HeadClearance, GivesWayToAnArmThatPassesWithinThreeFrames) {
  // Between places that lie a thirtieth of a second apart.
  const test::Stand s = leaning(200, {120, 1}, [](int f) { return f >= 101 && f <= 103 ? 1.0 : 0.0; });
  const Repair r = clearance();
  const RepairLayerPtr layer = makeHeadLayer(s.context, {&r});
  ASSERT_TRUE(layer);
  const TiledMotion out = test::runLayer(*layer, s.motion).motion;
  for (const int f : {101, 102, 103}) {
    EXPECT_GT(depthAt(s, s.motion, f), 0.008);
    EXPECT_LT(depthAt(s, out, f), 0.003);
  }
}

TEST(HeadClearance, TurnsNoFurtherThanAllowedAndTellsWhatIsLeft) {
  const test::Stand s = leaning();
  Repair r = clearance();
  std::get<ClearanceRepair>(r.action).headTurn = 0.04;
  const RepairLayerPtr layer = makeHeadLayer(s.context, {&r});
  ASSERT_TRUE(layer);
  const test::LayerRun run = test::runLayer(*layer, s.motion);
  double most = 0;
  float left = 0;
  for (int f = 0; f < run.motion.frames(); ++f) most = std::max(most, turnAt(s, run.motion, f));
  for (const Miss& miss : run.residuals.front().values) left = std::max(left, miss.metres);
  EXPECT_GT(most, 0.03);
  EXPECT_LT(most, 0.0401);
  EXPECT_GT(left, 0.004f);
  std::get<ClearanceRepair>(r.action).headTurn = 0;
  EXPECT_FALSE(makeHeadLayer(s.context, {&r}));
}

TEST(HeadClearance, AHandOnTheHeadGoesAlong) {
  const test::Stand s = leaning();
  const Repair r = clearance();
  Repair on;
  on.id = 2;
  TouchRepair touch;
  touch.bone = "@rightHand";
  touch.target = TouchTarget::body;
  touch.on = "@head";
  on.action = touch;
  const RepairLayerPtr layer = makeHeadLayer(s.context, {&r, &on});
  ASSERT_TRUE(layer);
  EXPECT_EQ(test::brokenPromises(*layer, s.motion, 7), "");
  const TiledMotion out = test::runLayer(*layer, s.motion).motion;
  const int head = s.context->joint(Role::head), hand = s.context->arms[1].end;
  Poser before(*s.context), after(*s.context);
  double moved = 0;
  for (int f = 0; f < out.frames(); f += 5) {
    before.load(s.motion, f);
    after.load(out, f);
    moved = std::max(moved, distance(before.position(hand), after.position(hand)));
    EXPECT_LT(distance(before.toJoint(head, before.position(hand)), after.toJoint(head, after.position(hand))), 0.002);
    EXPECT_LT(angleBetween(conjugate(before.rotation(head)) * before.rotation(hand), conjugate(after.rotation(head)) * after.rotation(hand)), 0.002);
  }
  EXPECT_GT(moved, 0.01);
}

TEST(HeadClearance, ALockedHeadStaysAndABodyWithoutOneIsLeftAlone) {
  const test::Stand s = leaning();
  const Repair r = clearance();
  RepairContext locked = *s.context;
  locked.locks.push_back({{s.context->joint(Role::head)}, {0, 199}});
  const RepairLayerPtr layer = makeHeadLayer(std::make_shared<const RepairContext>(locked), {&r});
  ASSERT_TRUE(layer);
  EXPECT_EQ(test::firstDifference(test::runLayer(*layer, s.motion).motion, s.motion), -1);
  RepairContext headless = *s.context;
  auto map = std::make_shared<BoneMap>(*headless.map);
  map->character.at(Role::head) = {};
  headless.map = map;
  EXPECT_FALSE(makeHeadLayer(std::make_shared<const RepairContext>(headless), {&r}));
}

TEST(VectorSeries, ASingleVectorIsMetInFullAndComesAndGoes) {
  std::vector<Vec3d> one(41);
  one[20] = {0, 2, 0};
  const std::vector<Vec3d> wide = spreadAround(one, 6);
  EXPECT_EQ(evenedOut(std::vector<Vec3d>(9, Vec3d{0.1, 0.7, 1}), 4)[5], (Vec3d{0.1, 0.7, 1}));
  EXPECT_NEAR(wide[20].y, 2, 1e-12);
  for (std::size_t k = 1; k < wide.size(); ++k) EXPECT_LT(std::abs(wide[k].y - wide[k - 1].y), 0.4);
  EXPECT_EQ(wide[7].y, 0);
  EXPECT_GT(wide[9].y, 0);
  EXPECT_NEAR(splineAt({1, 0, 0}, {1, 0, 0}, {1, 0, 0}, {1, 0, 0}, 0.3).x, 1, 1e-12);
}

}  // namespace
}  // namespace understudy
