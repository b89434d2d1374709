#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>

#include "core/math/filter.h"
#include "core/repair/smooth.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

Repair smooth(double cutoff, std::optional<FrameSpan> span = std::nullopt, std::vector<std::string> bones = {}, FrameRate rate = {30, 1}) {
  Repair repair;
  repair.id = 4;
  if (span) repair.span = TimeRange{rate.seconds(span->first), rate.seconds(span->last)};
  repair.action = SmoothRepair{std::move(bones), cutoff, true};
  return repair;
}

/// A motion of the stick character in which one bone turns about an axis by the given angles and the hips move by them in metres.
TiledMotion driven(const RepairContext& context, const std::vector<double>& angles, const Vec3d& axis, int joint) {
  Motion motion = restMotion(context.figure->skeleton, static_cast<int>(angles.size()), context.rate, {context.joint(Role::hips)});
  for (int f = 0; f < motion.frames; ++f) {
    const double a = angles[static_cast<std::size_t>(f)];
    motion.rotationsAt(f)[static_cast<std::size_t>(joint)] = Quatf(expOf(axis * a));
    motion.translationsAt(f)[0] = Vec3f(Vec3d{a, 1, -2 * a});
  }
  return TiledMotion(std::make_shared<const Motion>(std::move(motion)));
}

struct Bench {
  std::shared_ptr<RepairContext> context;
  int joint = 0;
};
Bench benchAt(FrameRate rate, int frames) {
  const test::Stand stand = test::walkingStick(2, 0);
  auto context = std::make_shared<RepairContext>(*stand.context);
  context->rate = rate;
  context->frames = frames;
  return {context, context->joint(Role::leftLowerArm)};
}

TEST(SmoothKernel, HalfThePowerAtTheCutOffWholeAtRest) {
  for (const double rate : {24.0, 30.0, 60.0, 120.0, 240.0})
    for (const double cutoff : {1.0, 3.0, 6.0, 10.0}) {
      const auto kernel = smoothingKernel(cutoff, rate);
      ASSERT_TRUE(kernel.ok());
      const auto gain = [&](double hertz) {
        double g = (*kernel)[0];
        for (std::size_t k = 1; k < kernel->size(); ++k) g += 2 * (*kernel)[k] * std::cos(2 * M_PI * hertz * static_cast<double>(k) / rate);
        return g;
      };
      EXPECT_NEAR(gain(0), 1, 1e-12);
      EXPECT_NEAR(gain(cutoff), std::sqrt(0.5), 3e-4) << cutoff << " of " << rate;
      // The promise of the header, about the support.
      EXPECT_LE(static_cast<double>(kernel->size() - 1), cutoff <= rate / 5 ? 1.9 * rate / cutoff + 2 : 27) << cutoff << " of " << rate;
      const auto filter = butterworthLowPass(cutoff, rate, passCorrection(2));
      for (const double hertz : {0.3 * cutoff, 0.7 * cutoff, std::min(1.5 * cutoff, 0.5 * rate)})
        EXPECT_NEAR(gain(hertz), std::pow(filter->gain(hertz, rate), 2), 5e-4);
    }
  for (const double cutoff : {0.0, -1.0, 15.0, std::numeric_limits<double>::quiet_NaN()}) EXPECT_FALSE(smoothingKernel(cutoff, 30).ok());
}

// The same as Winter's filter forwards and backwards, which is checked against scipy in tests/reference.
TEST(Smooth, CurvesComeOutAsFromTheFilterRunBothWays) {
  for (const FrameRate rate : {FrameRate{30, 1}, FrameRate{120, 1}}) {
    const int frames = 300;
    const Bench bench = benchAt(rate, frames);
    std::vector<double> angles;
    std::mt19937 random(8);
    std::normal_distribution<double> noise(0, 0.05);
    for (int f = 0; f < frames; ++f) angles.push_back(0.8 * std::sin(2 * M_PI * 0.7 * f / rate.hertz()) + noise(random));
    const auto expected = smoothed(angles, {6, rate.hertz()});
    ASSERT_TRUE(expected.ok());
    const Vec3d axis = normalised(Vec3d{1, 2, -1});
    const TiledMotion in = driven(*bench.context, angles, axis, bench.joint);
    const Repair repair = smooth(6);
    Issues issues;
    const TiledMotion out = test::runLayer(*makeSmoothLayer(bench.context, {&repair}, issues), in).motion;
    for (int f = 0; f < frames; ++f) {
      const Vec3d turn = logOf(Quatd(out.rotationsAt(f)[static_cast<std::size_t>(bench.joint)]));
      EXPECT_NEAR(dot(turn, axis), (*expected)[static_cast<std::size_t>(f)], 3e-4) << f;
      EXPECT_NEAR(length(cross(turn, axis)), 0, 1e-6);
      EXPECT_NEAR(out.translationsAt(f)[0].x, (*expected)[static_cast<std::size_t>(f)], 3e-4) << f;
      EXPECT_NEAR(out.translationsAt(f)[0].z, -2 * (*expected)[static_cast<std::size_t>(f)], 6e-4) << f;
    }
  }
}

TEST(Smooth, AnEvenTurnPastWholeTurnsStaysEven) {
  const Bench bench = benchAt({30, 1}, 200);
  std::vector<double> angles;
  for (int f = 0; f < 200; ++f) angles.push_back(0.3 * f);
  const TiledMotion in = driven(*bench.context, angles, {0, 0, 1}, bench.joint);
  const Repair repair = smooth(5);
  Issues issues;
  const TiledMotion out = test::runLayer(*makeSmoothLayer(bench.context, {&repair}, issues), in).motion;
  // Also at the clip's ends, where the curve is turned about its end.
  for (int f = 0; f < 200; ++f)
    EXPECT_NEAR(angleBetween(Quatd(out.rotationsAt(f)[static_cast<std::size_t>(bench.joint)]), Quatd(in.rotationsAt(f)[static_cast<std::size_t>(bench.joint)])), 0, 1e-5) << f;
}

TEST(Smooth, KeepsItsPromisesAlsoWhenStacked) {
  const test::Stand stand = test::walkingStick(170);
  const int arm = stand.context->joint(Role::leftLowerArm), hips = stand.context->joint(Role::hips);
  const std::vector<Repair> repairs{smooth(4, FrameSpan{60, 80}, {"@leftLowerArm", "@hips"}), smooth(8, FrameSpan{70, 120}, {"@leftLowerArm"}),
                                    smooth(3, FrameSpan{0, 9}, {"@hips"}), smooth(3, FrameSpan{165, 169}, {"@hips"})};
  Issues issues;
  const auto layer = makeSmoothLayer(stand.context, {&repairs[0], &repairs[1], &repairs[2], &repairs[3]}, issues);
  EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 21, 0, [&](int j) { return j == arm || j == hips; }), "");
  for (const Repair& repair : repairs) EXPECT_EQ(test::brokenPromises(*makeSmoothLayer(stand.context, {&repair}, issues), stand.motion, 22), "");
  const Repair whole = smooth(6);
  EXPECT_EQ(test::brokenPromises(*makeSmoothLayer(stand.context, {&whole}, issues), stand.motion, 23), "");
  EXPECT_TRUE(issues.empty());
  // A clip shorter than the kernel.
  const test::Stand brief = test::walkingStick(3);
  EXPECT_EQ(test::brokenPromises(*makeSmoothLayer(brief.context, {&whole}, issues), brief.motion, 24), "");
}

TEST(Smooth, BadInputIsToldAndLeftOut) {
  const test::Stand stand = test::walkingStick(60);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  std::vector<Repair> repairs{smooth(nan), smooth(0), smooth(-3), smooth(15), smooth(6, FrameSpan{70, 90}), smooth(6, std::nullopt, {"@leftWing"})};
  Issues issues;
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  const auto layer = makeSmoothLayer(stand.context, list, issues);
  EXPECT_EQ(issues.size(), 6U);
  EXPECT_EQ(test::firstDifference(test::runLayer(*layer, stand.motion).motion, stand.motion), -1);
}

}  // namespace
}  // namespace understudy
