#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "core/repair/hold.h"
#include "core/repair/poser.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

Repair over(RepairAction action, std::optional<FrameSpan> span) {
  Repair repair;
  repair.id = 6;
  if (span) repair.span = TimeRange{span->first / 30.0, span->last / 30.0};
  repair.action = std::move(action);
  return repair;
}

TiledMotion run(const test::Stand& stand, const std::vector<Repair>& repairs, Issues& issues) {
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  return test::runLayer(*makeHoldLayer(stand.context, list, issues), stand.motion).motion;
}

Quatd at(const TiledMotion& motion, int frame, int joint) { return Quatd(motion.rotationsAt(frame)[static_cast<std::size_t>(joint)]); }
Vec3d step(const TiledMotion& motion, int frame, int joint) { return logOf(conjugate(at(motion, frame - 1, joint)) * at(motion, frame, joint)); }

TEST(Bridge, RebuildsASpoiltStretchFromItsEdges) {
  test::Stand stand = test::walkingStick(120, 0);
  const int arm = stand.context->joint(Role::leftUpperArm);
  const TiledMotion clean = stand.motion;
  stand.motion = stand.motion.writable(40, 6);
  for (int f = 40; f <= 45; ++f)
    for (Quatf& q : stand.motion.rotationsToWrite(f)) q = Quatf(0, 0, 1, 0);
  Issues issues;
  const TiledMotion out = run(stand, {over(BridgeRepair{}, FrameSpan{40, 45})}, issues);
  EXPECT_TRUE(issues.empty());
  for (const Role role : {Role::leftUpperArm, Role::leftLowerArm, Role::rightUpperLeg, Role::leftLowerLeg, Role::chest}) {
    const int j = stand.context->joint(role);
    for (int f = 40; f <= 45; ++f) EXPECT_LT(angleBetween(at(out, f, j), at(clean, f, j)), 0.06) << roleName(role) << f;
  }
  // Velocity: the step into the span follows the step before it.
  for (int f : {40, 46}) EXPECT_LT(length(step(out, f, arm) - step(out, f == 40 ? 39 : 47, arm)), 0.01);
  for (int f : {39, 46}) EXPECT_TRUE(test::sameFrame(out, clean, f));
}

// A foot that hangs on the hips instead of the shank stays where the shank would carry it.
TEST(Bridge, CarriesAFootThatHangsElsewhere) {
  const test::Stand stick = test::walkingStick(10, 0);
  Figure figure = *stick.context->figure;
  const auto foot = static_cast<std::size_t>(stick.context->joint(Role::leftFoot)), hips = static_cast<std::size_t>(stick.context->joint(Role::hips));
  const auto world = restWorld(figure.skeleton);
  figure.skeleton.parents[foot] = static_cast<int>(hips);
  figure.skeleton.rest[foot].translation = apply(inverse(world[hips]), world[foot].translation);
  const test::Stand stand = test::swinging(std::make_shared<const Figure>(std::move(figure)), stick.context->map, 60, 15, 3);
  const LimbRig& leg = stand.context->legs[0];
  ASSERT_TRUE(leg.detached);
  const auto gap = [&](const TiledMotion& motion, int frame) {
    Poser pose(*stand.context);
    pose.load(motion, frame);
    return rotate(conjugate(pose.rotation(leg.mid)), pose.position(leg.end) - pose.position(leg.mid));
  };
  Issues issues;
  const TiledMotion out = run(stand, {over(BridgeRepair{{"@leftUpperLeg"}, true}, FrameSpan{20, 29})}, issues);
  double turned = 0;
  for (int f = 20; f <= 29; ++f) {
    turned = std::max(turned, angleBetween(at(out, f, leg.root), at(stand.motion, f, leg.root)));
    EXPECT_LT(distance(gap(out, f), gap(stand.motion, f)), 1e-5) << f;
  }
  EXPECT_GT(turned, 0.02);
  const TiledMotion in = stand.motion.withMoved(stand.context->figure->skeleton, out.movedJoints());
  for (const int f : {19, 30}) EXPECT_TRUE(test::sameFrame(out, in, f)) << f;
}

TEST(Bridge, IsExactOnEvenMotionHoweverLong) {
  test::Stand stand = test::walkingStick(200, 0);
  const int joint = stand.context->joint(Role::leftUpperArm);
  stand.motion = stand.motion.writable(0, 200);
  for (int f = 0; f < 200; ++f) {
    const bool spoilt = f >= 30 && f <= 170;
    stand.motion.rotationsToWrite(f)[static_cast<std::size_t>(joint)] = spoilt ? Quatf{} : Quatf(expOf(Vec3d{0.01 * f, 0, 0}));
    stand.motion.translationsToWrite(f)[0] = spoilt ? Vec3f{} : Vec3f(Vec3d{0, 1, 0.02 * f});
  }
  Issues issues;
  const TiledMotion out = run(stand, {over(BridgeRepair{}, FrameSpan{30, 170})}, issues);
  for (int f = 0; f < 200; ++f) {
    EXPECT_NEAR(angleBetween(at(out, f, joint), expOf(Vec3d{0.01 * f, 0, 0})), 0, 1e-5) << f;
    EXPECT_NEAR(out.translationsAt(f)[0].z, 0.02 * f, 1e-5) << f;
  }
}

TEST(Bridge, AFastEdgeDoesNotSwingFarOut) {
  test::Stand stand = test::walkingStick(200, 0);
  const int joint = stand.context->joint(Role::leftUpperArm);
  stand.motion = stand.motion.writable(0, 200);
  // 6 rad/s up to frame 49, still from frame 150 on, where it was at frame 49.
  for (int f = 0; f < 200; ++f) stand.motion.rotationsToWrite(f)[static_cast<std::size_t>(joint)] = Quatf(expOf(Vec3d{f < 50 ? 0.2 * (f - 49) : 0.0, 0, 0}));
  Issues issues;
  const TiledMotion out = run(stand, {over(BridgeRepair{}, FrameSpan{50, 149})}, issues);
  double most = 0, jump = 0;
  for (int f = 50; f < 150; ++f) {
    most = std::max(most, angleBetween(at(out, f, joint), Quatd{}));
    jump = std::max(jump, length(step(out, f + 1, joint) - step(out, f, joint)));
  }
  EXPECT_GT(most, 0.2);
  EXPECT_LT(most, 6 * 0.5 * 4 / 27 + 1e-6);
  // It slows down within the half second instead of stopping dead.
  EXPECT_LT(jump, 0.2 * 0.35);
}

TEST(Bridge, ComesToRestAtTheClipsEnds) {
  test::Stand stand = test::walkingStick(100, 0);
  const int joint = stand.context->joint(Role::leftUpperArm);
  stand.motion = stand.motion.writable(0, 100);
  for (int f = 0; f < 100; ++f) stand.motion.rotationsToWrite(f)[static_cast<std::size_t>(joint)] = Quatf(expOf(Vec3d{0.03 * f, 0, 0}));
  Issues issues;
  const TiledMotion out = run(stand, {over(BridgeRepair{}, FrameSpan{0, 20}), over(BridgeRepair{}, FrameSpan{80, 99})}, issues);
  EXPECT_NEAR(step(out, 21, joint).x, 0.03, 0.005);
  EXPECT_NEAR(step(out, 80, joint).x, 0.03, 0.005);
  EXPECT_NEAR(step(out, 1, joint).x, 0, 1e-6);
  EXPECT_NEAR(step(out, 99, joint).x, 0, 1e-6);
  EXPECT_NEAR(angleBetween(at(out, 99, joint), at(out, 79, joint)), 0.03 * 30 * 0.25 / 3, 1e-5);
}

TEST(Still, KeepsOnePoseAndBlendsAtBothEnds) {
  const test::Stand stand = test::walkingStick(120);
  const int arm = stand.context->joint(Role::leftUpperArm);
  Issues issues;
  const TiledMotion out = run(stand, {over(StillRepair{{"@leftUpperArm"}, 1.0, true}, FrameSpan{40, 60})}, issues);
  for (int f = 40; f <= 60; ++f) EXPECT_NEAR(angleBetween(at(out, f, arm), at(stand.motion, 30, arm)), 0, 1e-6);
  EXPECT_NEAR(angleBetween(at(out, 36, arm), slerp(at(stand.motion, 36, arm), at(stand.motion, 30, arm), 0.5)), 0, 1e-6);
  EXPECT_TRUE(test::sameFrame(out, stand.motion, 32));
  EXPECT_TRUE(test::sameFrame(out, stand.motion, 68));
  // Hips and all: the character stands where it was.
  const TiledMotion all = run(stand, {over(StillRepair{}, FrameSpan{40, 60})}, issues);
  for (int f = 40; f <= 60; ++f) EXPECT_EQ(all.translationsAt(f)[0], stand.motion.translationsAt(40)[0]);
}

TEST(Hold, KeepsItsPromisesAlsoWhenStacked) {
  const test::Stand stand = test::walkingStick(150);
  const int arm = stand.context->joint(Role::leftUpperArm), hips = stand.context->joint(Role::hips);
  const std::vector<Repair> repairs{over(BridgeRepair{{"@leftUpperArm", "@hips"}, true}, FrameSpan{40, 60}), over(StillRepair{{"@leftUpperArm"}, 1.5, true}, FrameSpan{62, 80}),
                                    over(BridgeRepair{{"@leftUpperArm"}, true}, FrameSpan{70, 110}), over(StillRepair{{"@hips"}, std::nullopt, true}, FrameSpan{0, 12}),
                                    over(BridgeRepair{{"@hips"}, true}, FrameSpan{130, 149}), over(BridgeRepair{{"@hips"}, false}, FrameSpan{3, 5})};
  Issues issues;
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  EXPECT_EQ(test::brokenPromises(*makeHoldLayer(stand.context, list, issues), stand.motion, 31, 0, [&](int j) { return j == arm || j == hips; }), "");
  for (Repair repair : repairs) {
    EXPECT_EQ(test::brokenPromises(*makeHoldLayer(stand.context, {&repair}, issues), stand.motion, 32), "");
    repair.weight = 0.4;
    EXPECT_EQ(test::brokenPromises(*makeHoldLayer(stand.context, {&repair}, issues), stand.motion, 33), "");
  }
  EXPECT_TRUE(issues.empty());
}

TEST(Hold, BadInputIsToldAndLeftOut) {
  const test::Stand stand = test::walkingStick(60);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  Issues issues;
  const std::vector<Repair> repairs{over(BridgeRepair{}, std::nullopt), over(BridgeRepair{}, FrameSpan{-5, 80}), over(BridgeRepair{}, FrameSpan{70, 80}), over(StillRepair{{}, nan, true}, FrameSpan{3, 9}),
                                    over(StillRepair{{"@tail"}, 0.5, true}, FrameSpan{3, 9})};
  const TiledMotion out = run(stand, repairs, issues);
  EXPECT_EQ(issues.size(), 6U);  // the second is also told to be cut off
  EXPECT_EQ(test::firstDifference(out, stand.motion), -1);
  issues.clear();
  const TiledMotion late = run(stand, {over(StillRepair{{}, 99.0, true}, FrameSpan{20, 20})}, issues);
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].text().find("frame 60"), std::string::npos);
  EXPECT_EQ(late.rotationsAt(20)[3], stand.motion.rotationsAt(59)[3]);
}

}  // namespace
}  // namespace understudy
