// Heads in the ground, judged on the skin itself.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "core/inspect/head_sinks.h"
#include "core/math/smooth_step.h"
#include "core/repair/offset.h"
#include "tests/support/layer_checks.h"
#include "tests/support/posed_skin.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

/// Crouches and bows by `bow` radians about frame 100 of 200, so low that its head comes into the ground.
test::Stand bowing(double bow, double lowered = 0.3) {
  test::Stand s;
  auto figure = test::puppet({0.16, 1, false, false});
  s.context = test::puppetContext(figure, {60, 1}, 200);
  auto motion = std::make_shared<Motion>(restMotion(figure->skeleton, 200, {60, 1}, {0}));
  for (int f = 0; f < 200; ++f) {
    const double low = smoothStep(2 - std::abs(f - 100) / 30.0);
    motion->translationsAt(f)[0].y -= static_cast<float>(lowered * low);
    motion->rotationsAt(f)[static_cast<std::size_t>(s.context->joint(Role::hips))] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, bow * low));
  }
  s.motion = TiledMotion(motion);
  return s;
}

double deepest(const test::Stand& s, const TiledMotion& motion) {
  double low = 1e300;
  for (int f = 0; f < 200; f += 2) {
    const test::PosedSkin skin(*s.context, motion, f);
    for (int v = 0; v < skin.surface().vertices(); ++v)
      if (skin.surface().parts[static_cast<std::size_t>(v)] == BodyPart::head) low = std::min(low, skin.at(v).y);
  }
  return -low;
}

TEST(HeadSink, IsFoundAndBroughtOutByAStraighterBack) {
  const test::Stand s = bowing(2.6);
  const double deep = deepest(s, s.motion);
  ASSERT_GT(deep, 0.05);
  const Findings found = headSinks(*s.context, s.motion);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].kind, FindingKind::sink);
  EXPECT_NEAR(found[0].measure, 1000 * deep, 3);
  EXPECT_TRUE(found[0].span.holds(100));
  ASSERT_EQ(found[0].proposal.size(), 1U);
  Issues issues;
  const auto layer = makeOffsetLayer(s.context, {&found[0].proposal[0]}, {}, issues);
  const TiledMotion after = test::runLayer(*layer, s.motion).motion;
  EXPECT_TRUE(issues.empty());
  EXPECT_TRUE(headSinks(*s.context, after).empty());
  const double left = deepest(s, after);
  EXPECT_LT(left, 0.01);
  EXPECT_GT(left, -0.05) << "no more than it takes";
}

TEST(HeadSink, NoneIsFoundAboveTheGround) { EXPECT_TRUE(headSinks(*bowing(0.8).context, bowing(0.8).motion).empty()); }

TEST(HeadSink, ABackStraightensNoFurtherThanItMay) {
  const test::Stand s = bowing(2.9, 0.7);
  const Findings found = headSinks(*s.context, s.motion);
  ASSERT_FALSE(found.empty());
  const HeadSinkLimits limits;
  for (const JointNudge& bone : std::get<OffsetRepair>(found[0].proposal.at(0).action).bones) EXPECT_NEAR(length(bone.rotation), limits.most, 1e-9) << bone.joint;
}

}  // namespace
}  // namespace understudy
