// The gentlest way over bounds.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "core/math/least_bent.h"

namespace understudy {
namespace {

// Half of how the sum grows with each value.
std::vector<double> slopes(const std::vector<double>& x, double pull, SequenceEnds ends) {
  const auto at = [&](int i) { return i < 0 || i >= static_cast<int>(x.size()) ? 0.0 : x[static_cast<std::size_t>(i)]; };
  const int last = static_cast<int>(x.size()) - 1;
  const auto bend = [&](int i) { return (ends.freeBefore && i < 1) || (ends.freeAfter && i > last - 1) ? 0.0 : at(i - 1) - 2 * at(i) + at(i + 1); };
  std::vector<double> out;
  for (int i = 0; i < static_cast<int>(x.size()); ++i) out.push_back(bend(i - 1) - 2 * bend(i) + bend(i + 1) + pull * at(i));
  return out;
}

TEST(LeastBent, IsNothingWhereNothingIsAsked) { EXPECT_EQ(leastBentAbove(std::vector<double>(9, 0.0), 1e-3), std::vector<double>(9, 0.0)); }

TEST(LeastBent, CoversARoundHillWithLittleMoreThanTheHill) {
  std::vector<double> hill(40, 0.0);
  for (int i = 0; i < 12; ++i) hill[static_cast<std::size_t>(i + 14)] = 30 * std::pow(std::sin(3.14159 * (i + 1) / 13), 2);
  const std::vector<double> x = leastBentAbove(hill, 1e-3);
  for (std::size_t i = 0; i < hill.size(); ++i) EXPECT_GE(x[i], hill[i] - 1e-9) << i;
  EXPECT_NEAR(*std::max_element(x.begin(), x.end()), *std::max_element(hill.begin(), hill.end()), 0.5);
}

// Karush's, Kuhn's and Tucker's conditions, which only the best values meet: nothing pushes where there is room, and nothing pulls.
TEST(LeastBent, IsTheBestThereIsForAnyBounds) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int n = 1; n < 60; n += 3) {
    const SequenceEnds ends{n % 2 == 0, n % 4 < 2};
    std::vector<double> least(static_cast<std::size_t>(n));
    for (double& v : least) v = unit(random) < 0.4 ? 0.05 * unit(random) : 0;
    const double pull = std::pow(10, -4 * unit(random));
    const std::vector<double> x = leastBentAbove(least, pull, ends), grows = slopes(x, pull, ends);
    for (std::size_t i = 0; i < x.size(); ++i) {
      EXPECT_GE(x[i], least[i] - 1e-9) << n << ' ' << i;
      EXPECT_GE(grows[i], -1e-9) << n << ' ' << i;
      EXPECT_NEAR(grows[i] * (x[i] - least[i]), 0, 1e-9) << n << ' ' << i;
    }
  }
}

}  // namespace
}  // namespace understudy
