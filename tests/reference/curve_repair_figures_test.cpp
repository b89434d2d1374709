// Repairs of curves against figures from outside.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <sstream>

#include "core/repair/hold.h"
#include "core/repair/untwist.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

// Rz(40°)·Rx(70°), worked by hand: 70° of twist about X.
TEST(TwistFigures, ByHand) {
  const double degree = M_PI / 180;
  const Quatd q = fromAxisAngle(Vec3d{0, 0, 1}, 40 * degree) * fromAxisAngle(Vec3d{1, 0, 0}, 70 * degree);
  EXPECT_NEAR(followedTwist(q, {1, 0, 0}, 0), 70 * degree, 1e-12);
  EXPECT_NEAR(followedTwist(-q, {1, 0, 0}, 360 * degree), 430 * degree, 1e-12);
}

// tests/data/twist_table.csv, found by scipy as the nearest turn about the axis (tests/reference/make_twist_table.py).
TEST(TwistFigures, TheNearestTurnAboutTheAxis) {
  std::ifstream file(UNDERSTUDY_SOURCE "/tests/data/twist_table.csv");
  ASSERT_TRUE(file.is_open());
  int rows = 0;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::istringstream in(line);
    std::vector<double> v;
    for (std::string cell; std::getline(in, cell, ',');) v.push_back(std::stod(cell));
    ASSERT_EQ(v.size(), 12U) << line;
    const Quatd q{v[0], v[1], v[2], v[3]}, swing{v[8], v[9], v[10], v[11]};
    const Vec3d axis{v[4], v[5], v[6]};
    // Where a half turn of twist is near, −π and π are the same.
    EXPECT_NEAR(std::remainder(followedTwist(q, axis, 0) - v[7], 2 * M_PI), 0, 1e-6) << line;
    EXPECT_LT(angleBetween(swingTwist(q, axis).swing, swing), 1e-6) << line;
    ++rows;
  }
  EXPECT_GT(rows, 25);
}

// glTF 2.0, appendix C, cubic spline interpolation: v0 = 0, out-tangent 1, v1 = 1, in-tangent −1, 2 s apart → 0.53125 after a quarter.
TEST(BridgeFigures, ShortBridgesAreCubicHermiteCurves) {
  test::Stand stand = test::walkingStick(40, 0);
  const int joint = stand.context->joint(Role::leftUpperArm);
  stand.motion = stand.motion.writable(0, 40);
  const auto value = [](int f) { return f <= 10 ? 0.25 * (f - 10) : 1 - 0.25 * (f - 18); };  // 8 frames for the 2 s
  for (int f = 0; f < 40; ++f) {
    stand.motion.rotationsToWrite(f)[static_cast<std::size_t>(joint)] = Quatf(fromAxisAngle(Vec3d{0, 1, 0}, value(f)));
    stand.motion.translationsToWrite(f)[0] = Vec3f(Vec3d{value(f), 0, 0});
  }
  Repair repair;
  repair.span = TimeRange{11 / 30.0, 17 / 30.0};
  repair.action = BridgeRepair{};
  Issues issues;
  const TiledMotion out = test::runLayer(*makeHoldLayer(stand.context, {&repair}, issues), stand.motion).motion;
  EXPECT_NEAR(out.translationsAt(12)[0].x, 0.53125, 1e-6);
  EXPECT_NEAR(logOf(Quatd(out.rotationsAt(12)[static_cast<std::size_t>(joint)])).y, 0.53125, 1e-6);
  // The whole curve, and both its ends.
  for (int f = 10; f <= 18; ++f) {
    const double t = (f - 10) / 8.0, u = t * t, c = u * t;
    const double expected = 2 * (c - 2 * u + t) + (-2 * c + 3 * u) - 2 * (c - u);
    EXPECT_NEAR(out.translationsAt(f)[0].x, expected, 1e-6) << f;
  }
}

}  // namespace
}  // namespace understudy
