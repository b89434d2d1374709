// Touches of one's own body, found on performers made for it; heights and breadths after Drillis and Contini and ANSUR II.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "core/contact/body_contacts.h"
#include "core/io/read.h"
#include "tests/support/fixtures.h"
#include "tests/support/gestures.h"

namespace understudy {
namespace {

BodyContacts found(const test::Gesture& g, const BodyContactSettings& settings = {}) {
  Result<BodyContacts> r = findBodyContacts(*g.performer, g.map->performer, g.motion, settings);
  EXPECT_TRUE(r.ok()) << (r.ok() ? "" : r.error().text());
  return r.ok() ? std::move(*r) : BodyContacts{};
}

std::string listOf(const BodyContacts& c) {
  std::string text;
  for (const BodyContact& t : c.touches)
    text += (t.hand == 0 ? "left on " : "right on ") + std::string(bodySiteName(t.site)) + " " + std::to_string(t.first) + "-" + std::to_string(t.last) + "; ";
  for (const HandsTogether& t : c.together) text += "together " + std::to_string(t.first) + "-" + std::to_string(t.last) + "; ";
  return text;
}

TEST(BodyContact, EveryClapMeets) {
  for (const double hertz : {24.0, 30.0, 60.0, 120.0}) {
    const test::Gesture g = test::clap(3, hertz);
    const BodyContacts c = found(g);
    // Blows at 0, .5, … 3 s; those at the clip's ends have no before or after.
    int blows = 0;
    for (const BodyContact& t : c.touches) {
      EXPECT_TRUE(t.handToHand()) << listOf(c);
      const double off = std::abs(std::remainder(t.nearest / hertz, 0.5));
      EXPECT_LE(off, 1.01 / hertz) << hertz << " fps, frame " << t.nearest;
      EXPECT_EQ(t.kind, BodyContactKind::meet);
      ++blows;
    }
    EXPECT_GE(blows, 5) << hertz << " fps: " << listOf(c);
    EXPECT_LE(blows, 7);
    EXPECT_TRUE(c.together.empty());
  }
}

TEST(BodyContact, PalmsThatStayTogether) {
  const BodyContacts c = found(test::palmsTogether());
  ASSERT_EQ(c.touches.size(), 1U) << listOf(c);
  EXPECT_TRUE(c.touches[0].handToHand());
  EXPECT_EQ(c.touches[0].first, 0);
  EXPECT_EQ(c.touches[0].last, 90);
  EXPECT_EQ(c.touches[0].kind, BodyContactKind::rest);
}

TEST(BodyContact, HandsOnHips) {
  for (const double hertz : {30.0, 100.0}) {
    const BodyContacts c = found(test::handsOnHips(hertz));
    ASSERT_EQ(c.touches.size(), 2U) << listOf(c);
    for (const BodyContact& t : c.touches) {
      EXPECT_TRUE(t.site == BodySite::belly || t.site == BodySite::leftThigh || t.site == BodySite::rightThigh) << listOf(c);
      EXPECT_NEAR(t.first / hertz, 1.0, 0.25);
      EXPECT_NEAR(t.last / hertz, 3.0, 0.25);
      EXPECT_EQ(t.kind, BodyContactKind::rest);
      const BodyContactFrame& f = t.frames[static_cast<std::size_t>(t.nearest - t.first)];
      // At the side: 90° round from the front, on the hand's own side.
      if (t.site == BodySite::belly) {
        EXPECT_NEAR(f.place.around, t.hand == 0 ? 1.57 : -1.57, 0.6);
      }
    }
    EXPECT_NE(c.touches[0].hand, c.touches[1].hand);
  }
}

TEST(BodyContact, HandToHead) {
  const BodyContacts c = found(test::handToHead());
  ASSERT_EQ(c.touches.size(), 1U) << listOf(c);
  EXPECT_EQ(c.touches[0].site, BodySite::head);
  EXPECT_EQ(c.touches[0].hand, 1);
  EXPECT_NEAR(c.touches[0].first / 30.0, 1.0, 0.2);
  EXPECT_NEAR(c.touches[0].last / 30.0, 2.0, 0.2);
}

TEST(BodyContact, AHandThatStaysNearTouches) {
  // A palm beside the head, its gap at least .015 of the stature: for as long as `stays` seconds, else 100 mm farther off.
  const auto beside = [](double stays) {
    return test::makeGesture(3, 60, [stays](int side, double t) {
      if (side == 0) return test::HandPlace{{0.3, 0.9, 0.1}, {0, -1, 0}, {-1, 0, 0}, {0, 0, -1}};
      const double away = std::clamp((std::abs(t - 1.5) - 0.5 * stays) / 0.12, 0.0, 1.0);
      return test::HandPlace{{-(0.044 * 1.7 + 0.046 + 0.1 * away), 0.935 * 1.7 - 0.05, 0.02}, {0, 1, 0}, {1, 0, 0}, {-1, -0.5, 0}};
    });
  };
  const BodyContactSettings settings;
  const BodyContacts c = found(beside(0.6));
  ASSERT_EQ(c.touches.size(), 1U) << listOf(c);
  const BodyContact& t = c.touches[0];
  const double least = t.frames[static_cast<std::size_t>(t.nearest - t.first)].gap / c.sites.stature;
  EXPECT_GT(least, settings.enter) << "it comes near enough by itself";
  EXPECT_NEAR(t.first / 60.0, 1.2, 0.1);
  EXPECT_NEAR(t.last / 60.0, 1.8, 0.1);
  EXPECT_GE(t.confidence, 0.5);
  // One that comes as near in passing does not.
  EXPECT_TRUE(found(beside(0.06)).touches.empty());
}

TEST(BodyContact, AStrokeGlides) {
  const BodyContacts c = found(test::strokeChest());
  ASSERT_EQ(c.touches.size(), 1U) << listOf(c);
  const BodyContact& t = c.touches[0];
  EXPECT_EQ(t.site, BodySite::chest);
  EXPECT_EQ(t.hand, 0);
  EXPECT_EQ(t.kind, BodyContactKind::glide);
  double low = 1e9, high = -1e9;
  for (const BodyContactFrame& f : t.frames) {
    low = std::min(low, f.place.along);
    high = std::max(high, f.place.along);
  }
  EXPECT_NEAR((high - low) * 0.55 * 0.523, 0.15, 0.04);
}

TEST(BodyContact, AStickIsHeldTogether) {
  for (const double apart : {0.08, 0.2, 0.4}) {
    const BodyContacts c = found(test::stickInHands(apart));
    ASSERT_EQ(c.together.size(), 1U) << apart << ": " << listOf(c);
    EXPECT_LE(c.together[0].first, 2);
    EXPECT_GE(c.together[0].last, 238);
    EXPECT_NEAR(c.together[0].distance, apart, 0.05);
    EXPECT_GT(c.together[0].confidence, 0.6);
    for (const BodyContact& t : c.touches) EXPECT_FALSE(t.handToHand());
  }
}

TEST(BodyContact, ArmsThatSwingAlikeHoldNothing) {
  const BodyContacts c = found(test::armsSwingAlike());
  EXPECT_TRUE(c.together.empty()) << listOf(c);
  BodyContactSettings loose;
  loose.twistSideBySide = loose.twist;
  EXPECT_FALSE(found(test::armsSwingAlike(), loose).together.empty()) << "nothing is left to tell apart here";
}

TEST(BodyContact, ABarLiftedLevelIsHeld) {
  const BodyContacts c = found(test::makeGesture(4, 60, [](int side, double t) {
    const double s = side == 0 ? 1 : -1;
    return test::HandPlace{{0.2 * s, 1.1 + 0.2 * std::sin(2 * t), 0.35 + 0.05 * std::sin(3 * t)}, {0, 0.2, 1}, {0, -1, 0}, {s, -1, 0}};
  }));
  EXPECT_EQ(c.together.size(), 1U) << listOf(c);
}

TEST(BodyContact, NothingWhereThereIsNothing) {
  const BodyContacts waving = found(test::waving());
  EXPECT_TRUE(waving.together.empty()) << listOf(waving);
  EXPECT_TRUE(waving.touches.empty()) << listOf(waving);
  // Arms that swing past the thighs in walking.
  const TemporaryFolder folder;
  writeFile(folder.file("walk.bvh"), makeWalkBvh());
  const Result<Figure> figure = readFigure(folder.file("walk.bvh"));
  ASSERT_TRUE(figure.ok());
  const Result<Motion> clip = sample(figure->clips[0], figure->skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<BodyContacts> walk = findBodyContacts(*figure, mapRoles(*figure), *clip);
  ASSERT_TRUE(walk.ok());
  EXPECT_TRUE(walk->touches.empty()) << listOf(*walk);
  EXPECT_TRUE(walk->together.empty());
}

TEST(BodyContact, AnArmThatSwingsByItsThighDoesNotTouchButOneThatStaysDoes) {
  // Hanging arms, so near to the thighs that thicknesses guessed from proportions let them go in.
  const auto near = [](int side, double ahead) {
    const double s = side == 0 ? 1 : -1;
    return test::HandPlace{{0.14 * s, 0.86, ahead}, {0, -1, 0}, {-s, 0, 0}, {0, 0, -1}};
  };
  const BodyContacts swinging = found(test::makeGesture(4, 60, [&](int side, double t) { return near(side, (side == 0 ? 0.2 : -0.2) * std::sin(5 * t)); }));
  EXPECT_TRUE(swinging.touches.empty()) << listOf(swinging);
  const BodyContacts staying = found(test::makeGesture(4, 60, [&](int side, double t) {
    return near(side, 0.2 * std::clamp(std::abs(t - 2) - 0.8, 0.0, 1.0));
  }));
  EXPECT_EQ(staying.touches.size(), 2U) << listOf(staying);
}

TEST(BodyContact, SizeDoesNotMatter) {
  // The same body in another unit, twice as large.
  test::Gesture g = test::handsOnHips();
  Figure twice = *g.performer;
  twice.space.metresPerUnit *= 2;
  const BodyContacts a = found(g);
  const Result<BodyContacts> b = findBodyContacts(twice, g.map->performer, g.motion);
  ASSERT_TRUE(b.ok());
  ASSERT_EQ(a.touches.size(), b->touches.size());
  for (std::size_t i = 0; i < a.touches.size(); ++i) {
    EXPECT_EQ(a.touches[i].first, b->touches[i].first);
    EXPECT_EQ(a.touches[i].last, b->touches[i].last);
  }
}

TEST(BodyContact, BadInputIsToldApart) {
  test::Gesture g = test::handsOnHips();
  Motion broken = g.motion;
  broken.rotations[5 * static_cast<std::size_t>(broken.joints) + 6].x = std::numeric_limits<float>::quiet_NaN();
  const auto nan = findBodyContacts(*g.performer, g.map->performer, broken);
  ASSERT_FALSE(nan.ok());
  EXPECT_NE(nan.error().text().find("frame 6"), std::string::npos) << nan.error().text();
  Motion other = g.motion;
  other.joints = 3;
  EXPECT_FALSE(findBodyContacts(*g.performer, g.map->performer, other).ok());
  SkeletonMap handless = g.map->performer;
  for (const Role role : {Role::leftHand, Role::rightHand, Role::leftLowerArm, Role::rightLowerArm}) handless.at(role) = {};
  const auto none = findBodyContacts(*g.performer, handless, g.motion);
  ASSERT_TRUE(none.ok());
  EXPECT_TRUE(none->touches.empty());
  EXPECT_FALSE(none->issues.empty());
}

}  // namespace
}  // namespace understudy
