// Knees of legs that stand, made steady by the pelvis.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/repair/plant_run.h"
#include "core/repair/plant_steady.h"

namespace understudy {
namespace {

constexpr double rate = 100, leg = 0.8, apart = 0.2;

/// Both legs stand with the hip `height(f)` above the foot's joint and `forward(f)` before it, the other leg as far behind, metres; knees that
/// were bent as far as at a distance of 0.78 all along.
template <class Height, class Forward>
std::array<std::vector<KneeFrame>, 2> standing(const Height& height, const Forward& forward) {
  std::array<std::vector<KneeFrame>, 2> out;
  for (std::size_t side = 0; side < 2; ++side)
    for (int f = 0; f < 121; ++f) out[side].push_back({0, 1, {0, height(f), (side == 0 ? apart : -apart) + forward(f)}, {0, side == 0 ? 0.2 : -0.2, 0}, leg, bendOfReach(0.78 / leg)});
  return out;
}

template <class Height>
std::array<std::vector<KneeFrame>, 2> standing(const Height& height) {
  std::array<std::vector<KneeFrame>, 2> out = standing(height, [](int) { return 0.0; });
  for (std::vector<KneeFrame>& side : out)
    for (KneeFrame& knee : side) knee.up.z = 0;
  return out;
}

/// The largest second difference of a knee's bend, radians.
double worstJerk(const std::vector<KneeFrame>& knee, const std::vector<HipShift>& shift) {
  const auto bend = [&](std::size_t f) { return bendOfReach(length(knee[f].up + shift[f].by + knee[f].lever * shift[f].roll) / leg); };
  double most = 0;
  for (std::size_t f = 1; f + 1 < knee.size(); ++f) most = std::max(most, std::abs(bend(f - 1) - 2 * bend(f) + bend(f + 1)));
  return most;
}

TEST(Steadied, TakesJerksOfAnAlmostStraightKneeAway) {
  const std::array<std::vector<KneeFrame>, 2> knees = standing([](int f) { return 0.785 + (f == 60 ? -0.004 : f == 63 ? 0.003 : 0); });
  const std::vector<HipShift> shift = steadied(knees, rate, leg);
  EXPECT_GT(worstJerk(knees[0], std::vector<HipShift>(121)), 0.08);
  EXPECT_LT(worstJerk(knees[0], shift), 0.02);
  for (int f = 0; f < 121; ++f) {
    EXPECT_LT(length(shift[static_cast<std::size_t>(f)].by), 0.006) << f;
    if (f < 60 - steadyReach(rate) || f > 63 + steadyReach(rate)) {
      EXPECT_LT(length(shift[static_cast<std::size_t>(f)].by), 1e-6) << f;
    }
  }
}

// One knee bends as the other stretches: no rise helps both.
TEST(Steadied, AShakeForwardsIsTakenOutOfBothKnees) {
  const std::array<std::vector<KneeFrame>, 2> knees = standing([](int) { return 0.75; }, [](int f) { return f > 50 && f < 70 ? (f % 2 == 0 ? 0.003 : -0.003) : 0.0; });
  const std::vector<HipShift> shift = steadied(knees, rate, leg);
  for (const std::vector<KneeFrame>& knee : knees) {
    EXPECT_GT(worstJerk(knee, std::vector<HipShift>(121)), 0.03);
    EXPECT_LT(worstJerk(knee, shift), 0.25 * worstJerk(knee, std::vector<HipShift>(121)));
  }
}

// Wide hips that roll draw one leg longer as the other is shortened.
TEST(Steadied, ARollIsTakenOutOfBothKnees) {
  std::array<std::vector<KneeFrame>, 2> knees = standing([](int) { return 0.76; });
  for (int f = 51; f < 70; ++f)
    for (std::size_t side = 0; side < 2; ++side) {
      KneeFrame& knee = knees[side][static_cast<std::size_t>(f)];
      knee.up.y += (side == 0 ? 0.003 : -0.003) * (f % 2 == 0 ? 1 : -1);
    }
  for (std::size_t side = 0; side < 2; ++side)
    for (KneeFrame& knee : knees[side]) knee.lever = {0, side == 0 ? 0.2 : -0.2, 0};
  const std::vector<HipShift> shift = steadied(knees, rate, leg);
  for (const std::vector<KneeFrame>& knee : knees) EXPECT_LT(worstJerk(knee, shift), 0.25 * worstJerk(knee, std::vector<HipShift>(121)));
}

// A capture's knee that stands sideways flips from backwards to forwards: that is no bend the pelvis should follow.
TEST(Steadied, AKneeThatFlipsFromBackwardsToForwardsHardlyBends) {
  const Vec3d hinge{1, 0, 0};
  const auto bent = [&](double forward, double sideways) {
    LegFrame frame;
    frame.hip = {0, 0.8, 0};
    frame.knee = {0, 0.4, 0};
    frame.foot.at = frame.knee + rotate(fromAxisAngle(normalised(Vec3d{-forward, 0, sideways}, Vec3d{1, 0, 0}), std::hypot(forward, sideways)), Vec3d{0, -0.4, 0});
    frame.straight = straightness(frame, hinge);
    return standingBend(frame, hinge);
  };
  EXPECT_NEAR(bent(0.4, 0), 0.4, 1e-6);
  EXPECT_NEAR(bent(-0.2, 0), 0, 1e-6);
  EXPECT_NEAR(bent(-0.05, 0.2), bent(0.05, 0.2), 0.03);
  EXPECT_NEAR(bent(-1e-4, 0.2), bent(1e-4, 0.2), 1e-3);
}

TEST(Steadied, LeavesSlowWaysAlone) {
  for (const HipShift& shift : steadied(standing([](int f) { return 0.775 + 0.005 * std::sin(2 * M_PI * 0.8 * f / rate); }), rate, leg)) EXPECT_LT(length(shift.by), 0.0008);
}

TEST(Steadied, WhereNoFootStandsNothingRises) {
  std::array<std::vector<KneeFrame>, 2> knees = standing([](int f) { return 0.785 + (f == 60 ? -0.004 : 0); });
  for (std::vector<KneeFrame>& side : knees)
    for (KneeFrame& knee : side) knee.stay = -1;
  for (const HipShift& shift : steadied(knees, rate, leg)) EXPECT_EQ(shift.by, Vec3d{});
}

// A frame depends on no more of those around it than it says.
TEST(Steadied, ReadsNoFurtherThanItSays) {
  const std::array<std::vector<KneeFrame>, 2> all = standing([](int f) { return 0.78 + 0.004 * std::sin(0.9 * f) * std::sin(0.13 * f); });
  const int reach = steadyReach(rate);
  ASSERT_LT(reach, 55);
  std::array<std::vector<KneeFrame>, 2> piece;
  for (std::size_t side = 0; side < 2; ++side) piece[side].assign(all[side].begin() + 60 - reach, all[side].begin() + 61 + reach);
  EXPECT_LT(distance(steadied(piece, rate, leg)[static_cast<std::size_t>(reach)].by, steadied(all, rate, leg)[60].by), 1e-15);
}

}  // namespace
}  // namespace understudy
