// How legs are led from one stay to the next, and feet rolled, with the least acceleration.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "core/repair/plant_run.h"

namespace understudy {
namespace {

LegTurn turn(double v) { return {{v, -v, 2 * v}, {0.5 * v, 0, v}, {v, v, v}, {0, v, 0}}; }

struct Draw {
  std::mt19937 random;
  explicit Draw(unsigned seed) : random(seed) {}
  double operator()(double size) { return size * (static_cast<double>(random()) / 2147483648.0 - 1); }
  Vec3d vec(double size) { return {(*this)(size), (*this)(size), (*this)(size)}; }
  LegTurn legTurn(double size) { return {vec(size), vec(size), vec(size), vec(size)}; }
};

/// Sum of squares that a way is to make least.
double costOf(const GapEnds& ends, const std::vector<LegTurn>& way, const std::vector<LegTurn>& bends, double pull) {
  std::vector<LegTurn> all{ends[0], ends[1]};
  all.insert(all.end(), way.begin(), way.end());
  all.push_back(ends[2]);
  all.push_back(ends[3]);
  double sum = 0;
  for (std::size_t i = 1; i + 1 < all.size(); ++i) {
    const LegTurn b = LegTurn(bends[i - 1]).add(all[i - 1], 1).add(all[i], -2).add(all[i + 1], 1);
    sum += dot(b, b);
  }
  for (const LegTurn& t : way) sum += pull * dot(t, t);
  return sum;
}

LegFrame straightLeg() {
  LegFrame leg;
  leg.hip = {0.1, 0.9, 0.2};
  leg.knee = {0.12, 0.5, 0.24};
  leg.foot.at = {0.1, 0.1, 0.15};
  leg.thigh = fromAxisAngle(Vec3d{0, 1, 0}, 0.3);
  leg.shank = fromAxisAngle(normalised(Vec3d{1, 2, 0}), 0.7);
  leg.foot.foot = fromAxisAngle(Vec3d{1, 0, 0}, -0.4);
  return leg;
}

// Fourth differences of cubics vanish: without a pull the way of least bending through a cubic's ends is the cubic.
TEST(LeadOver, IsACubicWhereNothingPulls) {
  const auto cubic = [](double t) { return 0.3 - 0.02 * t + 0.004 * t * t - 0.0003 * t * t * t; };
  for (const int count : {1, 2, 3, 9, 30}) {
    const GapEnds ends{turn(cubic(-2)), turn(cubic(-1)), turn(cubic(count)), turn(cubic(count + 1))};
    const std::vector<LegTurn> way = LeadOver(count, 0, {}).way(ends);
    ASSERT_EQ(way.size(), static_cast<std::size_t>(count));
    for (int k = 0; k < count; ++k) EXPECT_NEAR(way[static_cast<std::size_t>(k)].thigh.x, cubic(k), 1e-9) << k << " of " << count;
  }
}

TEST(LeadOver, NoOtherWayIsCheaper) {
  Draw draw(5);
  for (const int count : {1, 2, 5, 20}) {
    const GapEnds ends{draw.legTurn(0.3), draw.legTurn(0.3), draw.legTurn(0.3), draw.legTurn(0.3)};
    std::vector<LegTurn> bends;
    for (int k = 0; k < count + 2; ++k) bends.push_back(draw.legTurn(0.05));
    const LeadOver lead(count, 0.02, bends);
    const std::vector<LegTurn> best = lead.way(ends);
    const double least = costOf(ends, best, bends, 0.02);
    EXPECT_NEAR(lead.cost(ends), least, 1e-12 + 1e-9 * least);
    for (int trial = 0; trial < 40; ++trial) {
      std::vector<LegTurn> other = best;
      for (LegTurn& t : other) t.add(draw.legTurn(0.01), 1);
      EXPECT_GT(costOf(ends, other, bends, 0.02), least);
    }
  }
}

TEST(LeadOver, KnowsHowItsCostGrowsWithTheEnds) {
  Draw draw(6);
  for (const int count : {0, 1, 4, 12}) {
    GapEnds ends{draw.legTurn(0.3), draw.legTurn(0.3), draw.legTurn(0.3), draw.legTurn(0.3)};
    std::vector<LegTurn> bends;
    for (int k = 0; k < count + 2; ++k) bends.push_back(draw.legTurn(0.05));
    const LeadOver lead(count, 0.03, bends);
    const GapEnds slope = lead.slope(ends);
    for (std::size_t i = 0; i < 4; ++i) {
      GapEnds more = ends, less = ends;
      more[i].shank.z += 1e-4;
      less[i].shank.z -= 1e-4;
      EXPECT_NEAR((lead.cost(more) - lead.cost(less)) / 2e-4, 2 * slope[i].shank.z, 1e-7);
      for (std::size_t k = 0; k < 4; ++k) EXPECT_NEAR((lead.slope(more)[k].shank.z - lead.slope(less)[k].shank.z) / 2e-4, lead.growth()[k][i], 1e-7);
    }
  }
}

// Far from its ends a way of least bending is a beam on an elastic bed: from a level end it dies away as e^−u (cos u + sin u).
TEST(LeadOver, PullBringsALongWayHome) {
  const GapEnds ends{turn(0.2), turn(0.2), turn(0), turn(0)};
  const double time = 12;
  const std::vector<LegTurn> way = LeadOver(200, 1 / (time * time * time * time), {}).way(ends);
  for (const int k : {5, 20, 40, 60, 90}) {
    const double u = (k + 1.5) / (time * std::sqrt(2));
    EXPECT_NEAR(way[static_cast<std::size_t>(k)].thigh.x, 0.2 * std::exp(-u) * (std::cos(u) + std::sin(u)), 0.001) << k;
  }
}

/// Frames until a way from ends of 0.2 radians is below a tenth of that, and its greatest haste.
struct Homing {
  int frames = 0;
  double haste = 0;
};
Homing homingOf(double usual, double own) {
  constexpr int count = 60;
  GapEnds ends;
  ends[0].thigh.x = ends[1].thigh.x = 0.2;
  std::vector<LegTurn> had(count + 2);
  had[20].thigh.x = own;
  const std::vector<LegTurn> way = homeward(count, ends, std::vector<LegTurn>(count + 2), had, usual, 8);
  Homing out;
  while (out.frames < count && way[static_cast<std::size_t>(out.frames)].thigh.x > 0.02) ++out.frames;
  double a = 0.2, b = 0.2;
  for (const LegTurn& t : way) {
    out.haste = std::max(out.haste, std::abs(a - 2 * b + t.thigh.x));
    a = b, b = t.thigh.x;
  }
  return out;
}

TEST(Homeward, HurriesNoMoreThanIsUsualAndTakesNoMoreTimeThanThat) {
  const Homing fast = homingOf(1, 0), gentle = homingOf(0, 0), between = homingOf(0.5 * (fast.haste + gentle.haste), 0);
  EXPECT_LT(fast.frames, 21);
  EXPECT_GT(gentle.frames, fast.frames + 6);
  EXPECT_LT(gentle.haste, 0.6 * fast.haste);
  EXPECT_LE(between.haste, 0.5 * (fast.haste + gentle.haste));
  EXPECT_LT(between.frames, gentle.frames);
  // Where the joint is in more haste by itself than any of them would be, time helps nothing.
  EXPECT_EQ(homingOf(0, 0.3).frames, fast.frames);
}

// A knee that leaves the ground as it stretches, and one that lands as it bends: in a flight it is soon as the performer's.
TEST(Homeward, KneesInNoHasteAreHomeInMidFlight) {
  constexpr int count = 52;
  GapEnds ends;
  ends[0].shank.x = 0.1, ends[1].shank.x = 0.13, ends[2].shank.x = -0.1, ends[3].shank.x = -0.15;
  const auto way = [&](double usual) { return homeward(count, ends, std::vector<LegTurn>(count + 2), std::vector<LegTurn>(count + 2), usual, 9.6); };
  const auto middle = [&](double usual) {
    double most = 0;
    for (int k = 18; k < 34; ++k) most = std::max(most, std::abs(way(usual)[static_cast<std::size_t>(k)].shank.x));
    return most;
  };
  EXPECT_LT(middle(0.1), 0.04);
  EXPECT_GT(middle(0.012), 0.07);
}

// At 30 frames a second there is no time to be home sooner.
TEST(Homeward, NoKneeIsHomeWithinTwoFrames) {
  constexpr int count = 20;
  GapEnds ends;
  ends[0].shank.x = ends[1].shank.x = 0.02;
  const std::vector<LegTurn> none(count + 2), way = homeward(count, ends, none, none, 1, 2.4), usual = LeadOver(count, pullOf(2.4), none).way(ends);
  for (std::size_t k = 0; k < count; ++k) EXPECT_EQ(way[k].shank.x, usual[k].shank.x) << k;
}

// One joint's haste is none of another's.
TEST(Homeward, EachJointTakesItsOwnTime) {
  constexpr int count = 60;
  GapEnds ends;
  ends[0].thigh.x = ends[1].thigh.x = ends[0].shank.x = ends[1].shank.x = 0.2;
  std::vector<LegTurn> had(count + 2);
  const std::vector<LegTurn> calm = homeward(count, ends, std::vector<LegTurn>(count + 2), had, 0.01, 8);
  had[2].foot.x = 0.02;
  const std::vector<LegTurn> jerked = homeward(count, ends, std::vector<LegTurn>(count + 2), had, 0.01, 8);
  for (std::size_t k = 0; k < count; ++k) {
    EXPECT_EQ(jerked[k].thigh.x, calm[k].thigh.x) << k;
    EXPECT_EQ(jerked[k].shank.x, calm[k].shank.x) << k;
  }
}

TEST(LoweredInto, AFootThatLeavesTheGroundRisesAllTheSame) {
  for (const double lowering : {0.001, 0.02, 0.1})
    for (double room = 0; room < 0.3; room += 0.002) {
      const double by = loweredInto(room, lowering), next = loweredInto(room + 0.002, lowering);
      EXPECT_LE(by, std::min(room, lowering));
      EXPECT_GE(next, by);
      EXPECT_LE(next - by, 0.5001 * 0.002);
    }
  EXPECT_NEAR(loweredInto(1, 0.02), 0.02, 1e-6);
}

TEST(LegTurn, TakesTheLegWhereItCameFrom) {
  const Vec3d hinge{1, 0, 0};
  const LegFrame own = straightLeg();
  FootPose target{{0.05, 0.2, 0.3}, fromAxisAngle(normalised(Vec3d{1, 1, 0}), 0.5), fromAxisAngle(Vec3d{0, 0, 1}, 0.2)};
  const Vec3d moves{0.02, -0.03, 0.01};
  LegFrame moved = own;
  moved.hip += moves;
  moved.knee += moves;
  moved.foot.at += moves;
  const LegFrame bent = bentTo(moved, hinge, target);
  EXPECT_NEAR(distance(bent.foot.at, target.at), 0, 1e-12);
  EXPECT_NEAR(distance(bent.hip, bent.knee), distance(own.hip, own.knee), 1e-12);
  EXPECT_NEAR(distance(bent.knee, bent.foot.at), distance(own.knee, own.foot.at), 1e-12);
  const LegFrame again = turnedBy(own, hinge, moves, turnOf(own, bent));
  EXPECT_NEAR(distance(again.foot.at, bent.foot.at), 0, 1e-12);
  EXPECT_NEAR(distance(again.knee, bent.knee), 0, 1e-12);
  EXPECT_NEAR(angleBetween(again.foot.foot, bent.foot.foot), 0, 1e-9);
  EXPECT_NEAR(angleBetween(again.foot.toe, bent.foot.toe), 0, 1e-9);
}

TEST(LegTurn, SteadyTurnsDoNotBend) {
  std::array<LegFrame, 3> frames;
  for (int k = 0; k < 3; ++k) {
    LegFrame& f = frames[static_cast<std::size_t>(k)];
    f.above = fromAxisAngle(Vec3d{0, 1, 0}, 0.3 * k);
    f.thigh = f.above * fromAxisAngle(Vec3d{1, 0, 0}, 0.1 * k);
    f.shank = f.thigh * fromAxisAngle(Vec3d{1, 0, 0}, 0.05 * k * k);
    f.foot.foot = f.foot.toe = f.shank;
  }
  const LegTurn bend = bendOf(frames[0], frames[1], frames[2]);
  EXPECT_NEAR(length(bend.thigh), 0, 1e-12);
  EXPECT_NEAR(bend.shank.x, 0.1, 1e-9);
}

}  // namespace
}  // namespace understudy
