// A pelvis that stumbles while a foot stands.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/repair/plant_calm.h"

namespace understudy {
namespace {

constexpr double rate = 100, leg = 0.8;

/// Hips that sway by 3 cm at 1.2 Hz, turned by `jerk` radians from frame 50 on, until `until`.
std::vector<PelvisPose> swaying(double jerk, int until) {
  std::vector<PelvisPose> out;
  for (int f = 0; f < 101; ++f) {
    const Quatd turn = fromAxisAngle(Vec3d{1, 0, 0}, f >= 50 && f < until ? jerk : 0.0);
    const Vec3d pivot{0.03 * std::sin(2 * M_PI * 1.2 * f / rate), 1, 0};
    out.push_back({pivot, turn, {pivot + rotate(turn, Vec3d{0.1, -0.1, 0}), pivot + rotate(turn, Vec3d{-0.1, -0.1, 0})}, {turn, Quatd{}}, {}});
  }
  return out;
}

/// Both feet.
std::array<std::vector<double>, 2> standing(std::size_t frames, double firm = 1) { return {std::vector<double>(frames, firm), std::vector<double>(frames, firm)}; }

double worstStep(const std::vector<PelvisPose>& way, const std::vector<Calms>& moves) {
  double most = 0;
  const auto at = [&](std::size_t f) { return way[f].pivot + moves[f].pelvis.by + rotate(expOf(moves[f].pelvis.turn), way[f].hips[0] - way[f].pivot); };
  for (std::size_t f = 1; f < way.size(); ++f) most = std::max(most, distance(at(f - 1), at(f)));
  return most;
}

TEST(Calmed, AWayWithoutStumblesStaysAsItIs) {
  for (const Calms& m : calmed(swaying(0, 0), standing(101), rate, leg)) EXPECT_EQ(m.pelvis, PelvisMove{});
}

TEST(Calmed, TakesAJerkOutOfTheHips) {
  const std::vector<Calms> none(101);
  for (const int until : {51, 101}) {
    const std::vector<PelvisPose> way = swaying(0.1, until);
    const std::vector<Calms> moves = calmed(way, standing(101), rate, leg);
    EXPECT_GT(worstStep(way, none), 0.009);
    EXPECT_LT(worstStep(way, moves), 0.5 * worstStep(way, none));
    for (int f = 0; f < 101; ++f) {
      if (std::abs(f - 50) > 12) {
        EXPECT_EQ(moves[static_cast<std::size_t>(f)].pelvis, PelvisMove{}) << f;
      }
    }
  }
}

// The left thigh jerks with the pelvis, right one and trunk against it: only what is turned is turned back.
TEST(Calmed, TurnsThighsByWhatJerksInThem) {
  const std::vector<Calms> moves = calmed(swaying(0.1, 101), standing(101), rate, leg);
  EXPECT_GT(length(moves[50].pelvis.turn), 0.02);
  EXPECT_LT(length(moves[50].thighs[0] - moves[50].pelvis.turn), 1e-12);
  EXPECT_EQ(moves[50].thighs[1], Vec3d{});
  EXPECT_EQ(moves[50].trunk, Vec3d{});
}

TEST(Calmed, TakesAJerkOutOfTheThighOfALegThatStands) {
  std::vector<PelvisPose> way = swaying(0, 0);
  for (std::size_t f = 50; f < way.size(); ++f)
    for (Quatd& thigh : way[f].thighs) thigh = fromAxisAngle(Vec3d{0, 1, 0}, 0.1);
  auto firm = standing(101);
  std::fill(firm[1].begin(), firm[1].end(), 0.0);
  const std::vector<Calms> moves = calmed(way, firm, rate, leg);
  EXPECT_NEAR(moves[49].thighs[0].y - moves[50].thighs[0].y, 0.08, 0.02);  // of 0.1
  for (const Calms& m : moves) {
    EXPECT_EQ(m.pelvis, PelvisMove{});
    EXPECT_EQ(m.thighs[1], Vec3d{});
  }
}

TEST(Calmed, LeavesAThighThatSwings) {
  std::vector<PelvisPose> way = swaying(0, 0);
  for (std::size_t f = 0; f < way.size(); ++f)
    for (Quatd& thigh : way[f].thighs) thigh = fromAxisAngle(Vec3d{1, 0, 0}, 0.4 / (1 + std::exp(-(static_cast<double>(f) - 50) / 2)));
  for (const Calms& m : calmed(way, standing(101), rate, leg)) EXPECT_EQ(m.thighs[0], Vec3d{});
}

TEST(Calmed, WhereNoFootStandsNothingIsTakenOut) {
  for (const Calms& m : calmed(swaying(0.1, 101), standing(101, 0), rate, leg)) EXPECT_EQ(m.pelvis, PelvisMove{});
}

// A frame depends on no more of those around it than it says.
TEST(Calmed, ReadsNoFurtherThanItSays) {
  const std::vector<PelvisPose> all = swaying(0.1, 51);
  const std::vector<Calms> whole = calmed(all, standing(101), rate, leg);
  const int reach = calmReach(rate);
  ASSERT_LT(reach, 45);
  for (const int f : {46, 50, 55}) {
    const std::vector<PelvisPose> part(all.begin() + (f - reach), all.begin() + (f + reach + 1));
    const Calms here = calmed(part, standing(part.size()), rate, leg)[static_cast<std::size_t>(reach)];
    EXPECT_EQ(here.pelvis, whole[static_cast<std::size_t>(f)].pelvis);
    EXPECT_EQ(here.thighs, whole[static_cast<std::size_t>(f)].thighs);
  }
}

/// Legs of half a metre a bone, whose knees twist by `twist(f)` about the shank.
template <class Twist>
std::vector<LegFrame> twisting(const Twist& twist) {
  std::vector<LegFrame> out(101);
  for (int f = 0; f < 101; ++f) {
    LegFrame& one = out[static_cast<std::size_t>(f)];
    one.hip = {0, 1, 0};
    one.thigh = fromAxisAngle(Vec3d{1, 0, 0}, -0.3);
    one.knee = one.hip + rotate(one.thigh, Vec3d{0, -0.5, 0});
    const Quatd bent = fromAxisAngle(Vec3d{1, 0, 0}, 0.2);
    one.shank = normalised(bent * fromAxisAngle(Vec3d{0, 1, 0}, twist(f)));
    one.foot.at = one.knee + rotate(bent, Vec3d{0, -0.5, 0});
  }
  return out;
}

/// The largest change of a twist's step from frame to frame, radians, after the turns.
double twistJerk(const std::vector<LegFrame>& legs, const std::vector<double>& turns) {
  std::vector<Quatd> knees;
  for (std::size_t f = 0; f < legs.size(); ++f)
    knees.push_back(conjugate(legs[f].thigh) * normalised(fromAxisAngle(normalised(legs[f].foot.at - legs[f].knee), turns[f]) * legs[f].shank));
  double most = 0;
  for (std::size_t f = 1; f + 1 < knees.size(); ++f) most = std::max(most, length(logOf(conjugate(knees[f]) * knees[f + 1]) - logOf(conjugate(knees[f - 1]) * knees[f])));
  return most;
}

TEST(CalmedTwists, TakesAJerkOutOfTheKneeAndLeavesASlowTwistAlone) {
  const std::vector<LegFrame> jerking = twisting([](int f) { return f == 50 ? 0.06 : 0.0; });
  const std::vector<double> turns = calmedTwists(jerking, rate);
  EXPECT_GT(twistJerk(jerking, std::vector<double>(101, 0.0)), 0.1);
  EXPECT_LT(twistJerk(jerking, turns), 0.02);
  EXPECT_NEAR(turns[20], 0, 1e-12);
  for (const double turn : calmedTwists(twisting([](int f) { return 0.2 * std::sin(2 * M_PI * 0.5 * f / rate); }), rate)) EXPECT_NEAR(turn, 0, 0.002);
}

TEST(CalmedTwists, ReadsNoFurtherThanItSays) {
  const auto twist = [](int f) { return f == 50 ? 0.06 : 0.001 * f; };
  const std::vector<LegFrame> all = twisting(twist);
  const int reach = twistReach(rate);
  const std::vector<LegFrame> piece(all.begin() + 50 - reach, all.begin() + 51 + reach);
  EXPECT_EQ(calmedTwists(piece, rate)[static_cast<std::size_t>(reach)], calmedTwists(all, rate)[50]);  // to the last bit
}

/// Legs whose toes are bent up by `bend(f)` radians under a foot that turns.
template <class Bend>
std::vector<LegFrame> toesBent(const Bend& bend) {
  std::vector<LegFrame> out = twisting([](int) { return 0.0; });
  for (int f = 0; f < 101; ++f) {
    FootPose& foot = out[static_cast<std::size_t>(f)].foot;
    foot.foot = fromAxisAngle(Vec3d{0, 1, 0}, 0.03 * f);
    foot.toe = foot.foot * fromAxisAngle(Vec3d{1, 0, 0}, bend(f));
  }
  return out;
}

TEST(CalmedToes, TakesFlutterOutOfThemAndLeavesASlowBendAlone) {
  for (const double fps : {30.0, 120.0}) {
    const auto stepsOf = [](const std::vector<Quatd>& toes) {
      double most = 0;
      for (std::size_t f = 11; f < 90; ++f) most = std::max(most, angleBetween(toes[f - 1], toes[f]));
      return most;
    };
    const std::vector<Quatd> calm = calmedToes(toesBent([](int f) { return f % 2 == 0 ? 0.1 : -0.1; }), fps);
    EXPECT_LT(stepsOf(calm), 0.02) << fps;  // 0.2 before
    const auto slow = [&](int f) { return 0.3 * std::sin(2 * M_PI * f / fps); };
    const std::vector<Quatd> bends = calmedToes(toesBent(slow), fps);
    for (int f = 10; f < 90; ++f) EXPECT_NEAR(angleBetween(bends[static_cast<std::size_t>(f)], fromAxisAngle(Vec3d{1, 0, 0}, slow(f))), 0, 0.02) << fps << " frame " << f;
  }
}

TEST(CalmedToes, ReadsNoFurtherThanItSays) {
  const std::vector<LegFrame> all = toesBent([](int f) { return f == 50 ? 0.1 : 0.001 * f; });
  const int reach = toesReach(rate);
  const std::vector<LegFrame> piece(all.begin() + 50 - reach, all.begin() + 51 + reach);
  EXPECT_EQ(calmedToes(piece, rate)[static_cast<std::size_t>(reach)], calmedToes(all, rate)[50]);  // to the last bit
}

}  // namespace
}  // namespace understudy
