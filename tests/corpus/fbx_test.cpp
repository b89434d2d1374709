// FBX files as found in the wild, judged by geometry: who stands upright, how tall, how fast.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>

#include "core/figure/figure.h"
#include "core/io/read.h"

namespace understudy {
namespace {

Result<Figure> readCorpus(const std::string& file) {
  ReadSettings settings;
  settings.readerProgram = UNDERSTUDY_BINARY "/bin/understudy-reader";
  return readThroughChild(UNDERSTUDY_CORPUS "/" + file, settings);
}

#define NEEDS(file) \
  if (!std::filesystem::exists(UNDERSTUDY_CORPUS "/" file)) GTEST_SKIP() << "not here: " file

Vec3d at(const Figure& figure, const std::vector<Affined>& world, const std::string& joint) {
  const Result<int> found = findJoint(figure.skeleton, joint);
  EXPECT_TRUE(found.ok()) << joint;
  return found ? apply(figure.space.toWorld(), world[static_cast<std::size_t>(*found)].translation) : Vec3d{};
}

/// Heights are from ankle to the head's joint. Feet below hips below head on every frame, a plausible height, and no joint that leaps.
void expectUprightPerson(const Figure& figure, const Clip& clip, double leastHeight, double mostHeight,
                         const std::vector<std::string>& feet, const std::string& hips, const std::string& head, double fastest) {
  const Result<Motion> motion = sample(clip, figure.skeleton);
  ASSERT_TRUE(motion.ok()) << motion.error().text();
  double tallest = 0;
  std::vector<Vec3d> before;
  for (int f = 0; f < motion->frames; ++f) {
    const std::vector<Affined> world = worldAt(figure.skeleton, *motion, f);
    const Vec3d hip = at(figure, world, hips), top = at(figure, world, head);
    std::vector<Vec3d> now{hip, top};
    for (const std::string& foot : feet) {
      const Vec3d p = at(figure, world, foot);
      ASSERT_LT(p.y, hip.y - 0.2) << foot << " frame " << f + 1;
      tallest = std::max(tallest, top.y - p.y);
      now.push_back(p);
    }
    ASSERT_GT(top.y, hip.y + 0.2) << "frame " << f + 1;
    // The step from the first frame is left out: captures often begin with a pose that does not belong to the take.
    for (std::size_t i = 0; i < before.size() && f > 1; ++i)
      ASSERT_LT(distance(now[i], before[i]) * motion->rate.hertz(), fastest) << "point " << i << " frame " << f + 1;
    before = now;
  }
  EXPECT_GT(tallest, leastHeight);
  EXPECT_LT(tallest, mostHeight);
}

TEST(FbxCorpus, CaptureUnderScaledArmatureIsAPersonInMetres) {
  NEEDS("motion/cmu_07_01_walk.fbx");
  const Result<Figure> figure = readCorpus("motion/cmu_07_01_walk.fbx");
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  ASSERT_EQ(figure->clips.size(), 1U);
  const Clip& clip = figure->clips[0];
  EXPECT_EQ(clip.rate, (FrameRate{120, 1}));
  EXPECT_EQ(clip.frames(), 317);
  EXPECT_FALSE(figure->space.unitStated);
  expectUprightPerson(*figure, clip, 1.25, 1.8, {"LeftFoot", "RightFoot"}, "Hips", "Head", 8);
  const Result<Motion> motion = sample(clip, figure->skeleton);
  ASSERT_TRUE(motion.ok());
  const Vec3d first = at(*figure, worldAt(figure->skeleton, *motion, 0), "Hips");
  const Vec3d last = at(*figure, worldAt(figure->skeleton, *motion, motion->frames - 1), "Hips");
  const double speed = std::hypot(last.x - first.x, last.z - first.z) / motion->duration();
  EXPECT_GT(speed, 0.7) << "a walk, metres a second";
  EXPECT_LT(speed, 2.0);
}

TEST(FbxCorpus, BonesOfOneNameInABinaryFileStayApart) {
  NEEDS("motion/cmu_07_01_walk.fbx");
  std::ifstream in(UNDERSTUDY_CORPUS "/motion/cmu_07_01_walk.fbx", std::ios::binary);
  std::string bytes((std::istreambuf_iterator<char>(in)), {});
  int changed = 0;
  for (std::size_t at = bytes.find("RightArm"); at != std::string::npos; at = bytes.find("RightArm", at + 8), ++changed)
    bytes.replace(at, 8, "RightLeg");
  ASSERT_GT(changed, 0);
  const std::filesystem::path path = std::filesystem::temp_directory_path() / ("names_" + std::to_string(::getpid()) + ".fbx");
  std::ofstream(path, std::ios::binary) << bytes;
  ReadSettings settings;
  settings.readerProgram = UNDERSTUDY_BINARY "/bin/understudy-reader";
  const Result<Figure> changedNames = readThroughChild(path.string(), settings);
  std::filesystem::remove(path);
  const Result<Figure> figure = readCorpus("motion/cmu_07_01_walk.fbx");
  ASSERT_TRUE(changedNames.ok()) << changedNames.error().text();
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(std::count(changedNames->skeleton.names.begin(), changedNames->skeleton.names.end(), "RightLeg"), 2);
  const Result<Motion> one = sample(figure->clips[0], figure->skeleton), other = sample(changedNames->clips[0], changedNames->skeleton);
  ASSERT_TRUE(one.ok() && other.ok());
  EXPECT_EQ(*one, *other) << "the same motion under other names";
}

TEST(FbxCorpus, FoldedHelperNodesLeaveAnUprightPerson) {
  NEEDS("motion/arms_crossed_keyframed.fbx");
  const Result<Figure> figure = readCorpus("motion/arms_crossed_keyframed.fbx");
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  for (const std::string& name : figure->skeleton.names) EXPECT_EQ(name.find("$AssimpFbx$"), std::string::npos);
  ASSERT_EQ(figure->clips.size(), 1U);
  EXPECT_EQ(figure->clips[0].rate, (FrameRate{30, 1}));
  EXPECT_EQ(figure->clips[0].frames(), 259);
  expectUprightPerson(*figure, figure->clips[0], 1.2, 1.8, {"LeftFoot", "RightFoot"}, "Hips", "Head", 6);
  EXPECT_TRUE(std::any_of(figure->issues.begin(), figure->issues.end(),
                          [](const Issue& issue) { return issue.what.find("not baked per frame") != std::string::npos; }));
}

TEST(FbxCorpus, CharacterStandsInItsBindPose) {
  NEEDS("characters/Quaternius_Alien.fbx");
  const auto begin = std::chrono::steady_clock::now();
  const Result<Figure> figure = readCorpus("characters/Quaternius_Alien.fbx");
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  RecordProperty("seconds", std::to_string(seconds));
  EXPECT_EQ(figure->clips.size(), 14U);
  EXPECT_EQ(figure->skins.size(), 1U);
  EXPECT_EQ(figure->meshes.size(), 5U);
  const std::vector<Affined> bind = bindWorld(*figure);
  Vec3d low{1e9, 1e9, 1e9}, high{-1e9, -1e9, -1e9};
  std::size_t most = 0;
  for (const Mesh& mesh : figure->meshes) {
    const std::vector<Vec3f> skinned = skinnedPositions(*figure, mesh, bind);
    for (std::size_t v = 0; v < skinned.size(); ++v) {
      most = std::max<std::size_t>(most, mesh.influenceStart[v + 1] - mesh.influenceStart[v]);
      // In the bind pose the skin is the mesh as modelled.
      ASSERT_LT(distance(Vec3d(skinned[v]), Vec3d(mesh.positions[v])), 0.01) << mesh.name << " vertex " << v;
      const Vec3d p = apply(figure->space.toWorld(), Vec3d(skinned[v]));
      for (int i = 0; i < 3; ++i) low[i] = std::min(low[i], p[i]), high[i] = std::max(high[i], p[i]);
    }
  }
  EXPECT_GE(most, 5U);
  EXPECT_NEAR(high.y - low.y, 2.9, 0.1);
  EXPECT_NEAR(low.y, 0, 0.05);
  EXPECT_NEAR(low.x + high.x, 0, 0.1 * (high.x - low.x));
  // T-shape: the palms are out at the sides, at about the height of the shoulders.
  const Vec3d palm = at(*figure, bind, "Palm.L"), other = at(*figure, bind, "Palm.R"), shoulder = at(*figure, bind, "UpperArm.L");
  EXPECT_GT(palm.x, 0.6);
  EXPECT_LT(other.x, -0.6);
  EXPECT_LT(std::abs(palm.y - shoulder.y), 0.3);
}

}  // namespace
}  // namespace understudy
