// Changes of arms in a row: evened out, and given again what evening out took.
#include <gtest/gtest.h>

#include "core/repair/change_series.h"

namespace understudy {
namespace {

std::vector<ArmChanges> zeros(std::size_t count) { return std::vector<ArmChanges>(count); }

TEST(ChangeSeries, AConstantStaysAsItIs) {
  std::vector<ArmChanges> series(9);
  for (ArmChanges& x : series) x[0].x[3] = 0.4;
  for (const int at : {0, 4, 8}) EXPECT_NEAR(mixed(series, at, 3, 1)[0].x[3], 0.4, 1e-12);
}

TEST(ChangeSeries, OnlyTheArmsThatAreAskedForCount) {
  std::vector<ArmChanges> series(5);
  for (ArmChanges& x : series) x[1].x[0] = 1;
  EXPECT_EQ(mixed(series, 2, 1, 1)[1].x[0], 0);
  EXPECT_NEAR(mixed(series, 2, 1, 2)[1].x[0], 1, 1e-12);
}

TEST(ChangeSeries, TheLargestLackCountsWhereSeveralReach) {
  std::vector<ArmChanges> series = zeros(9), lacks = zeros(9);
  std::vector<double> size(9, 0);
  lacks[3][0].x[1] = 1;
  lacks[5][0].x[1] = -4;
  size[3] = 1;
  size[5] = 4;
  addAround(series, lacks, size, 2, 1);
  EXPECT_DOUBLE_EQ(series[5][0].x[1], -4);
  EXPECT_LT(series[4][0].x[1], -1);
  EXPECT_GT(series[1][0].x[1], 0);
  EXPECT_EQ(series[0][0].x[1], 0);
  EXPECT_EQ(series[8][0].x[1], 0);
}

TEST(ChangeSeries, WhatIsNeededForOneMomentIsThereAfterEveningOut) {
  std::vector<ArmChanges> series = zeros(31);
  series[15][0].x[3] = 1;
  EXPECT_LT(mixed(series, 15, 1, 1)[0].x[3], 0.6);
  for (int round = 0; round < 5; ++round) {
    std::vector<ArmChanges> lacks = zeros(31);
    std::vector<double> size(31, 0);
    const double lack = 1 - mixed(series, 15, 1, 1)[0].x[3];
    if (lack <= 0) break;
    lacks[15][0].x[3] = size[15] = lack;
    addAround(series, lacks, size, 3, 1);
  }
  EXPECT_NEAR(mixed(series, 15, 1, 1)[0].x[3], 1, 0.01);
  EXPECT_EQ(series[11][0].x[3], 0);
}

}  // namespace
}  // namespace understudy
