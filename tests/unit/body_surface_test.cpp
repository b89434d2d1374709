// Cutting a skin into parts, distances to them, and how near quick answers are to exact ones.
#include <gtest/gtest.h>

#include <numbers>
#include <random>

#include "core/body/body_model.h"
#include "core/body/body_solids.h"
#include "core/math/distance.h"
#include "core/retarget/posed_body.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

/// A ball of triangles about the origin.
void ball(double radius, int rings, std::vector<Vec3d>& positions, std::vector<std::uint32_t>& indices, const Vec3d& at = {}) {
  const int sides = 2 * rings;
  const auto base = static_cast<std::uint32_t>(positions.size());
  for (int r = 0; r <= rings; ++r)
    for (int s = 0; s < sides; ++s) {
      const double a = std::numbers::pi * r / rings, b = 2 * std::numbers::pi * s / sides;
      positions.push_back(at + Vec3d{std::sin(a) * std::sin(b), std::cos(a), std::sin(a) * std::cos(b)} * radius);
    }
  for (int r = 0; r < rings; ++r)
    for (int s = 0; s < sides; ++s) {
      const auto v = [&](int i, int j) { return base + static_cast<std::uint32_t>(i * sides + j % sides); };
      indices.insert(indices.end(), {v(r, s), v(r + 1, s), v(r, s + 1), v(r, s + 1), v(r + 1, s), v(r + 1, s + 1)});
    }
}

Vec3d somewhere(std::mt19937& random, double size) {
  std::uniform_real_distribution<double> u(-size, size);
  return {u(random), u(random), u(random)};
}

TEST(TriangleTree, NearestPointIsTheNearestOfAllTriangles) {
  std::vector<Vec3d> p;
  std::vector<std::uint32_t> t;
  ball(1, 12, p, t);
  const TriangleTree tree(p, t);
  std::mt19937 random(7);
  for (int i = 0; i < 200; ++i) {
    const Vec3d q = somewhere(random, 2);
    double least = 1e9;
    for (std::size_t k = 0; k < t.size(); k += 3) least = std::min(least, distance(q, closestOnTriangle(q, p[t[k]], p[t[k + 1]], p[t[k + 2]])));
    EXPECT_NEAR(tree.nearest(q).distance, least, 1e-12);
    EXPECT_EQ(tree.nearest(q, 0.5 * least).triangle, -1);
  }
}

TEST(TriangleTree, ClosestPointOnATriangleIsNotBeatenByAnyOther) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> u(0, 1);
  for (int i = 0; i < 300; ++i) {
    const Vec3d a = somewhere(random, 1), b = somewhere(random, 1), c = i % 7 == 0 ? lerp(a, b, 0.5) : somewhere(random, 1), q = somewhere(random, 2);
    const Vec3d best = closestOnTriangle(q, a, b, c);
    for (int k = 0; k < 50; ++k) {
      double x = u(random), y = u(random);
      if (x + y > 1) x = 1 - x, y = 1 - y;
      EXPECT_LE(distance(q, best), distance(q, a + (b - a) * x + (c - a) * y) + 1e-12);
    }
  }
}

TEST(TriangleTree, WindingNumberAgreesWithTheSumOverAllTriangles) {
  std::vector<Vec3d> p;
  std::vector<std::uint32_t> t;
  ball(1, 16, p, t);
  t.resize(t.size() * 3 / 4);  // a hole
  const TriangleTree tree(p, t);
  std::vector<Vec3f> single;
  for (const Vec3d& v : p) single.push_back(Vec3f(v));
  std::mt19937 random(5);
  for (int i = 0; i < 200; ++i) {
    const Vec3d q = somewhere(random, 2);
    EXPECT_NEAR(tree.winding(q), windingNumber(q, single, t), 0.01);
  }
}

TEST(DistanceGrid, MeasuresABallFromInsideAndOutside) {
  std::vector<Vec3d> p;
  std::vector<std::uint32_t> t;
  ball(0.3, 24, p, t);
  const DistanceGrid grid(TriangleTree(p, t), 0.01, 0.05, 0.03);
  std::mt19937 random(11);
  for (int i = 0; i < 2000; ++i) {
    const Vec3d q = somewhere(random, 0.33);
    const double exact = length(q) - 0.3;
    if (std::abs(exact) > 0.03) continue;
    const DistanceSample s = grid.sample(q);
    EXPECT_NEAR(s.distance, exact, 0.003);
    EXPECT_GT(dot(normalised(s.gradient), normalised(q)), 0.98);
  }
  EXPECT_NEAR(grid.at({0, 1, 0}), 0.7, 0.01);
  EXPECT_LT(grid.at({0, 0, 0}), -0.25);
}

TEST(DistanceGrid, SurfacesInsideAnotherPieceDoNotCount) {
  std::vector<Vec3d> p;
  std::vector<std::uint32_t> t;
  ball(0.3, 16, p, t);
  ball(0.1, 8, p, t);  // within the first
  const DistanceGrid grid(TriangleTree(p, t), 0.015, 0.03, 0.3);
  EXPECT_NEAR(grid.at({0.1, 0, 0}), -0.2, 0.01);
  EXPECT_NEAR(grid.at({0.02, 0.02, 0.02}), -0.262, 0.02);
}

TEST(DistanceGrid, GuideLeadsOutWithoutRidges) {
  std::vector<Vec3d> p;
  std::vector<std::uint32_t> t;
  ball(0.3, 30, p, t);
  const DistanceGrid grid(TriangleTree(p, t), 0.01, 0.05, 0.03);
  const DistanceGrid guide = grid.guide({0, 0, -0.1}, {0, 1, 0}, 4);
  // Left of the middle, seen from the axis at the back, it leads forwards and to the side, not back.
  const DistanceSample s = guide.sample({0.02, 0, 0});
  EXPECT_GT(s.gradient.z, 0.8);
  EXPECT_NEAR(guide.at({0.35, 0, 0}), grid.at({0.35, 0, 0}), 1e-9);
  for (double x = -0.29; x < 0.3; x += 0.01) EXPECT_LE(guide.at({x, 0.03, 0.05}), grid.at({x, 0.03, 0.05}) + 1e-6);
}

struct Ready {
  std::shared_ptr<Figure> figure;
  SkeletonMap map;
  PosedBody body;
  std::shared_ptr<const BodyModel> model;
};

Ready ready(const test::PuppetOptions& options) {
  Ready r;
  r.figure = test::puppet(options);
  r.map = test::puppetMap(*r.figure);
  Result<PosedBody> body = posedBody(*r.figure, r.map, nullptr, {});
  EXPECT_TRUE(body.ok());
  r.body = std::move(*body);
  r.model = bodyModel(bodySurface(*r.figure, r.map, r.body.pose.fileWorld, worldFromFile(*r.figure, r.body.pose)), {r.body.rotation, r.body.position}, r.map,
                      r.figure->skeleton, r.body.pose.height);
  return r;
}

class BodyModelOf : public testing::TestWithParam<test::PuppetOptions> {};

TEST_P(BodyModelOf, HasTorsoHeadThighsAndArmPoints) {
  const Ready r = ready(GetParam());
  for (const BodyPart part : {BodyPart::torso, BodyPart::head, BodyPart::leftThigh, BodyPart::rightThigh}) EXPECT_NE(r.model->solid(part), nullptr);
  EXPECT_GT(r.model->arms[0].points.size(), 60u);
  EXPECT_EQ(r.model->arms[0].points.size(), r.model->arms[1].points.size());
  const double k = GetParam().scale;
  EXPECT_LT(r.model->gridError, 0.004 * k);
  const BodySolid& torso = *r.model->solid(BodyPart::torso);
  EXPECT_LT(torso.grid.at(Vec3d{0, 1.1, 0} * k), -0.9 * 0.19 * k);
  EXPECT_NEAR(torso.grid.at(Vec3d{0.3, 1.135, 0} * k), (0.3 - GetParam().belly) * k, 0.02 * k);
}

TEST_P(BodyModelOf, BentTorsoIsMeasuredAsTheExactTestDoes) {
  const Ready r = ready(GetParam());
  const auto walk = test::puppetWalk(*r.figure, 30, {30, 1}, 0.3, 0.5, 0.5);
  const PartMesh mesh = partMesh(r.model->surface, BodyPart::torso);
  std::mt19937 random(2);
  std::vector<double> off;
  for (const int frame : {0, 8, 20}) {
    std::vector<Quatd> local(walk->rotationsAt(frame).begin(), walk->rotationsAt(frame).end()), rotation(local.size());
    std::vector<Vec3d> position(local.size());
    worldOf(r.body.rig, local, {}, rotation, position);
    const std::vector<Affined> turned = turnedFrames(r.model->reference(), {rotation, position});
    std::vector<Vec3d> own(mesh.vertices.size());
    pointsOf(r.model->surface, turned, mesh.vertices, own);
    const TriangleTree exact(mesh.withRims(own), mesh.indices);
    const PosedSolid posed(*r.model->solid(BodyPart::torso), turned);
    for (int i = 0; i < 1500; ++i) {
      const Vec3d q = (Vec3d{0, 1.15, 0} + somewhere(random, 0.4)) * GetParam().scale;
      const double d = exact.nearest(q).distance * (exact.inside(q) ? -1 : 1);
      if (std::abs(d) < 0.03 * GetParam().scale) off.push_back(std::abs(posed.sample(q).distance - d) / GetParam().scale);
    }
  }
  ASSERT_GT(off.size(), 200u);
  std::sort(off.begin(), off.end());
  EXPECT_LT(off[off.size() * 95 / 100], 0.006);
}

INSTANTIATE_TEST_SUITE_P(Puppets, BodyModelOf,
                         testing::Values(test::PuppetOptions{}, test::PuppetOptions{0.3, 1.4, false, false}, test::PuppetOptions{0.2, 1, true, false},
                                         test::PuppetOptions{0.25, 1, false, true}, test::PuppetOptions{0.25, 0.6, true, true}));

TEST(BodyModel, IsBuiltOnceForTheSameContent) {
  const Ready a = ready({}), b = ready({}), c = ready({0.21, 1, false, false});
  EXPECT_EQ(a.model, b.model);
  EXPECT_NE(a.model, c.model);
}

TEST(PartMesh, FillsHolesTurnsOutwardsAndLeavesSheetsOut) {
  BodySurface s;
  s.jointParts = {BodyPart::torso};
  ball(0.3, 12, s.positions, s.indices);
  s.indices.resize(s.indices.size() / 2);                                                   // half a ball,
  for (std::size_t i = 0; i < s.indices.size(); i += 3) std::swap(s.indices[i], s.indices[i + 1]);  // inside out,
  const std::uint32_t first = static_cast<std::uint32_t>(s.positions.size());               // and a sheet beside it
  for (const Vec3d& p : {Vec3d{1, 0, 0}, Vec3d{2, 0, 0}, Vec3d{2, 1, 0}, Vec3d{1, 1, 0}}) s.positions.push_back(p);
  for (const std::uint32_t i : {0u, 1u, 2u, 0u, 2u, 3u}) s.indices.push_back(first + i);
  s.parts.assign(s.positions.size(), BodyPart::torso);
  for (std::uint32_t v = 0; v <= s.positions.size(); ++v) s.influenceStart.push_back(v);
  s.influenceJoint.assign(s.positions.size(), 0);
  s.influenceWeight.assign(s.positions.size(), 1);
  const PartMesh mesh = partMesh(s, BodyPart::torso);
  std::vector<Vec3d> own;
  for (const int v : mesh.vertices) own.push_back(s.positions[static_cast<std::size_t>(v)]);
  const TriangleTree tree(mesh.withRims(own), mesh.indices);
  EXPECT_NEAR(tree.winding({0, 0.1, 0}), 1, 0.02);
  EXPECT_NEAR(tree.winding({0, -0.1, 0}), 0, 0.02);
  EXPECT_GT(tree.nearest({1.5, 0.5, 0.1}).distance, 0.5);
}

TEST(PartMesh, SkinBetweenPartsIsASolidTooAndBends) {
  // A ball of which the upper rings are a thigh's, the lower ones a shank's: its equator belongs to neither.
  BodySurface s;
  s.jointParts = {BodyPart::leftThigh, BodyPart::leftShank};
  ball(0.3, 6, s.positions, s.indices);
  for (std::uint32_t v = 0; v < s.positions.size(); ++v) {
    const bool thigh = s.positions[v].y > 0.1;
    s.parts.push_back(thigh ? BodyPart::leftThigh : BodyPart::leftShank);
    s.influenceStart.push_back(v);
    s.influenceJoint.push_back(thigh ? 0 : 1);
    s.influenceWeight.push_back(1);
  }
  s.influenceStart.push_back(static_cast<std::uint32_t>(s.positions.size()));
  const std::array with{BodyPart::leftThigh};
  const auto triangles = [](const PartMesh& mesh) { return mesh.indices.size(); };
  const PartMesh alone = partMesh(s, BodyPart::leftShank), joined = partMesh(s, BodyPart::leftShank, with), seam = partMesh(s, BodyPart::leftShank, with, true);
  EXPECT_GT(triangles(joined), triangles(alone));
  EXPECT_FALSE(seam.empty());
  const Vec3d knee{0, 0.07, 0.25};
  const auto depth = [&](const BodySolid& solid, const std::vector<Affined>& turned) { return -PosedSolid(solid, turned).sample(knee).distance; };
  const std::vector<Affined> still(2);
  EXPECT_LT(depth(joinedSolid(s, BodyPart::leftShank, {}, false, 0.01), still), 0);
  EXPECT_LT(depth(joinedSolid(s, BodyPart::leftThigh, {}, false, 0.01), still), 0);
  EXPECT_GT(depth(joinedSolid(s, BodyPart::leftShank, with, false, 0.01), still), 0.01);
  EXPECT_GT(depth(joinedSolid(s, BodyPart::leftShank, with, true, 0.01), still), 0.01);
  // Where both joints go away the place is outside.
  std::vector<Affined> moved(2);
  for (Affined& m : moved) m.translation = {0, 0, -0.1};
  EXPECT_LT(depth(joinedSolid(s, BodyPart::leftShank, with, false, 0.01), moved), 0);
}

TEST(PartMesh, NoTrianglesGiveNoSolid) {
  EXPECT_TRUE(partMesh({}, BodyPart::torso).empty());
  EXPECT_EQ(TriangleTree().winding({}), 0);
  EXPECT_EQ(TriangleTree().nearest({}).triangle, -1);
}

}  // namespace
}  // namespace understudy
