// Ways chosen over time.
#include <gtest/gtest.h>

#include <cmath>

#include "core/repair/steady_choice.h"

namespace understudy {
namespace {

TEST(SteadyChoice, StaysWhereAShortDetourIsNotWorthTheChange) {
  // Way 1 is cheaper for two moments only, a change costs more than that saves.
  std::vector<std::vector<double>> worth(12, {1.0, 2.0});
  worth[5] = worth[6] = {1.0, 0.5};
  const auto step = [](std::size_t, int a, int b) { return a == b ? 0.0 : 0.8; };
  EXPECT_EQ(steadyChoice(worth, 8, step), std::vector<int>(12, 0));
  // Free changes go to the cheapest each time.
  std::vector<int> cheapest(12, 0);
  cheapest[5] = cheapest[6] = 1;
  EXPECT_EQ(steadyChoice(worth, 8, [](std::size_t, int, int) { return 0.0; }), cheapest);
}

TEST(SteadyChoice, ChangesOnceWhereTheOtherWayIsBetterForGood) {
  std::vector<std::vector<double>> worth(30, {1.0, 2.0});
  for (std::size_t m = 15; m < worth.size(); ++m) worth[m] = {2.0, 1.0};
  const std::vector<int> chosen = steadyChoice(worth, 8, [](std::size_t, int a, int b) { return a == b ? 0.0 : 2.5; });
  int changes = 0;
  for (std::size_t m = 1; m < chosen.size(); ++m) changes += chosen[m] != chosen[m - 1];
  EXPECT_EQ(changes, 1);
  EXPECT_EQ(chosen.front(), 0);
  EXPECT_EQ(chosen.back(), 1);
}

TEST(SteadyChoice, LooksNoFartherThanAsked) {
  std::vector<std::vector<double>> worth(40, {1.0, 1.5});
  std::vector<std::vector<double>> other = worth;
  other[30] = {1000.0, 0.0};
  const auto step = [](std::size_t, int a, int b) { return a == b ? 0.0 : 3.0; };
  const std::vector<int> one = steadyChoice(worth, 6, step), two = steadyChoice(other, 6, step);
  for (std::size_t m = 0; m + 6 < 30; ++m) EXPECT_EQ(one[m], two[m]) << m;
  EXPECT_EQ(two[30], 1);
}

TEST(SteadyChoice, TakesWhatThereIs) {
  EXPECT_TRUE(steadyChoice({}, 4, [](std::size_t, int, int) { return 0.0; }).empty());
  // Where a way ends, the only other one is gone over to.
  const std::vector<std::vector<double>> worth{{5.0}, {1.0, 0.0}, {1.0}};
  EXPECT_EQ(steadyChoice(worth, 4, [](std::size_t, int a, int b) { return std::abs(a - b) * 0.25; }), (std::vector<int>{0, 1, 0}));
}

}  // namespace
}  // namespace understudy
