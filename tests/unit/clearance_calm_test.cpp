// Changes that come in haste are spread over the time that is free around them.
#include "core/repair/clearance_calm.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

constexpr int stride = 4, frames = 400, nodes = frames / stride, needed = 200;

/// A change that is there from frame 200 on and comes within four frames.
std::vector<ArmChanges> hasty() {
  std::vector<ArmChanges> out(frames);
  for (int f = 0; f < frames; ++f) out[static_cast<std::size_t>(f)][0].x[0] = std::clamp((f - needed + 4) / 4.0, 0.0, 1.0);
  return out;
}

std::vector<double> hasteAt(int node) {
  std::vector<double> out(nodes, 0.0);
  out[static_cast<std::size_t>(node)] = 1;
  return out;
}

double longestStep(const std::vector<ArmChanges>& series) {
  double most = 0;
  for (std::size_t f = 1; f < series.size(); ++f) most = std::max(most, std::abs(series[f][0].x[0] - series[f - 1][0].x[0]));
  return most;
}

TEST(CalmedChanges, ComeEarlierWhereTheyHaveToBeThere) {
  std::vector<ArmChanges> series = hasty();
  calm(series, 0, stride, 1, hasteAt(needed / stride), {[](int place, const ArmChanges& x) { return place < needed || x[0].x[0] >= 0.5; }, {}, {}});
  EXPECT_LT(longestStep(series), 0.6 * longestStep(hasty()));
  for (std::size_t f = needed; f < frames; ++f) EXPECT_GE(series[f][0].x[0], 0.48) << f;
  EXPECT_GT(series[needed - 12][0].x[0], 0.1);
}

TEST(CalmedChanges, ComeLaterWhereTheyMustNotBeThereYet) {
  std::vector<ArmChanges> series = hasty();
  calm(series, 0, stride, 1, hasteAt(needed / stride), {[](int place, const ArmChanges& x) { return place > needed - 2 || x[0].x[0] <= 0.5; }, {}, {}});
  EXPECT_LT(longestStep(series), 0.6 * longestStep(hasty()));
  for (std::size_t f = 0; f < needed - 2; ++f) EXPECT_LE(series[f][0].x[0], 0.52) << f;
  EXPECT_LT(series[needed + 8][0].x[0], 0.85);
}

TEST(CalmedChanges, GoRoundWhatIsInTheWay) {
  // Half of the change fits nowhere but with another one beside it.
  const auto beside = [](const ArmChanges& x) { return 0.3 - std::abs(x[0].x[0] - 0.5); };
  const auto fits = [&](int, const ArmChanges& x) { return x[0].x[1] >= beside(x); };
  const auto away = [&](int, const ArmChanges& x) {
    ArmChanges out = x;
    out[0].x[1] = beside(x) + 0.05;
    return out;
  };
  const auto far = [](const ArmChanges& a, const ArmChanges& b) { return std::abs(a[0].x[1] - b[0].x[1]); };
  std::vector<ArmChanges> straight = hasty(), round = hasty();
  calm(straight, 0, stride, 1, hasteAt(needed / stride), {fits, {}, {}});
  calm(round, 0, stride, 1, hasteAt(needed / stride), {fits, away, far});
  EXPECT_GT(longestStep(straight), 0.6 * longestStep(hasty()));
  EXPECT_LT(longestStep(round), 0.4 * longestStep(hasty()));
  for (int f = needed - 40; f < needed + 40; ++f)
    if (f < needed - 6 || f > needed + 2) {
      EXPECT_TRUE(fits(f, round[static_cast<std::size_t>(f)])) << f;
    }
}

TEST(CalmedChanges, StayWhereNothingFits) {
  std::vector<ArmChanges> series = hasty();
  calm(series, 0, stride, 1, hasteAt(needed / stride), {[](int, const ArmChanges&) { return false; }, {}, {}});
  EXPECT_EQ(series, hasty());
}

TEST(CalmedChanges, StayWhereThereIsNoHaste) {
  std::vector<ArmChanges> series = hasty();
  calm(series, 0, stride, 1, std::vector<double>(nodes, 0.0), {[](int, const ArmChanges&) -> bool {
    ADD_FAILURE() << "nothing is asked where there is no haste";
    return true;
  }, {}, {}});
  EXPECT_EQ(series, hasty());
  // Nor far from it.
  calm(series, 0, stride, 1, hasteAt(needed / stride), {[](int, const ArmChanges&) { return true; }, {}, {}});
  const int reach = CalmPasses::support() * stride;
  for (const int f : {0, needed - reach, needed + reach}) EXPECT_EQ(series[static_cast<std::size_t>(std::clamp(f, 0, frames - 1))], hasty()[static_cast<std::size_t>(std::clamp(f, 0, frames - 1))]);
}

TEST(CalmedChanges, DependOnWhatIsNearAlone) {
  std::vector<ArmChanges> whole = hasty();
  const auto fits = [](int place, const ArmChanges& x) { return place < needed || x[0].x[0] >= 0.99; };
  std::vector<double> haste = hasteAt(needed / stride);
  calm(whole, 0, stride, 1, haste, {fits, {}, {}});
  // The same from a later start: what is farther away than the support does not matter.
  const int cut = 40;
  std::vector<ArmChanges> part = hasty();
  part.erase(part.begin(), part.begin() + cut);
  haste.erase(haste.begin(), haste.begin() + cut / stride);
  calm(part, 0, stride, 1, haste, {[&](int place, const ArmChanges& x) { return fits(place + cut, x); }, {}, {}});
  for (std::size_t f = 0; f < part.size(); ++f) EXPECT_EQ(part[f], whole[f + cut]) << f;
}

}  // namespace
}  // namespace understudy
