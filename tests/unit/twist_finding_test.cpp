#include <gtest/gtest.h>

#include <cmath>

#include "core/inspect/twist.h"
#include "core/repair/poser.h"
#include "core/repair/untwist.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

/// The lower bone of a limb turned about its length over frames 60 … 79, `most` degrees in the middle.
TiledMotion twisted(const test::Stand& stand, const LimbRig& limb, double most, bool endGoesAlong) {
  TiledMotion motion = stand.motion.writable(60, 20);
  for (int f = 60; f < 80; ++f) {
    Poser poser(*stand.context);
    poser.load(motion, f);
    const Quatd end = poser.rotation(limb.end);
    poser.turn(limb.mid, fromAxisAngle(normalised(poser.position(limb.end) - poser.position(limb.mid)), most * degree * std::sin(M_PI * (f - 59) / 21)));
    if (!endGoesAlong) poser.setRotation(limb.end, end);
    poser.store(motion, f);
  }
  return motion;
}

TEST(TwistFinding, ForearmsThatSpinAloneAreFoundAndMended) {
  const test::Stand stand = test::walkingStick(200);
  EXPECT_TRUE(twistFindings(*stand.context, stand.motion).empty());
  for (int side = 0; side < 2; ++side)
    for (const double most : {30.0, -70.0, 150.0}) {
      const LimbRig& arm = stand.context->arms[static_cast<std::size_t>(side)];
      const TiledMotion flawed = twisted(stand, arm, most, false);
      const Findings found = twistFindings(*stand.context, flawed);
      ASSERT_EQ(found.size(), 1U) << most;
      EXPECT_NEAR(found[0].measure, std::abs(most), 6);
      EXPECT_LE(std::abs(found[0].span.first - 60), 3);
      EXPECT_LE(std::abs(found[0].span.last - 79), 3);
      EXPECT_EQ(found[0].bones[0], side == 0 ? "@leftLowerArm" : "@rightLowerArm");
      ASSERT_EQ(found[0].proposal.size(), 1U);
      Issues issues;
      const auto mended = test::runLayer(*makeUntwistLayer(stand.context, {&found[0].proposal[0]}, issues), flawed).motion;
      EXPECT_TRUE(twistFindings(*stand.context, mended).empty());
      for (int f = 0; f < 200; ++f)
        EXPECT_LT(angleBetween(Quatd(mended.rotationsAt(f)[static_cast<std::size_t>(arm.mid)]), Quatd(stand.motion.rotationsAt(f)[static_cast<std::size_t>(arm.mid)])), 8 * degree) << f;
    }
}

TEST(TwistFinding, HandsThatGoAlongAndKneesThatGiveAreNone) {
  const test::Stand stand = test::walkingStick(200);
  EXPECT_TRUE(twistFindings(*stand.context, twisted(stand, stand.context->arms[0], 80, true)).empty());
  EXPECT_TRUE(twistFindings(*stand.context, twisted(stand, stand.context->legs[0], 40, false)).empty());
  EXPECT_EQ(twistFindings(*stand.context, twisted(stand, stand.context->legs[0], 90, false)).size(), 1U);
  EXPECT_TRUE(twistFindings(*test::walkingStick(4).context, test::walkingStick(4).motion).empty());
}

}  // namespace
}  // namespace understudy
