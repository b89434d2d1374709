// What a posed solid says to points in and near it.
#include <gtest/gtest.h>

#include <random>

#include "core/body/body_model.h"
#include "core/repair/clearance.h"
#include "core/repair/repair_context.h"
#include "tests/support/puppet.h"
#include "tests/support/sample_scene.h"

namespace understudy {
namespace {

TEST(BodyModel, MissesNoRimWhereTheKeptOutPartOfAnUpperArmBegins) {
  const SampleScene scene = sampleScene();
  ASSERT_TRUE(scene.context);
  const RepairContext& context = *scene.context;
  const std::shared_ptr<const BodyModel> model = bodyModelOf(context);
  for (std::size_t side = 0; side < 2; ++side) {
    const BodyPart upper = side == 0 ? BodyPart::leftUpperArm : BodyPart::rightUpperArm;
    const Vec3d from = model->position[static_cast<std::size_t>(context.arms[side].root)], bone = model->position[static_cast<std::size_t>(context.arms[side].mid)] - from;
    double farthest = 0;
    int asked = 0;
    for (int v = 0; v < model->surface.vertices(); ++v) {
      const Vec3d at = model->surface.positions[static_cast<std::size_t>(v)];
      const double part = dot(at - from, bone) / dot(bone, bone);
      if (model->surface.parts[static_cast<std::size_t>(v)] != upper || part < 0.48 || part > 0.75) continue;
      ++asked;
      double nearest = 1e9;
      for (const ArmPoint& point : model->arms[side].points) nearest = std::min(nearest, distance(point.reference, at));
      farthest = std::max(farthest, nearest);
    }
    EXPECT_GT(asked, 10);
    EXPECT_LT(farthest * 1.7 / context.height, 0.006);
  }
}

TEST(PosedSolid, LeansOutwardsPastAThigh) {
  const auto figure = test::puppet({});
  const std::shared_ptr<const RepairContext> context = test::puppetContext(figure, {60, 1}, 1);
  const std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  const BodySolid* thigh = model->solid(BodyPart::leftThigh);
  ASSERT_NE(thigh, nullptr);
  const std::vector<Affined> still(static_cast<std::size_t>(figure->skeleton.size()));
  const PosedSolid posed(*thigh, still);
  const double wanted = 0.01;
  // Through the thigh from front to back, a little off its middle on the inner side.
  Vec3d last{};
  int inside = 0;
  for (int k = -20; k <= 20; ++k) {
    const Vec3d p = thigh->middle + Vec3d{-0.005, 0, 0.004 * k};
    const PosedSolid::Nearby near = posed.place(p);
    if (posed.quickDistance(p, near) >= wanted) continue;
    ++inside;
    const DistanceSample way = posed.wayOut(p, near, wanted, 5, {1.5, 0, 0});
    EXPECT_GT(way.gradient.x, 0) << k;
    if (inside > 1) {
      EXPECT_LT(angleBetween(last, way.gradient), 0.4) << "turns about at " << k;
    }
    last = way.gradient;
    // As far that way as it says, it is out.
    const Vec3d out = p + way.gradient * (wanted - way.distance);
    EXPECT_GE(posed.distance(out, posed.place(out)), wanted - 0.003) << k;
  }
  EXPECT_GT(inside, 10);
}

/// What is passed over as far from a solid holds no point that one of its bounds lets through.
TEST(PosedSolid, IsClearOfHullsWhoseEveryPointItIsClearOf) {
  const auto figure = test::puppet({});
  const std::shared_ptr<const RepairContext> context = test::puppetContext(figure, {60, 1}, 1);
  const std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  const BodySolid* torso = model->solid(BodyPart::torso);
  ASSERT_NE(torso, nullptr);
  std::mt19937 random(5);
  std::uniform_real_distribution<double> any(-1, 1);
  const auto vec = [&](double size) { return Vec3d{any(random), any(random), any(random)} * size; };
  int clear = 0, open = 0;
  for (int k = 0; k < 3000; ++k) {
    std::vector<Affined> turned(static_cast<std::size_t>(figure->skeleton.size()));
    for (Affined& a : turned) a = {toMatrix(expOf(vec(0.2))), vec(0.03)};
    const PosedSolid posed(*torso, turned);
    const Vec3d around = torso->middle + vec(0.8);
    const std::vector<Vec3d> middles{around + vec(0.15), around + vec(0.15), around + vec(0.15)};
    const double radius = 0.04 * std::abs(any(random)), near = 0.05 * std::abs(any(random));
    if (!posed.clearOfHull(middles, radius, near)) {
      ++open;
      continue;
    }
    ++clear;
    for (int n = 0; n < 60; ++n) {
      double a = std::abs(any(random)), b = std::abs(any(random)), c = std::abs(any(random));
      const double sum = a + b + c;
      const Vec3d p = (middles[0] * a + middles[1] * b + middles[2] * c) / sum + normalised(vec(1), {1, 0, 0}) * radius;
      EXPECT_TRUE(posed.atLeast(p) > near || posed.atLeastOfBox(p) > near) << k;
    }
  }
  EXPECT_GT(clear, 300);
  EXPECT_GT(open, 300);
}

}  // namespace
}  // namespace understudy
