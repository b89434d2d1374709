// Nearest places on the set's objects.
#include <gtest/gtest.h>

#include <cmath>

#include "core/scene/set.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

Rigid somewhere() { return {fromAxisAngle(normalised(Vec3d{1, 2, -1}), 0.7), {0.4, 1.1, -2}}; }

TEST(Set, PlaneBallAndBoxByHand) {
  SetShape plane;
  plane.place.at = {0, 0.5, 0};
  const SurfacePoint p = nearestOn(plane, {3, 2, 4});
  EXPECT_NEAR(distance(p.point, {3, 0.5, 4}), 0, 1e-12);
  EXPECT_NEAR(p.distance, 1.5, 1e-12);
  EXPECT_NEAR(nearestOn(plane, {3, 0, 4}).distance, -0.5, 1e-12);

  const SetShape ball{SetForm::ball, {{}, {1, 1, 1}}, {0.5, 0, 0}, 1, nullptr};
  EXPECT_NEAR(nearestOn(ball, {1, 1, 3}).distance, 1.5, 1e-12);
  EXPECT_NEAR(nearestOn(ball, {1, 1.2, 1}).distance, -0.3, 1e-12);
  EXPECT_NEAR(nearestOn(ball, {1, 1.2, 1}).normal.y, 1, 1e-12);

  const SetShape box{SetForm::box, {}, {2, 1, 4}, 1, nullptr};
  const SurfacePoint corner = nearestOn(box, {2, 2, 3});  // (1,1,1) off the corner (1,1,2)
  EXPECT_NEAR(corner.distance, std::sqrt(3.0), 1e-12);
  EXPECT_NEAR(distance(corner.point, {1, 1, 2}), 0, 1e-12);
  EXPECT_NEAR(corner.normal.x, 1 / std::sqrt(3.0), 1e-12);
  EXPECT_NEAR(nearestOn(box, {0.9, 0.5, 0}).distance, -0.1, 1e-12);
  EXPECT_NEAR(nearestOn(box, {0.9, 0.5, 0}).normal.x, 1, 1e-12);
}

TEST(Set, StepsAreStoodOn) {
  const SetShape steps{SetForm::steps, {}, {1, 0.2, 0.3}, 3, nullptr};
  for (int i = 0; i < 3; ++i) {
    const SurfacePoint p = nearestOn(steps, {0.1, 0.2 * (i + 1) + 0.05, 0.3 * i + 0.15});
    EXPECT_NEAR(p.distance, 0.05, 1e-12);
    EXPECT_NEAR(p.normal.y, 1, 1e-12);
  }
  EXPECT_NEAR(nearestOn(steps, {0, 0.3, 0.25}).distance, std::min(0.1, 0.05), 1e-12);  // the riser is nearer than the tread
  EXPECT_LT(nearestOn(steps, {0, 0.19, 0.15}).distance, 0);
}

TEST(Set, TrianglesLieOnTheirShapeAndFaceOutwards) {
  for (const SetShape& shape : {SetShape{SetForm::box, somewhere(), {2, 1, 4}, 1, nullptr}, SetShape{SetForm::steps, somewhere(), {1, 0.2, 0.3}, 4, nullptr},
                                SetShape{SetForm::ball, somewhere(), {0.5, 0, 0}, 1, nullptr}, SetShape{SetForm::plane, somewhere(), {}, 1, nullptr}}) {
    const SetMesh mesh = trianglesOf(shape, 2);
    const double coarse = shape.form == SetForm::ball ? 0.006 : 1e-9;
    ASSERT_FALSE(mesh.indices.empty());
    for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3) {
      const Vec3d &a = mesh.positions[mesh.indices[t]], &b = mesh.positions[mesh.indices[t + 1]], &c = mesh.positions[mesh.indices[t + 2]];
      const Vec3d middle = (a + b + c) / 3.0, n = normalised(cross(b - a, c - a));
      if (n == Vec3d{}) continue;  // at the ball's poles
      EXPECT_NEAR(nearestOn(shape, middle).distance, 0, coarse);
      EXPECT_NEAR(nearestOn(shape, middle + n * 0.02).distance, 0.02, coarse);
    }
  }
}

TEST(Set, AMeshAnswersLikeTheShapeItWasMadeOf) {
  const SetShape box{SetForm::box, {}, {2, 1, 4}, 1, nullptr};
  SetShape mesh;
  mesh.form = SetForm::mesh;
  mesh.mesh = std::make_shared<const SetMesh>(trianglesOf(box));
  mesh.place = somewhere();
  SetShape moved = box;
  moved.place = somewhere();
  for (int i = 0; i < 400; ++i) {
    const Vec3d p = Vec3d{std::sin(1.0 * i), std::cos(2.3 * i), std::sin(3.1 * i + 1)} * 2.5 + Vec3d{0.4, 1.1, -2};
    const SurfacePoint a = nearestOn(mesh, p), b = nearestOn(moved, p);
    EXPECT_NEAR(a.distance, b.distance, 1e-9);
    if (b.distance > 1e-6) {
      EXPECT_NEAR(distance(a.point, b.point), 0, 1e-6);
    }
  }
}

TEST(Set, FilesAndBadShapes) {
  const TemporaryFolder folder;
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  const auto mesh = readSetMesh(folder.file("stick.glb"));
  ASSERT_TRUE(mesh.ok()) << mesh.error().text();
  EXPECT_GT((*mesh)->indices.size(), 100U);
  EXPECT_FALSE(readSetMesh(folder.file("none.glb")).ok());
  writeFile(folder.file("walk.bvh"), makeWalkBvh());
  EXPECT_FALSE(readSetMesh(folder.file("walk.bvh")).ok());
  SetShape shape;
  shape.form = SetForm::box;
  shape.size.y = 0;
  EXPECT_FALSE(checkShape(shape).ok());
  shape.size.y = 1;
  EXPECT_TRUE(checkShape(shape).ok());
  shape.place.at.x = std::nan("");
  EXPECT_FALSE(checkShape(shape).ok());
  EXPECT_FALSE(checkShape({SetForm::steps, {}, {1, 1, 1}, 0, nullptr}).ok());
  EXPECT_FALSE(checkShape({SetForm::ball, {}, {-1, 1, 1}, 1, nullptr}).ok());
  EXPECT_FALSE(checkShape({SetForm::mesh, {}, {1, 1, 1}, 1, nullptr}).ok());
}

}  // namespace
}  // namespace understudy
