// core/math/distance.h and core/math/outlier.h against published figures, and against brute force.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <vector>

#include "core/math/distance.h"
#include "core/math/outlier.h"

namespace understudy {
namespace {

// Ericson, "Real-Time Collision Detection" (2005), 5.1.9.
TEST(DistanceFigures, Segments) {
  const SegmentPair crossing = closestOfSegments({0, 0, 0}, {1, 0, 0}, {.5, -1, 1}, {.5, 1, 1});
  EXPECT_NEAR(crossing.distance, 1, 1e-15);
  EXPECT_NEAR(crossing.s, .5, 1e-15);
  EXPECT_NEAR(crossing.t, .5, 1e-15);
  EXPECT_EQ(crossing.a, Vec3d(.5, 0, 0));
  EXPECT_EQ(crossing.b, Vec3d(.5, 0, 1));
  const SegmentPair parallel = closestOfSegments({0, 0, 0}, {1, 0, 0}, {2, 1, 0}, {3, 1, 0});
  EXPECT_NEAR(parallel.distance, std::sqrt(2.0), 1e-15);
  EXPECT_EQ(parallel.s, 1);
  EXPECT_EQ(parallel.t, 0);
}

TEST(DistanceFigures, SegmentsOfNoLengthAndPoints) {
  EXPECT_NEAR(closestOfSegments({0, 0, 0}, {0, 0, 0}, {0, 3, 4}, {0, 3, 4}).distance, 5, 1e-15);
  EXPECT_NEAR(closestOfSegments({0, 0, 0}, {0, 0, 0}, {-1, 2, 0}, {1, 2, 0}).distance, 2, 1e-15);
  EXPECT_NEAR(closestOfSegments({-1, 2, 0}, {1, 2, 0}, {0, 0, 0}, {0, 0, 0}).distance, 2, 1e-15);
  EXPECT_EQ(closestOnSegment({3, 4, 0}, {0, 0, 0}, {0, 0, 0}).distance, 5);
  const PointOnSegment middle = closestOnSegment({1, 2, 0}, {0, 0, 0}, {4, 0, 0});
  EXPECT_EQ(middle.t, .25);
  EXPECT_EQ(middle.distance, 2);
  EXPECT_EQ(closestOnSegment({9, 0, 0}, {0, 0, 0}, {4, 0, 0}).point, Vec3d(4, 0, 0));
}

TEST(DistanceFigures, NoSampledPairOfPointsIsNearer) {
  std::mt19937 random(7);
  std::uniform_real_distribution<double> any(-1, 1);
  const auto point = [&] { return Vec3d{any(random), any(random), any(random)}; };
  for (int n = 0; n < 300; ++n) {
    const Vec3d a0 = point(), b0 = point();
    const Vec3d a1 = point(), b1 = n % 3 == 0 ? b0 + (a1 - a0) * 1.3 : n % 3 == 1 ? b0 + (a1 - a0) + point() * 1e-7 : point();
    const SegmentPair pair = closestOfSegments(a0, a1, b0, b1);
    EXPECT_NEAR(distance(lerp(a0, a1, pair.s), lerp(b0, b1, pair.t)), pair.distance, 1e-12);
    double nearest = std::numeric_limits<double>::infinity();
    for (int i = 0; i <= 200; ++i) nearest = std::min(nearest, closestOnSegment(lerp(a0, a1, i / 200.0), b0, b1).distance);
    EXPECT_LE(pair.distance, nearest + 1e-12);
    EXPECT_GE(pair.distance, nearest - distance(a0, a1) / 400 - 1e-12);  // half the step of the samples
  }
}

// Jacobson, Kavan and Sorkine-Hornung 2013: inside 1, outside 0, and at a cube's centre each side holds a sixth of the sphere.
TEST(DistanceFigures, WindingNumberOfACube) {
  std::vector<Vec3f> corners;
  for (int i = 0; i < 8; ++i) corners.push_back({i & 1 ? 1.f : -1.f, i & 2 ? 1.f : -1.f, i & 4 ? 1.f : -1.f});
  const std::vector<std::uint32_t> cube{0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4,
                                        2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5};
  for (const Vec3d inside : {Vec3d{0, 0, 0}, Vec3d{.9, -.7, .5}, Vec3d{.999, .999, .999}}) {
    EXPECT_NEAR(windingNumber(inside, corners, cube), 1, 1e-12);
  }
  for (const Vec3d outside : {Vec3d{1.001, 0, 0}, Vec3d{-3, 2, 5}, Vec3d{0, 1.5, 0}, Vec3d{100, 1, 1}}) {
    EXPECT_NEAR(windingNumber(outside, corners, cube), 0, 1e-12);
  }
  const std::vector<std::uint32_t> open(cube.begin() + 6, cube.end());
  EXPECT_NEAR(windingNumber({0, 0, 0}, corners, open), .833333, 5e-7);
  const std::vector<std::uint32_t> inward = [&] {
    std::vector<std::uint32_t> flipped = cube;
    for (std::size_t i = 0; i < flipped.size(); i += 3) std::swap(flipped[i], flipped[i + 1]);
    return flipped;
  }();
  EXPECT_NEAR(windingNumber({0, 0, 0}, corners, inward), -1, 1e-12);
  EXPECT_TRUE(std::isfinite(windingNumber({1, 1, 1}, corners, cube)));
  EXPECT_TRUE(std::isfinite(windingNumber({1, 0, 0}, corners, cube)));
}

// Iglewicz and Hoaglin 1993: 0.6745 (x − median) / MAD, an outlier past 3.5.
TEST(OutlierFigures, ModifiedZScore) {
  const std::vector<double> values{.9, 1, 1.1, 1, .95, 1.05, 4};
  const std::vector<double> scores = modifiedZScores(values);
  ASSERT_EQ(scores.size(), 7u);
  EXPECT_NEAR(scores[6], 40.47, 1e-9);
  EXPECT_NEAR(scores[0], -1.349, 1e-9);
  for (std::size_t i = 0; i < 6; ++i) EXPECT_LT(std::abs(scores[i]), 3.5);
}

TEST(OutlierFigures, EvenCountsTiesAndOddNumbers) {
  const std::vector<double> even{1, 2, 3, 10};  // median 2.5, deviations 1.5 .5 .5 7.5, MAD 1
  EXPECT_NEAR(modifiedZScores(even)[3], .6745 * 7.5, 1e-12);
  const std::vector<double> ties{2, 2, 2, 2, 7};  // MAD 0, mean deviation 1
  EXPECT_NEAR(modifiedZScores(ties)[4], 5 / 1.253314, 1e-12);
  EXPECT_EQ(modifiedZScores(ties)[0], 0);
  EXPECT_EQ(modifiedZScores(std::vector<double>(4, 3.0)), std::vector<double>(4, 0.0));
  EXPECT_TRUE(modifiedZScores({}).empty());
  const double nan = std::numeric_limits<double>::quiet_NaN(), infinite = std::numeric_limits<double>::infinity();
  const std::vector<double> odd = modifiedZScores(std::vector<double>{1, nan, 2, -infinite, 3});
  EXPECT_EQ(odd[1], 0);
  EXPECT_EQ(odd[3], -infinite);
  EXPECT_NEAR(odd[4], .6745, 1e-12);
}

}  // namespace
}  // namespace understudy
