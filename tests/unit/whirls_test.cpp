#include <gtest/gtest.h>

#include <cmath>

#include "core/contact/whirls.h"

namespace understudy {
namespace {

/// A foot on the ground in frames 10 … 39 of 50 at 30 a second, its direction at each by `yaw`, radians.
template <class Yaw>
FootContact standing(const Yaw& yaw) {
  FootContact foot;
  for (int f = 0; f < 50; ++f) {
    foot.heel.push_back({0, 0, 0});
    foot.ball.push_back({0.2 * std::sin(yaw(f)), 0, 0.2 * std::cos(yaw(f))});
  }
  ContactSpan span;
  span.first = 10;
  span.last = 39;
  span.landing = 10 / 30.0;
  span.leaving = 39.5 / 30.0;
  span.landingSeen = span.leavingSeen = true;
  foot.spans = {span};
  return foot;
}

TEST(Whirls, AFootThatWhirlsRoundAtItsEndsDoesNotStandThere) {
  FootContact foot = standing([](int f) { return f < 36 ? 3.0 : 3.0 + 0.5 * (f - 35); });
  trimWhirls(foot, 30, {});
  ASSERT_EQ(foot.spans.size(), 1U);
  EXPECT_EQ(foot.spans[0].first, 10);
  EXPECT_NEAR(foot.spans[0].last, 35, 1);
  EXPECT_NEAR(foot.spans[0].leaving, (foot.spans[0].last + 1) / 30.0, 1e-9);
  foot = standing([](int f) { return f > 14 ? 0.0 : 0.5 * (f - 14); });
  trimWhirls(foot, 30, {});
  EXPECT_NEAR(foot.spans.at(0).first, 14, 1);
  EXPECT_EQ(foot.spans[0].last, 39);
}

TEST(Whirls, TurnsOnTheSpotAndSpinsInTheMiddleStay) {
  for (const double speed : {0.0, 3.0}) {
    FootContact foot = standing([&](int f) { return speed * f / 30; });
    const auto was = foot.spans;
    trimWhirls(foot, 30, {});
    EXPECT_EQ(foot.spans, was) << speed;
  }
  FootContact foot = standing([](int f) { return 0.5 * std::clamp(f - 22, 0, 4); });
  const auto was = foot.spans;
  trimWhirls(foot, 30, {});
  EXPECT_EQ(foot.spans, was);
}

TEST(Whirls, WhatWhirlsThroughoutIsNoContact) {
  FootContact foot = standing([](int f) { return 0.5 * f; });
  trimWhirls(foot, 30, {});
  EXPECT_TRUE(foot.spans.empty());
}

}  // namespace
}  // namespace understudy
