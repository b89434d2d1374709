// How much of a change is taken where it wins little.
#include "core/repair/part_choice.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

constexpr std::size_t count = 200;
const PartWindow window{9, 4};

TEST(PartChoice, TakesAllOfWhatLeavesNothing) {
  int asked = 0;
  const std::vector<double> taken = partsTaken(std::vector<char>(count, 1), 0.003, window, [&](std::size_t, double part) {
    ++asked;
    return 0.02 * (1 - part);
  });
  for (const double part : taken) EXPECT_NEAR(part, 1, 1e-12);
  EXPECT_EQ(asked, static_cast<int>(count));
}

TEST(PartChoice, TakesTheLeastThatLeavesHardlyMore) {
  // From place 100 on nothing helps; there the change is a long way for a hair.
  const std::vector<double> taken = partsTaken(std::vector<char>(count, 1), 0.003, window, [](std::size_t place, double part) { return place < 100 ? 0.02 * (1 - part) : 0.02 - 0.0002 * part; });
  EXPECT_NEAR(taken[150], 0, 1e-12);
  EXPECT_NEAR(taken[60], 1, 1e-12);
  for (std::size_t k = 1; k < count; ++k) EXPECT_LE(std::abs(taken[k] - taken[k - 1]), 0.26);
}

TEST(PartChoice, TakesThePartThatIsBestForNeighboursTogether) {
  // One place is helped by all of it, those beside it by a half.
  const std::vector<double> taken =
      partsTaken(std::vector<char>(count, 1), 0, window, [](std::size_t place, double part) { return place == 100 ? 0.004 * (1 - part) : 0.02 * std::abs(part - 0.5) + 0.001; });
  EXPECT_NEAR(taken[100], 0.5, 1e-12);
}

TEST(PartChoice, PlacesBeyondTheSupportDoNotMatter) {
  const auto left = [](std::size_t place, double part) { return 0.01 + 0.01 * std::sin(0.7 * static_cast<double>(place) + 3 * part); };
  const auto taken = [&](std::size_t from, std::size_t to) {
    return partsTaken(std::vector<char>(to - from, 1), 0.003, window, [&](std::size_t place, double part) { return left(from + place, part); });
  };
  const std::vector<double> all = taken(0, count), some = taken(50, 150);
  const auto support = static_cast<std::size_t>(window.support());
  ASSERT_LT(2 * support, some.size());
  for (std::size_t k = support; k + support < some.size(); ++k) EXPECT_EQ(some[k], all[50 + k]);
  EXPECT_GT(*std::max_element(all.begin(), all.end()), *std::min_element(all.begin(), all.end()));
}

TEST(PartChoice, AsksNothingWhereNothingChanged) {
  const std::vector<double> taken = partsTaken(std::vector<char>(count, 0), 0.003, window, [](std::size_t, double) {
    ADD_FAILURE();
    return 1.0;
  });
  for (const double part : taken) EXPECT_NEAR(part, 1, 1e-12);
}

}  // namespace
}  // namespace understudy
