// Where standing feet would have the pelvis, and how near a smooth cover stays to what it covers.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/repair/plant_pelvis.h"
#include "core/repair/plant_strip.h"

namespace understudy {
namespace {

constexpr Vec3d hinge{-1, 0, 0};

/// A leg of 0.4 and 0.4 m whose hip is `across` to the side, its knee bent by `bend`, radians.
LegFrame legAt(double across, double bend) {
  LegFrame leg;
  leg.hip = {across, 0.8, 0};
  leg.knee = leg.hip + Vec3d{0, -0.4 * std::cos(bend / 2), 0.4 * std::sin(bend / 2)};
  leg.foot.at = leg.knee + Vec3d{0, -0.4 * std::cos(bend / 2), -0.4 * std::sin(bend / 2)};
  return leg;
}

TEST(Pelvis, GoesWithTheFeet) {
  const LegFrame left = legAt(0.12, 0.6), right = legAt(-0.12, 0.5);
  const Vec3d by{0.01, 0.02, -0.03};
  PelvisSettings free;
  free.restShift = 0;
  const std::vector<PelvisLeg> legs{{left, hinge, left.foot.at + by, 0.995, 0, 1}, {right, hinge, right.foot.at + by, 0.995, 0, 1}};
  const PelvisMove move = bestPelvis(legs, {0, 0.9, 0}, free);
  EXPECT_LT(distance(move.by, by), 2e-3);
  EXPECT_LT(length(move.turn), 5e-3);
}

// One foot up and the other down by as much ask for a turn about the line of sight by that over the hips' distance.
TEST(Pelvis, TurnsWhereFeetAskForIt) {
  const LegFrame left = legAt(0.2, 0.6), right = legAt(-0.2, 0.6);
  const Vec3d up{0, 0.03, 0};
  PelvisSettings free;
  free.restTurn = 1e-3;
  const std::vector<PelvisLeg> legs{{left, hinge, left.foot.at + up, 0.995, 0, 1}, {right, hinge, right.foot.at - up, 0.995, 0, 1}};
  const PelvisMove move = bestPelvis(legs, {0, 0.8, 0}, free);
  EXPECT_NEAR(move.turn.z, std::asin(0.03 / 0.2), 0.01);
  EXPECT_NEAR(move.by.y, 0, 2e-3);
  for (const PelvisLeg& leg : legs) {
    const Vec3d hip = leg.own.hip + movedBy(move, {0, 0.8, 0}, leg.own.hip);
    EXPECT_NEAR(distance(hip, leg.foot), distance(leg.own.hip, leg.own.foot.at), 2e-3);
  }
  // Without turning the feet cannot both be had.
  const PelvisMove shift = bestShift(legs, {0, 0.8, 0}, free, {});
  EXPECT_EQ(shift.turn, Vec3d{});
}

TEST(Pelvis, StaysWhereFeetAskForNothingAndSinksToReach) {
  const LegFrame left = legAt(0.12, 0.6), right = legAt(-0.12, 0.6);
  const std::vector<PelvisLeg> none{{left, hinge, left.foot.at, 0.995, 0, 1}, {right, hinge, right.foot.at, 0.995, 0, 1}};
  const PelvisMove still = bestPelvis(none, {0, 0.9, 0}, {});
  EXPECT_LT(length(still.by) + length(still.turn), 1e-6);
  EXPECT_EQ(bestPelvis({}, {0, 0.9, 0}, {}), PelvisMove{});
  const Vec3d apart{0.35, 0, 0};
  const std::vector<PelvisLeg> wide{{left, hinge, left.foot.at + apart, 0.995, 0, 1}, {right, hinge, right.foot.at - apart, 0.995, 0, 1}};
  const PelvisMove sunk = bestPelvis(wide, {0, 0.9, 0}, {});
  for (const PelvisLeg& leg : wide) {
    EXPECT_GT(distance(leg.own.hip, leg.foot), 0.995 * 0.8);
    EXPECT_LT(distance(leg.own.hip + movedBy(sunk, {0, 0.9, 0}, leg.own.hip), leg.foot), 0.998 * 0.8);
  }
}

// A knee that is bent backwards keeps so where that is asked for, and goes through straight where it is not.
TEST(BentTo, KeepsAKneeBackwardsWhereAsked) {
  const LegFrame back = legAt(0.1, -0.3);
  ASSERT_GT(straightness(back, hinge), 1);
  const LegFrame kept = bentTo(back, hinge, back.foot, true), turned = bentTo(back, hinge, back.foot);
  EXPECT_LT(distance(kept.knee, back.knee), 1e-4);
  EXPECT_GT(straightness(kept, hinge), 1);
  EXPECT_LT(straightness(turned, hinge), 1);
  for (const LegFrame& leg : {kept, turned}) EXPECT_LT(distance(leg.foot.at, back.foot.at), 1e-6);
}

// A knee bent sideways keeps that when its bend about its own axis changes, and little changes where it comes to lie a hair behind.
TEST(BentTo, BendsAKneeAboutItsOwnAxisAndLeavesWhatIsSideways) {
  const auto sideways = [](double bend) {
    LegFrame leg = legAt(0.1, bend);
    const Quatd aside = fromAxisAngle(Vec3d{0, 0, 1}, 0.25);
    leg.foot.at = leg.knee + rotate(aside, leg.foot.at - leg.knee);
    return leg;
  };
  for (const double bend : {0.3, 0.03, -0.03}) {
    const LegFrame leg = sideways(bend);
    EXPECT_NEAR(kneeBend(leg, hinge), bend, 0.08);  // the axis leans a little
    EXPECT_LT(distance(withKneeBend(leg, hinge, kneeBend(leg, hinge)).knee, leg.knee), 1e-5);
    const LegFrame more = withKneeBend(leg, hinge, 0.4);
    EXPECT_NEAR(kneeBend(more, hinge), 0.4, 0.08);
    EXPECT_LT(distance(normalised(more.foot.at - more.hip), normalised(leg.foot.at - leg.hip)), 1e-9);
  }
  EXPECT_LT(distance(withKneeBend(sideways(0.01), hinge, 0.2).knee, withKneeBend(sideways(-0.01), hinge, 0.2).knee), 4e-3);
}

// A foot that lets go rises until its leg reaches it; where that would be a long way it comes nearer too, and never at once.
TEST(BroughtWithin, RaisesAFootAndPullsOneWhoseLegIsAlmostLevel) {
  const Vec3d hip{0, 0.8, 0}, steep{0.2, 0, 0.1};
  const Vec3d up = broughtWithin(hip, steep, 0.78, true), in = broughtWithin(hip, steep, 0.78, false);
  EXPECT_NEAR(distance(hip, up), 0.78, 1e-9);
  EXPECT_EQ((Vec3d{up.x, 0, up.z}), steep);
  EXPECT_LT(length(cross(in - hip, steep - hip)), 1e-9);
  EXPECT_EQ(broughtWithin(hip, steep, 0.9, true), steep);
  // From a leg whose foot may be raised to one that is level and longer than it reaches.
  Vec3d last;
  for (int k = 0; k <= 200; ++k) {
    const Vec3d low{0, 0.3, 0}, at = broughtWithin(low, {0.5 + 0.0005 * k, 0, 0}, 0.55, true);
    EXPECT_LT(distance(low, at), 0.55 + 1e-9);
    EXPECT_LT(at.y, 0.26);
    EXPECT_LT(k > 0 ? distance(at, last) : 0.0, 3e-3) << k;
    last = at;
  }
}

// Legs fold until thigh and shank lie on each other, no further; one that was folded as far may stay so.
TEST(MayFold, IsNearerForLegsThatWereFolded) {
  const double usual = mayFold(legAt(0, 0.5)), folded = mayFold(legAt(0, 3.0));
  EXPECT_GT(usual, folded);
  EXPECT_GE(folded, 0.01);
  EXPECT_LE(usual, 0.11);
}

TEST(CloselyCovering, IsNowhereBelowAndNearerThanTheEnvelope) {
  for (const int reach : {1, 2, 5, 18}) {
    Strip need(FrameSpan{0, 199});
    for (int f = 60; f < 90; ++f) need[f] = 0.01 * std::sin((f - 60) * 3.14159265 / 30);
    need[120] = 0.004;
    const FrameSpan all{0, 199};
    const Strip close = closelyCovering(need, all, reach), wide = covering(need, all, bump(reach));
    double closeSum = 0, wideSum = 0;
    for (int f = 0; f < 200; ++f) {
      EXPECT_GE(close.at(f), need.at(f) - 1e-12) << f << " reach " << reach;
      closeSum += close.at(f);
      wideSum += wide.at(f);
    }
    if (reach > 4) {
      EXPECT_LT(closeSum, 0.8 * wideSum) << reach;
    }
    // What is further off than twice the reach does not tell.
    EXPECT_EQ(close.at(60 - 2 * reach - 1), 0) << reach;
    const Strip part = closelyCovering(need, {70, 75}, reach);
    for (int f = 70; f <= 75; ++f) EXPECT_EQ(part.at(f), close.at(f)) << f;
  }
}

}  // namespace
}  // namespace understudy
