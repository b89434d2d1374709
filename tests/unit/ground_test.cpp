// Trunks and legs above the ground, judged on the skin itself.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "core/inspect/body_sinks.h"
#include "core/math/smooth_step.h"
#include "core/repair/plant.h"
#include "tests/support/layer_checks.h"
#include "tests/support/posed_skin.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

constexpr int length = 240, sitsFrom = 90, sitsTo = 150;

/// Raises its legs ahead, comes down to sit on the ground, hips at `height` metres from frame 90 to 150, and goes the same way back.
test::Stand sitting(double height) {
  test::Stand s;
  auto figure = test::puppet({0.16, 1, false, false});
  s.context = test::puppetContext(figure, {60, 1}, length);
  auto motion = std::make_shared<Motion>(restMotion(figure->skeleton, length, {60, 1}, {0}));
  const int hips = s.context->joint(Role::hips);
  const double stands = s.context->body.position[static_cast<std::size_t>(hips)].y;
  for (int f = 0; f < length; ++f) {
    const double low = smoothStep(std::min({1.0, (f - 50) / 40.0, (190 - f) / 40.0}));
    motion->translationsAt(f)[0].y += static_cast<float>((height - stands) * low);
    const double legs = smoothStep(std::min({1.0, (f - 20) / 30.0, (220 - f) / 30.0}));
    for (const LimbRig& leg : s.context->legs) {
      motion->rotationsAt(f)[static_cast<std::size_t>(leg.root)] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, -1.9 * legs));
      motion->rotationsAt(f)[static_cast<std::size_t>(leg.mid)] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, 0.4 * legs));
    }
  }
  s.motion = TiledMotion(motion);
  return s;
}

double deepest(const test::Stand& s, const TiledMotion& motion, int first = 0, int last = length - 1) {
  double low = 1e300;
  for (int f = first; f <= last; f += 2) {
    const test::PosedSkin skin(*s.context, motion, f);
    for (int v = 0; v < skin.surface().vertices(); ++v) {
      const BodyPart part = skin.surface().parts[static_cast<std::size_t>(v)];
      if (part == BodyPart::torso || part == BodyPart::leftThigh || part == BodyPart::rightThigh) low = std::min(low, skin.at(v).y);
    }
  }
  return -low;
}

Repair groundAll(double margin = 0) {
  Repair repair;
  repair.action = GroundRepair{{}, margin};
  repair.span = TimeRange{sitsFrom / 60.0, sitsTo / 60.0};
  repair.easeBefore = repair.easeAfter = 0.6;
  return repair;
}

TEST(BodySink, IsFoundAndBroughtOutByHigherHips) {
  const test::Stand s = sitting(0.02);
  const double deep = deepest(s, s.motion);
  ASSERT_GT(deep, 0.03);
  const Findings found = bodySinks(*s.context, s.motion, {});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].kind, FindingKind::sink);
  EXPECT_NEAR(found[0].measure, 1000 * deep, 3);
  EXPECT_TRUE(found[0].span.holds(120));
  ASSERT_EQ(found[0].proposal.size(), 1U);
  Issues issues;
  const RepairLayerPtr layer = makePlantLayer(s.context, {&found[0].proposal[0]}, issues);
  ASSERT_TRUE(layer);
  const test::LayerRun run = test::runLayer(*layer, s.motion);
  EXPECT_TRUE(issues.empty());
  EXPECT_TRUE(bodySinks(*s.context, run.motion, {}).empty());
  const double left = deepest(s, run.motion, found[0].span.first, found[0].span.last);
  EXPECT_LT(left, 0.004);
  EXPECT_GT(deepest(s, run.motion, 110, 130), -0.005) << "no more than it takes";
  // Hips go over gently: no frame moves them by more than a fifth of the whole.
  const int hips = s.context->joint(Role::hips);
  double most = 0;
  for (int f = 1; f < length; ++f) {
    const auto rise = [&](int at) {
      Poser a(*s.context), b(*s.context);
      a.load(run.motion, at);
      b.load(s.motion, at);
      return a.position(hips).y - b.position(hips).y;
    };
    most = std::max(most, std::abs(rise(f) - rise(f - 1)));
  }
  EXPECT_LT(most, 0.2 * deep);
  EXPECT_GT(most, 0);
}

TEST(BodySink, NoneIsFoundAboveTheGround) {
  const test::Stand s = sitting(0.3);
  const Findings found = bodySinks(*s.context, s.motion, {});
  EXPECT_TRUE(found.empty()) << found.front().sentence << found.front().worst;
}

TEST(BodySink, WhoStandsLowerIsNotInTheGround) {
  const test::Stand s = sitting(0.02);
  Repair plant;
  plant.span = TimeRange{1.0, 3.0};
  PlantRepair down;
  down.ground = -0.5;
  plant.action = down;
  EXPECT_TRUE(bodySinks(*s.context, s.motion, {&plant}).empty());
  plant.muted = true;
  EXPECT_FALSE(bodySinks(*s.context, s.motion, {&plant}).empty());
}

TEST(BodySink, NothingIsProposedForAShankWhoseFootStands) {
  test::Stand s;
  auto figure = test::puppet({0.16, 1, false, false});
  s.context = test::puppetContext(figure, {60, 1}, length);
  auto motion = std::make_shared<Motion>(restMotion(figure->skeleton, length, {60, 1}, {0}));
  for (int f = 0; f < length; ++f) motion->translationsAt(f)[0].y -= 0.2F;
  s.motion = TiledMotion(motion);
  std::array<Repair, 2> plants;
  for (std::size_t k = 0; k < 2; ++k) {
    PlantRepair stands;
    stands.part = k == 0 ? PlantPart::leftFoot : PlantPart::rightFoot;
    plants[k].action = stands;
  }
  const Findings held = bodySinks(*s.context, s.motion, {&plants[0], &plants[1]});
  ASSERT_EQ(held.size(), 1U);
  EXPECT_TRUE(held[0].proposal.empty());
  EXPECT_NE(held[0].cause, "");
  const Findings free = bodySinks(*s.context, s.motion, {&plants[0]});
  ASSERT_EQ(free.size(), 1U);
  EXPECT_EQ(free[0].proposal.size(), 1U);
}

TEST(Ground, FeetStayWhereTheyStand) {
  const test::Stand s = sitting(0.02);
  const Repair ground = groundAll();
  Repair plant;
  plant.span = TimeRange{1.4, 2.6};
  PlantRepair stands;
  stands.part = PlantPart::leftFoot;
  plant.action = stands;
  plant = anchoredPlant(plant, *s.context, s.motion);
  Issues issues;
  const RepairLayerPtr layer = makePlantLayer(s.context, {&ground, &plant}, issues);
  ASSERT_TRUE(layer);
  const TiledMotion after = test::runLayer(*layer, s.motion).motion, planted = test::runLayer(*makePlantLayer(s.context, {&plant}, issues), s.motion).motion;
  Poser was(*s.context), is(*s.context);
  const int foot = s.context->legs[0].end, hips = s.context->joint(Role::hips);
  double rises = 0;
  for (int f = 84; f <= 156; ++f) {
    was.load(planted, f);
    is.load(after, f);
    rises = std::max(rises, is.position(hips).y - was.position(hips).y);
    EXPECT_LT(distance(was.position(foot), is.position(foot)), 1e-4) << f;
    EXPECT_LT(angleBetween(was.rotation(foot), is.rotation(foot)), 1e-3) << f;
  }
  EXPECT_GT(rises, 0.01);
}

TEST(Ground, KeepsItsMarginAndItsParts) {
  const test::Stand s = sitting(0.02);
  const Repair ground = groundAll(0.03);
  Issues issues;
  const TiledMotion after = test::runLayer(*makePlantLayer(s.context, {&ground}, issues), s.motion).motion;
  // The gentlest way over a flat stretch arches above it.
  const double kept = -deepest(s, after, sitsFrom, sitsTo);
  EXPECT_GT(kept, 0.026);
  EXPECT_LT(kept, 0.07);
  // A standing body whose shanks alone are asked for is left as it is.
  const test::Stand high = sitting(0.3);
  Repair shanks = groundAll();
  std::get<GroundRepair>(shanks.action).bodies = {"shanks"};
  EXPECT_EQ(test::firstDifference(high.motion, test::runLayer(*makePlantLayer(high.context, {&shanks}, issues), high.motion).motion), -1);
}

TEST(Ground, KeepsWhatEveryLayerPromises) {
  const test::Stand s = sitting(0.02);
  const Repair ground = groundAll();
  std::vector<Repair> plants(2);
  for (std::size_t k = 0; k < 2; ++k) {
    PlantRepair stands;
    stands.part = k == 0 ? PlantPart::leftFoot : PlantPart::rightFoot;
    plants[k].action = stands;
    plants[k].span = k == 0 ? TimeRange{1.5, 2.2} : TimeRange{0.1, 0.5};
    plants[k] = anchoredPlant(plants[k], *s.context, s.motion);
  }
  Issues issues;
  const RepairLayerPtr layer = makePlantLayer(s.context, {&ground, &plants[0], &plants[1]}, issues), alone = makePlantLayer(s.context, {&ground}, issues);
  ASSERT_TRUE(layer && alone);
  const auto mayChange = [&](int joint) {
    if (joint == s.context->joint(Role::hips)) return true;
    return std::any_of(s.context->legs.begin(), s.context->legs.end(), [&](const LimbRig& leg) { return joint == leg.root || joint == leg.mid || joint == leg.end; });
  };
  EXPECT_EQ(test::brokenPromises(*alone, s.motion, 5, 0, mayChange), "");
  EXPECT_EQ(test::brokenPromises(*layer, s.motion, 6), "");
}

}  // namespace
}  // namespace understudy
