#include <gtest/gtest.h>

#include "core/base/frame_rate.h"
#include "core/mapping/roles.h"
#include "core/math/transform.h"
#include "core/motion/clip.h"

namespace understudy {
namespace {

TEST(FrameRate, SnapsToCustomaryRates) {
  EXPECT_EQ(snapFrameRate(1 / 0.0333333), (FrameRate{30, 1}));
  EXPECT_EQ(snapFrameRate(1 / 0.0083333), (FrameRate{120, 1}));
  EXPECT_EQ(snapFrameRate(1 / 0.0066667), (FrameRate{150, 1}));
  EXPECT_EQ(snapFrameRate(29.97), (FrameRate{30000, 1001}));
  EXPECT_EQ(snapFrameRate(23.976), (FrameRate{24000, 1001}));
  EXPECT_EQ(snapFrameRate(24), (FrameRate{24, 1}));
  EXPECT_EQ(snapFrameRate(12.5), (FrameRate{25, 2}));
}

TEST(SwingTwist, MatchesComputedExample) {
  const Quatd q = fromAxisAngle(Vec3d{0, 0, 1}, 40 * M_PI / 180) * fromAxisAngle(Vec3d{1, 0, 0}, 70 * M_PI / 180);
  const auto [swing, twist] = swingTwist(q, Vec3d{1, 0, 0});
  EXPECT_NEAR(2 * std::atan2(twist.x, twist.w) * 180 / M_PI, 70, 1e-9);
  EXPECT_NEAR(swing.w, .9396926, 1e-7);
  EXPECT_NEAR(swing.z, .3420201, 1e-7);
  EXPECT_NEAR(swing.x, 0, 1e-12);
}

// Source: glTF 2.0 specification, cubic spline interpolation; figures computed from its formula.
TEST(KeyedCurve, CubicSplineFollowsGltfFormula) {
  KeyedCurve curve;
  curve.target = CurveTarget::translation;
  curve.interpolation = Interpolation::cubic;
  curve.times = {0, 2};
  curve.values = {0, 0, 0, 0, 0, 0, 1, 1, 1, -1, -1, -1, 1, 1, 1, 0, 0, 0};
  float v[3];
  evaluate(curve, 1.0, v);
  EXPECT_NEAR(v[0], 0.5F + 2 * 0.125F + 2 * 0.125F, 1e-6);
  evaluate(curve, 0.5, v);
  EXPECT_NEAR(v[0], .53125F, 1e-6);
}

TEST(PolarParts, FactorsMirroredScale) {
  const Trsd trs{{1, 2, 3}, fromAxisAngle(normalised(Vec3d{1, 2, 3}), 0.7), {-2, 2, 2}};
  const auto parts = polarParts(Affined(trs));
  EXPECT_TRUE(parts.mirrored);
  const Mat3d back = toMatrix(parts.rotation) * parts.stretch * -1.0;
  EXPECT_NEAR(distance(back.cx, Affined(trs).linear.cx), 0, 1e-12);
  EXPECT_NEAR(distance(back.cz, Affined(trs).linear.cz), 0, 1e-12);
}

// Source: VRM 1.0 specification, humanoid bones: 15 required, 40 optional.
TEST(Roles, CountsOfVrm) {
  int required = 0;
  for (int i = 0; i < roleCount; ++i) required += isRequired(roleAt(i));
  EXPECT_EQ(required, 15);
  EXPECT_EQ(roleCount, 55);
  EXPECT_EQ(parentOf(Role::leftIndexProximal), Role::leftHand);
  EXPECT_EQ(parentOf(Role::rightThumbDistal), Role::rightThumbProximal);
  EXPECT_EQ(mirrored(Role::leftToes), Role::rightToes);
}

}  // namespace
}  // namespace understudy
