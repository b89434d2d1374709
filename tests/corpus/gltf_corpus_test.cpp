// Open characters read whole, and given back with an animation added.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/io/gltf_file.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "tests/support/tiny_gltf.h"

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

/// Turns every joint of the skins, lets the first travel, adds that to the file and looks at it again.
void expectAddedCleanly(const std::string& path, const std::string& extension) {
  const Result<Figure> figure = readGltf(path);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const Skeleton& skeleton = figure->skeleton;
  Motion motion = restMotion(skeleton, 40, {24, 1}, {figure->skins[0].joints[0]});
  BakedClip clip;
  clip.motion = &motion;
  for (const Skin& skin : figure->skins) clip.rotated.insert(clip.rotated.end(), skin.joints.begin(), skin.joints.end());
  for (int f = 0; f < motion.frames; ++f) {
    for (int j : clip.rotated) {
      Quatf& q = motion.rotationsAt(f)[static_cast<std::size_t>(j)];
      q = Quatf(skeleton.rest[static_cast<std::size_t>(j)].rotation) * fromAxisAngle(normalised(Vec3f{1, 2, 0.5F}), 0.5F * std::sin(0.2F * static_cast<float>(f + j)));
    }
    motion.translationsAt(f)[0] += Vec3f{0, 0, 0.01F * static_cast<float>(f)};
  }
  const test::Folder folder;
  const std::string out = folder / ("out" + extension);
  const Status status = writeIntoOwnGltf(*figure, clip, out);
  ASSERT_TRUE(status.ok()) << status.error().text();

  GltfFile before, after;
  ASSERT_TRUE(before.open(path).ok() && after.open(out).ok());
  const auto bytes = static_cast<std::size_t>(before.root()["buffers"][std::size_t{0}]["byteLength"].integer(0));
  ASSERT_TRUE(std::equal(before.buffers[0].bytes.begin(), before.buffers[0].bytes.begin() + static_cast<std::ptrdiff_t>(bytes), after.buffers[0].bytes.begin()));
  using nlohmann::ordered_json;
  ordered_json a = ordered_json::parse(before.json.text()), b = ordered_json::parse(after.json.text());
  for (const char* name : {"animations", "accessors", "bufferViews", "buffers"})
    while (b[name].size() > a[name].size()) b[name].erase(b[name].size() - 1);
  for (auto* json : {&a, &b})
    for (auto& buffer : (*json)["buffers"]) buffer.erase("uri"), buffer.erase("byteLength");
  for (std::size_t n = 0; n < a["nodes"].size(); ++n)
    if (a["nodes"][n].contains("matrix") && !b["nodes"][n].contains("matrix")) b["nodes"][n] = a["nodes"][n];
  EXPECT_EQ(a.dump(), b.dump());

  const Result<Figure> back = readGltf(out);
  ASSERT_TRUE(back.ok()) << back.error().text();
  const Result<Motion> m = sample(back->clips.back(), back->skeleton);
  ASSERT_TRUE(m.ok());
  ASSERT_EQ(m->frames, motion.frames);
  const double height = skinnedHeight(*figure, restWorld(skeleton));
  for (int f = 0; f < motion.frames; ++f) {
    const std::vector<Affined> w0 = worldAt(skeleton, motion, f), w1 = worldAt(back->skeleton, *m, f);
    for (std::size_t j = 0; j < w0.size(); ++j) ASSERT_LT(distance(w0[j].translation, w1[j].translation), 1e-5 * height) << "joint " << j << ", frame " << f;
  }
}

TEST(GltfCorpus, AnimationIsAddedToOpenCharacters) {
  NEED("characters/RobotExpressive.glb");
  for (const char* name : {"CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb"})
    for (const char* extension : {".glb", ".gltf"}) {
      SCOPED_TRACE(std::string(name) + " to " + extension);
      expectAddedCleanly(corpus(std::string("characters/") + name), extension);
    }
}

}  // namespace
}  // namespace understudy
