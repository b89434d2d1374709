// Props: read from files and nodes, and held where they are thin.
#include "core/scene/prop.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>

#include "core/evaluate/props.h"
#include "core/io/read.h"
#include "core/repair/hand_shape.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";

/// OBJ text of a box between two corners, counted on from `first` vertices.
std::string boxObj(const Vec3d& a, const Vec3d& b, int first) {
  std::string out;
  for (const double z : {a.z, b.z})
    for (const auto& [x, y] : {std::pair{a.x, a.y}, {b.x, a.y}, {b.x, b.y}, {a.x, b.y}})
      out += "v " + std::to_string(x) + " " + std::to_string(y) + " " + std::to_string(z) + "\n";
  for (const auto& f : {std::array{1, 4, 3, 2}, {5, 6, 7, 8}, {1, 2, 6, 5}, {4, 8, 7, 3}, {1, 5, 8, 4}, {2, 3, 7, 6}}) {
    out += "f";
    for (const int v : f) out += " " + std::to_string(first + v);
    out += "\n";
  }
  return out;
}

TEST(Prop, TheBroomIsHeldOnItsShaftNearTheFreeEnd) {
  PropItem item;
  item.path = samples + "broom.glb";
  const Result<PropItem> broom = makeProp(item);
  ASSERT_TRUE(broom.ok()) << broom.error().text();
  // By the samples' truth file the performer holds it 1.22 and 0.985 m from the bristles' end of 1.4 m.
  EXPECT_NEAR(broom->leadGrip.position.y, 1.22, 0.08);
  EXPECT_NEAR(broom->supportGrip.position.y, 0.985, 0.10);
  EXPECT_GT(broom->radius, 0.008);
  EXPECT_LT(broom->radius, 0.02);
  // On the shaft's surface: as far from the axis as the handle is thick, z towards the axis, y along it.
  for (const Placement& grip : {broom->leadGrip, broom->supportGrip}) {
    const Rigid g = rigidOf(grip);
    EXPECT_NEAR(std::hypot(g.at.x, g.at.z), broom->radius, 3e-4);
    const Vec3d axis = apply(g, Vec3d{0, 0, broom->radius});
    EXPECT_NEAR(std::hypot(axis.x, axis.z), 0, 3e-4);
    EXPECT_NEAR(rotate(g.turn, Vec3d{0, 1, 0}).y, 1, 1e-3);
  }
  EXPECT_TRUE(broom->gripped);
  PropItem own = *broom;
  own.leadGrip.position.y = 1;
  EXPECT_EQ(makeProp(own)->leadGrip.position.y, 1);  // grips that are there are kept
}

TEST(Prop, APlainShaftIsARoundClosedMesh) {
  PropItem item;
  item.length = 1.2;
  item.radius = 0.02;
  item.scale = 0.5;
  const Result<PropModel> model = openProp(item);
  ASSERT_TRUE(model.ok());
  const Result<PropShape> shape = shapeOf(*model);
  ASSERT_TRUE(shape.ok());
  EXPECT_NEAR(shape->high - shape->low, 0.6, 1e-6);
  EXPECT_NEAR(std::abs(shape->axis.y), 1, 1e-6);
  EXPECT_NEAR(shape->handleRadius, 0.01, 2e-4);
  // Closed and facing outwards: the volume by the divergence theorem is that of a 24-sided prism.
  const Mesh& mesh = model->figure.meshes[0];
  double volume = 0;
  for (std::size_t t = 0; t < mesh.indices.size(); t += 3)
    volume += dot(Vec3d(mesh.positions[mesh.indices[t]]), cross(Vec3d(mesh.positions[mesh.indices[t + 1]]), Vec3d(mesh.positions[mesh.indices[t + 2]]))) / 6;
  EXPECT_NEAR(volume, 0.5 * 24 * std::sin(2 * M_PI / 24) * 0.01 * 0.01 * 0.6, 1e-8);
}

TEST(Prop, AHiltIsHeldNextToTheHeavyPart) {
  // A sword as boxes: grip 0.03 wide from 0 to 0.2, guard, blade wide and flat from 0.22 to 1.0; along +X.
  const TemporaryFolder folder;
  std::string obj = "# boxes\no sword\n" + boxObj({0, -0.015, -0.015}, {0.2, 0.015, 0.015}, 0) + boxObj({0.2, -0.1, -0.02}, {0.22, 0.1, 0.02}, 8) +
                    boxObj({0.22, -0.03, -0.004}, {1.0, 0.03, 0.004}, 16);
  writeFile(folder.file("sword.obj"), obj);
  PropItem item;
  item.path = folder.file("sword.obj");
  const Result<PropItem> sword = makeProp(item);
  ASSERT_TRUE(sword.ok()) << sword.error().text();
  EXPECT_GT(sword->leadGrip.position.x, 0.1);
  EXPECT_LT(sword->leadGrip.position.x, 0.2);
  EXPECT_LT(sword->supportGrip.position.x, sword->leadGrip.position.x - 0.04);
  EXPECT_GT(sword->supportGrip.position.x, 0);
  EXPECT_GT(rotate(sword->leadGrip.rotation, Vec3d{0, 1, 0}).x, 0.99);  // thumb towards the blade
  // The same in centimetres and millimetres, which the format does not state.
  std::string inCentimetres = "o sword\n" + boxObj({0, -1.5, -1.5}, {20, 1.5, 1.5}, 0) + boxObj({20, -10, -2}, {22, 10, 2}, 8) + boxObj({22, -3, -0.4}, {100, 3, 0.4}, 16);
  writeFile(folder.file("big.obj"), inCentimetres);
  item.path = folder.file("big.obj");
  const Result<PropItem> big = makeProp(item);
  ASSERT_TRUE(big.ok());
  EXPECT_NEAR(big->leadGrip.position.x, sword->leadGrip.position.x, 1e-3);
}

TEST(Prop, AGripCanBePickedAnywhereOnTheMesh) {
  PropItem item;
  item.path = samples + "broom.glb";
  const Result<PropModel> model = openProp(item);
  ASSERT_TRUE(model.ok());
  const Result<PropShape> shape = shapeOf(*model);
  ASSERT_TRUE(shape.ok());
  const double r = shape->handleRadius;
  for (const double angle : {0.0, 1.0, 2.5, 4.0}) {
    const Vec3d point{r * std::cos(angle), 0.8, r * std::sin(angle)};
    const Rigid grip = gripAt(*shape, point);
    EXPECT_LT(distance(grip.at, point), 0.004);
    EXPECT_GT(dot(rotate(grip.turn, Vec3d{0, 0, 1}), normalised(Vec3d{-point.x, 0, -point.z})), 0.98);
    EXPECT_GT(rotate(grip.turn, Vec3d{0, 1, 0}).y, 0.99);
  }
}

TEST(Prop, ANodeKeepsItsOwnAxes) {
  // A file whose node is moved and turned: the prop's own coordinates do not show it.
  Figure figure;
  figure.path = "scene.glb";
  figure.skeleton.add("root", -1, {{1, 2, 3}, fromAxisAngle(Vec3d{0, 0, 1}, 0.7), {1, 1, 1}}, 0);
  figure.skeleton.add("stick", 0, {{0, 1, 0}, fromAxisAngle(Vec3d{1, 0, 0}, -0.4), {2, 2, 2}}, 1);
  Mesh mesh;
  mesh.node = 1;
  mesh.positions = {{0, 0, 0}, {0, 0.5F, 0}, {0.1F, 0, 0}};
  mesh.indices = {0, 1, 2};
  figure.meshes.push_back(mesh);
  const Result<PropModel> prop = propOf(figure, "stick", 3);
  ASSERT_TRUE(prop.ok());
  const std::vector<Vec3f>& p = prop->figure.meshes[0].positions;
  EXPECT_LT(distance(Vec3d(p[0]), Vec3d{}), 1e-5);
  EXPECT_LT(distance(Vec3d(p[1]), Vec3d{0, 3, 0}), 1e-5);  // 0.5 · the node's scale of 2 · 3
  EXPECT_LT(distance(Vec3d(p[2]), Vec3d{0.6, 0, 0}), 1e-5);
  EXPECT_FALSE(propOf(figure, "spoon").ok());
  EXPECT_FALSE(propOf(figure, "stick", 0).ok());
  figure.meshes.clear();
  EXPECT_FALSE(propOf(figure, "").ok());
}

TEST(Prop, BadPropsAreToldPlainly) {
  const TemporaryFolder folder;
  PropItem item;
  item.path = folder.file("missing.obj");
  EXPECT_FALSE(makeProp(item).ok());
  writeFile(folder.file("text.obj"), "this is a letter, not a mesh\n");
  item.path = folder.file("text.obj");
  const Result<PropItem> text = makeProp(item);
  ASSERT_FALSE(text.ok());
  EXPECT_NE(text.error().text().find("text.obj"), std::string::npos);
  writeFile(folder.file("points.obj"), "v 0 0 0\nv 1 0 0\n");
  item.path = folder.file("points.obj");
  EXPECT_FALSE(makeProp(item).ok());
  item.path.clear();
  item.radius = -1;
  EXPECT_FALSE(makeProp(item).ok());
}

}  // namespace
}  // namespace understudy
