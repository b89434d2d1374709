// core/math/two_bone.h against published figures.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "core/math/transform.h"
#include "core/math/two_bone.h"

namespace understudy {
namespace {

constexpr double degrees = M_PI / 180;
const Vec3d xAxis{1, 0, 0}, yAxis{0, 1, 0}, zAxis{0, 0, 1};

// The law of cosines: bones .45 and .43, .7 apart.
TEST(TwoBoneFigures, Triangle) {
  EXPECT_NEAR(interiorAngle(.45, .43, .7) / degrees, 105.374, 5e-4);
  EXPECT_NEAR(interiorAngle(1, 1, 2), M_PI, 1e-12);
  EXPECT_NEAR(interiorAngle(1, 1, 0), 0, 1e-12);
  EXPECT_NEAR(interiorAngle(.45, .43, 9), M_PI, 1e-12);

  const TwoBoneLimb leg{{0, 1, 0}, {0, .55, 0}, {0, .55 - .43 * std::cos(.2), -.43 * std::sin(.2)}};
  const TwoBoneSolution s = solveTwoBone(leg, {.target = {0, .3, 0}});
  EXPECT_TRUE(s.reached);
  EXPECT_LT(s.miss, 1e-12);
  const Vec3d thigh = s.mid - leg.root;
  EXPECT_NEAR(angleBetween(-thigh, s.end - s.mid) / degrees, 105.374, 5e-4);
  EXPECT_NEAR(angleBetween(thigh, Vec3d{0, -1, 0}) / degrees, 36.3207, 5e-5);
  EXPECT_NEAR(std::hypot(thigh.x, thigh.z), .266537, 5e-7);  // the circle the knee can lie on
  EXPECT_NEAR(thigh.x, 0, 1e-12);                            // in the leg's own plane,
  EXPECT_GT(thigh.z, 0);                                     // on the side it was bent to
}

/// A frame of reference, and the same rotation seen from within it: turn · L = L · local.
struct Parent {
  const char* name;
  Affined world;
};
std::vector<Parent> parents() {
  const auto scaled = [](double x, double y, double z) { return Mat3d{{x, 0, 0}, {0, y, 0}, {0, 0, z}}; };
  return {{"still", {}},
          {"moved", {{}, {3, -2, 5}}},
          {"turned", {toMatrix(fromAxisAngle(normalised(Vec3d{1, 2, -1}), 2.2)), {0, 1, 0}}},
          {"scaled", {scaled(2, 2, 2), {}}},
          {"mirrored", {scaled(-1, 1, 1), {1, 0, 0}}},
          {"turned over and small", {toMatrix(fromAxisAngle(zAxis, 1.1)) * scaled(-.01, -.01, -.01), {4, 4, 4}}}};
}
class TwoBonePublished : public ::testing::Test {
 protected:
  /// Solves under every parent and compares the turns, seen from within the parent, with the expected ones.
  void expect(const TwoBoneGoal& goal, const Quatd& rootTurn, const Quatd& midTurn, bool reached) {
    for (const Parent& parent : parents()) {
      SCOPED_TRACE(parent.name);
      const auto at = [&](const Vec3d& p) { return apply(parent.world, p); };
      TwoBoneGoal there = goal;
      there.target = at(goal.target);
      if (goal.pole) there.pole = parent.world.linear * *goal.pole;
      const TwoBoneSolution s = solveTwoBone({at({0, 0, 0}), at({0, 1, 0}), at({1, 1, 0})}, there);
      EXPECT_EQ(s.reached, reached);
      same(toMatrix(s.rootTurn) * parent.world.linear, parent.world.linear * toMatrix(rootTurn));
      same(toMatrix(s.midTurn) * parent.world.linear, parent.world.linear * toMatrix(midTurn));
    }
  }
  static void same(const Mat3d& a, const Mat3d& b) {
    const double size = length(b.cx);
    EXPECT_LT(distance(a.cx, b.cx), 1e-7 * size);
    EXPECT_LT(distance(a.cy, b.cy), 1e-7 * size);
    EXPECT_LT(distance(a.cz, b.cz), 1e-7 * size);
  }
};

// ozz-animation's published tests of its two-bone job: root (0,0,0), middle (0,1,0), end (1,1,0), pole +Y.
TEST_F(TwoBonePublished, Targets) {
  expect({.target = {1, 1, 0}, .pole = yAxis}, {}, {}, true);
  expect({.target = {0, 1, 1}, .pole = yAxis}, fromAxisAngle(yAxis, -90 * degrees), {}, true);
  expect({.target = {2, 0, 0}, .pole = yAxis}, fromAxisAngle(zAxis, -90 * degrees), fromAxisAngle(zAxis, 90 * degrees), true);
  expect({.target = {3, 0, 0}, .pole = yAxis}, fromAxisAngle(zAxis, -90 * degrees), fromAxisAngle(zAxis, 90 * degrees), false);
}
TEST_F(TwoBonePublished, Weight) {
  expect({.target = {2, 0, 0}, .pole = yAxis, .weight = 0}, {}, {}, false);
  expect({.target = {2, 0, 0}, .pole = yAxis, .weight = .5}, fromAxisAngle(zAxis, -45 * degrees), fromAxisAngle(zAxis, 45 * degrees),
         false);
  expect({.target = {2, 0, 0}, .pole = yAxis, .weight = 7}, fromAxisAngle(zAxis, -90 * degrees), fromAxisAngle(zAxis, 90 * degrees), true);
  expect({.target = {0, 1, 1}, .pole = yAxis, .weight = .5}, fromAxisAngle(yAxis, -45 * degrees), {}, false);
}
TEST_F(TwoBonePublished, Soft) {
  const TwoBoneLimb limb{{0, 0, 0}, {0, 1, 0}, {1, 1, 0}};
  for (const auto& [x, reached] : {std::pair{.8, true}, {1.0, true}, {1.2, false}, {2.0, false}, {50.0, false}}) {
    const TwoBoneSolution s = solveTwoBone(limb, {.target = {x, 0, 0}, .pole = yAxis, .soft = .5});
    EXPECT_EQ(s.reached, reached) << x;
    EXPECT_NEAR(s.miss, x - s.end.x, 1e-9) << x;  // it falls behind along the line
    if (!reached) {
      EXPECT_GT(s.miss, 1e-3) << x;
    }
    EXPECT_LE(s.end.x, 2) << x;
  }
  // No jump and no kink where the zone begins, and it never turns back.
  EXPECT_NEAR(softReach(1 + 1e-6, 2, .5), 1 + 1e-6, 1e-11);
  for (double d = .5; d < 6; d += .01) EXPECT_GT(softReach(d + .01, 2, .5), softReach(d, 2, .5));
}

TEST(TwoBoneGeometry, RandomLimbsReachKeepLengthsAndTheirPlane) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> any(-1, 1);
  const auto point = [&] { return Vec3d{any(random), any(random), any(random)}; };
  int met = 0, far = 0, near = 0;
  for (int n = 0; n < 2000; ++n) {
    const TwoBoneLimb limb{point(), point(), point()};
    const double l1 = distance(limb.root, limb.mid), l2 = distance(limb.mid, limb.end);
    const Vec3d target = limb.root + point() * (n % 2 ? 1.5 : 4.0);
    const double d = distance(limb.root, target);
    TwoBoneGoal goal{.target = target};
    if (n % 3 == 0) goal.pole = point();
    const TwoBoneSolution s = solveTwoBone(limb, goal);
    ASSERT_TRUE(isFinite(s.rootTurn) && isFinite(s.midTurn));
    EXPECT_NEAR(distance(limb.root, s.mid), l1, 1e-12);
    EXPECT_NEAR(distance(s.mid, s.end), l2, 1e-12);
    const double out = std::max({0.0, d - l1 - l2, std::abs(l1 - l2) - d});
    EXPECT_NEAR(s.miss, out, 1e-7);
    if (out > 1e-5) {
      EXPECT_FALSE(s.reached);
      ++(d > l1 + l2 ? far : near);
      continue;
    }
    EXPECT_TRUE(s.reached);
    ++met;
    const Vec3d line = normalised(target - limb.root), normal = normalised(cross(limb.root - s.mid, s.end - s.mid));
    if (goal.pole) {
      EXPECT_GT(dot(cross(normal, line), *goal.pole), 0);
      EXPECT_NEAR(dot(normal, normalised(*goal.pole)), 0, 1e-6);
    } else {
      // The plane goes with the shortest turn of the root–end line.
      const Quatd carried = rotationBetween(normalised(limb.end - limb.root), line);
      const Vec3d before = normalised(cross(limb.root - limb.mid, limb.end - limb.mid));
      EXPECT_LT(distance(rotate(carried, before), normal), 1e-5);
    }
  }
  EXPECT_GT(met, 300);
  EXPECT_GT(far, 300);
  EXPECT_GT(near, 50);
}

TEST(TwoBoneGeometry, StraightLimbsBendAboutTheStoredHinge) {
  // Straight down, and a hair to the wrong side of it: the knee still goes forward (+Z).
  for (const double off : {0.0, 1e-6, -1e-6, .003, -.003}) {
    const TwoBoneLimb leg{{0, 1, 0}, {0, .5, 0}, {off * .3, 0, off}};
    const TwoBoneSolution s = solveTwoBone(leg, {.target = {0, .2, 0}, .hinge = -xAxis});
    EXPECT_TRUE(s.reached) << off;
    EXPECT_GT(s.mid.z, .29) << off;
    EXPECT_LT(std::abs(s.mid.x), .005) << off;
  }
  // Without one it bends to some side, but it reaches.
  const TwoBoneSolution s = solveTwoBone({{0, 1, 0}, {0, .5, 0}, {0, 0, 0}}, {.target = {0, .2, 0}});
  EXPECT_TRUE(s.reached);
}

TEST(TwoBoneGeometry, ATargetStraightBehindKeepsThePlaneToo) {
  // A limb in a slanted plane, so that no axis of the frame happens to lie right.
  const Quatd slant = fromAxisAngle(normalised(Vec3d{3, -1, 2}), 1.0);
  const TwoBoneLimb limb{{0, 0, 0}, rotate(slant, yAxis), rotate(slant, Vec3d{1, 1, 0})};
  const TwoBoneSolution s = solveTwoBone(limb, {.target = -limb.end * .9});
  EXPECT_TRUE(s.reached);
  EXPECT_NEAR(dot(s.mid, rotate(slant, zAxis)), 0, 1e-7);
}

TEST(TwoBoneGeometry, OddInputTurnsNothingOrStaysFinite) {
  const double nan = std::numeric_limits<double>::quiet_NaN(), huge = std::numeric_limits<double>::max();
  const TwoBoneLimb limb{{0, 0, 0}, {0, 1, 0}, {1, 1, 0}};
  for (const TwoBoneSolution& s :
       {solveTwoBone(limb, {.target = {nan, 0, 0}}), solveTwoBone(limb, {.target = {huge, huge, 0}}),
        solveTwoBone({{0, 0, 0}, {0, 0, 0}, {1, 0, 0}}, {.target = {0, 1, 0}}), solveTwoBone(limb, {.target = {1, 0, 0}, .soft = nan})}) {
    EXPECT_EQ(s.rootTurn, Quatd{});
    EXPECT_EQ(s.midTurn, Quatd{});
    EXPECT_FALSE(s.reached);
  }
  // A target on the root, one straight behind, a folded limb, a pole along the line.
  for (const TwoBoneSolution& s : {solveTwoBone(limb, {.target = {0, 0, 0}}), solveTwoBone(limb, {.target = {-1, -1, 0}}),
                                   solveTwoBone({{0, 0, 0}, {0, 1, 0}, {0, 0, 0}}, {.target = {1, 0, 0}, .hinge = zAxis}),
                                   solveTwoBone(limb, {.target = {1, 0, 0}, .pole = xAxis})}) {
    EXPECT_TRUE(isFinite(s.rootTurn) && isFinite(s.midTurn));
    EXPECT_TRUE(s.reached) << s.miss;
  }
}

}  // namespace
}  // namespace understudy
