// Open characters read whole, and given back with an animation added.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>

#include "core/io/read.h"

namespace understudy {
namespace {

std::string corpus(const std::string& name) { return std::string(UNDERSTUDY_CORPUS) + "/" + name; }

#define NEED(name) \
  if (!std::filesystem::exists(corpus(name))) GTEST_SKIP() << "needs " << corpus(name)

double skinnedHeight(const Figure& figure, std::span<const Affined> world) {
  double low = 1e30, high = -1e30;
  for (const Mesh& mesh : figure.meshes)
    if (mesh.skin >= 0)
      for (const Vec3f& p : skinnedPositions(figure, mesh, world)) low = std::min<double>(low, p.y), high = std::max<double>(high, p.y);
  return high - low;
}

TEST(GltfCorpus, KnightIsReadWhole) {
  NEED("characters/KayKit_Knight.glb");
  const Result<Figure> figure = readGltf(corpus("characters/KayKit_Knight.glb"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->skeleton.size(), 57);
  EXPECT_EQ(figure->clips.size(), 76U);
  ASSERT_EQ(figure->skins.size(), 1U);
  EXPECT_EQ(figure->skins[0].joints.size(), 41U);
  EXPECT_EQ(figure->images.size(), 1U);
  EXPECT_EQ(figure->meshes.size(), 15U);
  EXPECT_NEAR(skinnedHeight(*figure, restWorld(figure->skeleton)), 2.32, 0.02);
}

TEST(GltfCorpus, ManWithoutJointNamesIsReadWhole) {
  NEED("characters/CesiumMan.gltf");
  const Result<Figure> figure = readGltf(corpus("characters/CesiumMan.gltf"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->skeleton.size(), 22);
  ASSERT_EQ(figure->skins.size(), 1U);
  EXPECT_EQ(figure->skins[0].joints.size(), 19U);
  ASSERT_EQ(figure->meshes.size(), 1U);
  EXPECT_EQ(figure->meshes[0].positions.size(), 3273U);
  EXPECT_EQ(figure->meshes[0].indices.size(), 4672U * 3);
  EXPECT_NEAR(skinnedHeight(*figure, restWorld(figure->skeleton)), 1.507, 0.02);
}

TEST(GltfCorpus, RobotIsReadWhole) {
  NEED("characters/RobotExpressive.glb");
  const Result<Figure> figure = readGltf(corpus("characters/RobotExpressive.glb"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->skeleton.size(), 84);
  EXPECT_EQ(figure->skins.size(), 4U);
  EXPECT_EQ(figure->clips.size(), 14U);
  bool morphs = false;
  for (const Mesh& mesh : figure->meshes) morphs = morphs || !mesh.morphs.empty();
  EXPECT_TRUE(morphs);
}

TEST(GltfCorpus, HumanoidDescriptionNamesItsBones) {
  NEED("motion/handwritten_humanoid.vrma");
  const Result<Figure> figure = readGltf(corpus("motion/handwritten_humanoid.vrma"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->skeleton.size(), 53);
  EXPECT_EQ(figure->clips.size(), 1U);
  EXPECT_GE(figure->statedRoles.size(), 15U);
  for (const auto& [role, joint] : figure->statedRoles) EXPECT_EQ(figure->skeleton.names[joint], role);
}

}  // namespace
}  // namespace understudy
