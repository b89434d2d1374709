#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "core/inspect/restless.h"
#include "core/repair/poser.h"
#include "core/repair/smooth.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

/// The walk of the stick character, played at 120 frames a second.
test::Stand quickStand() {
  test::Stand stand = test::walkingStick(300);
  RepairContext context = *stand.context;
  context.rate = FrameRate{120, 1};
  stand.context = std::make_shared<const RepairContext>(std::move(context));
  return stand;
}

/// A joint turned by `angle(frame)` degrees on top of its own motion over a span.
template <class Angle>
TiledMotion turned(const test::Stand& stand, int joint, FrameSpan span, const Angle& angle) {
  TiledMotion motion = stand.motion.writable(span.first, span.count());
  Poser poser(*stand.context);
  for (int f = span.first; f <= span.last; ++f) {
    poser.load(motion, f);
    poser.turn(joint, fromAxisAngle({1, 0, 0}, angle(f) * degree));
    poser.store(motion, f);
  }
  return motion;
}

TEST(RestlessFinding, AToeThatShakesIsSmoothedOverItsSpan) {
  const test::Stand stand = quickStand();
  EXPECT_TRUE(restlessFindings(*stand.context, stand.motion).empty());
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, 4);
  const TiledMotion motion = turned(stand, stand.context->legs[0].end, {80, 200}, [&](int) { return noise(random); });
  const Findings found = restlessFindings(*stand.context, motion);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].kind, FindingKind::pop);
  EXPECT_EQ(found[0].bones.front(), "@leftFoot");
  EXPECT_NEAR(found[0].span.first, 80, 20);
  EXPECT_NEAR(found[0].span.last, 200, 20);
  EXPECT_GT(found[0].measure, 6);
  ASSERT_EQ(found[0].proposal.size(), 1U);
  const auto& smooth = std::get<SmoothRepair>(found[0].proposal[0].action);
  EXPECT_EQ(smooth.bones.front(), "@leftFoot");
  for (const std::string& bone : smooth.bones) EXPECT_TRUE(bone == "@leftFoot" || bone == "@leftToes") << bone;
  Issues issues;
  const TiledMotion mended = test::runLayer(*makeSmoothLayer(stand.context, {&found[0].proposal[0]}, issues), motion).motion;
  EXPECT_TRUE(restlessFindings(*stand.context, mended).empty());
}

TEST(RestlessFinding, ATrunkThatShakesTakesWhatHangsOnItAlong) {
  const test::Stand stand = quickStand();
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, 4);
  const TiledMotion motion = turned(stand, stand.context->joint(Role::spine), {80, 200}, [&](int) { return noise(random); });
  const Findings found = restlessFindings(*stand.context, motion);
  ASSERT_EQ(found.size(), 1U);
  const auto& bones = std::get<SmoothRepair>(found[0].proposal.at(0).action).bones;
  EXPECT_EQ(bones.front(), "@spine");
  EXPECT_NE(std::find(bones.begin(), bones.end(), "@leftHand"), bones.end());
  EXPECT_EQ(std::find(bones.begin(), bones.end(), "@leftFoot"), bones.end());
}

TEST(RestlessFinding, MovesAndSingleJumpsAreNone) {
  const test::Stand stand = quickStand();
  const int hand = stand.context->arms[0].end;
  const double rate = stand.context->rate.hertz();
  // As fast as a hand can be shaken.
  EXPECT_TRUE(restlessFindings(*stand.context, turned(stand, hand, {0, 299}, [&](int f) { return 12 * std::sin(2 * M_PI * 6 * f / rate); })).empty());
  EXPECT_TRUE(restlessFindings(*stand.context, turned(stand, hand, {150, 150}, [&](int) { return 40.0; })).empty());
  EXPECT_TRUE(restlessFindings(*stand.context, turned(stand, hand, {150, 220}, [&](int) { return 40.0; })).empty());
  // Too little to be seen.
  EXPECT_TRUE(restlessFindings(*stand.context, turned(stand, hand, {0, 299}, [&](int f) { return f % 2 ? 0.3 : -0.3; })).empty());
}

}  // namespace
}  // namespace understudy
