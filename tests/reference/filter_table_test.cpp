// core/math/filter.h against Winter's worked figures and against scipy's zero-lag filter.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <limits>
#include <sstream>
#include <string>
#include <vector>

#include "core/math/filter.h"

namespace understudy {
namespace {

// Winter, "Biomechanics and Motor Control of Human Movement", 2.5.4.4: fs/fc = 10, C = 1, and C = 0.802 for two passes.
TEST(LowPassFigures, CoefficientsAsPublished) {
  const Result<LowPass> f = butterworthLowPass(6, 60, passCorrection(1));
  ASSERT_TRUE(f.ok());
  EXPECT_NEAR(f->a0, 0.067455, 5e-7);
  EXPECT_NEAR(f->a1, 0.13491, 5e-6);
  EXPECT_NEAR(f->a2, 0.067455, 5e-7);
  EXPECT_NEAR(f->b1, 1.14298, 5e-6);
  EXPECT_NEAR(f->b2, -0.41280, 5e-6);
  EXPECT_NEAR(passCorrection(2), 0.802, 5e-4);
}

TEST(LowPassFigures, GainAtTheCutOff) {
  for (const double rate : {24.0, 60.0, 120.0}) {
    const Result<LowPass> winter = butterworthLowPass(6, rate, 0.802);  // his rounded figure
    ASSERT_TRUE(winter.ok());
    EXPECT_NEAR(std::pow(winter->gain(6, rate), 2), 0.7074, 5e-5);
    const Result<LowPass> exact = butterworthLowPass(6, rate, passCorrection(2));
    ASSERT_TRUE(exact.ok());
    EXPECT_NEAR(std::pow(exact->gain(6, rate), 2), std::sqrt(0.5), 1e-12);
    EXPECT_NEAR(exact->gain(0, rate), 1, 1e-12);
    EXPECT_NEAR(exact->gain(rate / 2, rate), 0, 1e-12);
  }
}

TEST(LowPassFigures, ASineAtTheCutOffKeepsItsPhase) {
  std::vector<double> wave;
  for (int i = 0; i < 240; ++i) wave.push_back(std::sin(2 * M_PI * 6 * i / 60));
  const auto out = smoothed(wave, {6, 60});
  ASSERT_TRUE(out.ok());
  for (std::size_t i = 60; i < 180; ++i) EXPECT_NEAR((*out)[i], wave[i] * std::sqrt(0.5), 1e-6);
}

// tests/data/filter_table.csv: scipy 1.10.1 (signal.butter and filtfilt, Debian 12's python3-scipy), made with
// tests/reference/make_filter_table.py.
TEST(FilterTable, SameAsScipy) {
  std::ifstream file(UNDERSTUDY_SOURCE "/tests/data/filter_table.csv");
  ASSERT_TRUE(file.is_open());
  std::vector<double> in;
  int pairs = 0;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::istringstream cells(line);
    std::string kind, cell;
    std::getline(cells, kind, ',');
    std::vector<double> numbers;
    while (std::getline(cells, cell, ',')) numbers.push_back(std::stod(cell));
    ASSERT_GE(numbers.size(), 3u);
    const double cutoff = numbers[0], rate = numbers[1];
    numbers.erase(numbers.begin(), numbers.begin() + 2);
    if (kind == "in") {
      in = numbers;
      continue;
    }
    const auto out = smoothed(in, {cutoff, rate});
    ASSERT_TRUE(out.ok()) << out.error().text();
    ASSERT_EQ(out->size(), numbers.size());
    for (std::size_t i = 0; i < numbers.size(); ++i) {
      EXPECT_NEAR((*out)[i], numbers[i], 1e-10 * 150) << cutoff << " of " << rate << " Hz, value " << i + 1;  // values reach 150
    }
    ++pairs;
  }
  EXPECT_EQ(pairs, 8);
}

TEST(FilterEnds, ConstantsAndLinesPassThrough) {
  std::vector<double> constant(50, 7.5), line;
  for (int i = 0; i < 50; ++i) line.push_back(3 + 0.25 * i);
  const auto flat = smoothed(constant, {6, 30}), straight = smoothed(line, {6, 30});
  ASSERT_TRUE(flat.ok() && straight.ok());
  for (std::size_t i = 0; i < 50; ++i) {
    EXPECT_NEAR((*flat)[i], 7.5, 1e-12);
    EXPECT_NEAR((*straight)[i], line[i], 0.25 * 5e-3);  // what is left of the start, a thousandth, of a few samples' rise
  }
  const auto empty = smoothed({}, {6, 30});
  ASSERT_TRUE(empty.ok());
  EXPECT_TRUE(empty->empty());
}

TEST(FilterEnds, BadRequestsAreRefused) {
  const std::vector<double> values{1, 2, std::numeric_limits<double>::quiet_NaN()};
  const auto nan = smoothed(values, {6, 30});
  ASSERT_FALSE(nan.ok());
  EXPECT_EQ(nan.error().where, "value 3");
  const std::vector<double> fine{1, 2, 3};
  for (const double cutoff : {0.0, -1.0, 15.0, 40.0, std::numeric_limits<double>::quiet_NaN()}) {
    const auto refused = smoothed(fine, {cutoff, 30});
    ASSERT_FALSE(refused.ok()) << cutoff;
    EXPECT_EQ(refused.error().fault, Fault::usage);
  }
  EXPECT_FALSE(smoothed(fine, {1, std::numeric_limits<double>::infinity()}).ok());
}

}  // namespace
}  // namespace understudy
