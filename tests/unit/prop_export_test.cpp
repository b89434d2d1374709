// Props written beside a character, read back and compared with where they should be.
#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "core/io/read.h"
#include "core/io/write.h"
#include "core/scene/prop.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

Rigid placeAt(int frame) {
  return {normalised(Quatd{1, 0.02 * frame, 0.3, -0.01 * frame}), {0.1 * frame, 1 + 0.05 * frame, -0.02 * frame}};
}

/// The written file's prop at a frame, world metres: a point of its mesh.
void expectPropIn(const std::string& path, const std::string& name, const PropModel& prop, int frames) {
  const Result<Figure> read = readFigure(path);
  ASSERT_TRUE(read.ok()) << read.error().text();
  const Result<int> joint = findJoint(read->skeleton, name);
  ASSERT_TRUE(joint.ok());
  int meshes = 0;
  for (const Mesh& mesh : read->meshes) meshes += mesh.node == *joint && mesh.skin < 0;
  ASSERT_EQ(meshes, static_cast<int>(prop.figure.meshes.size()));
  const Result<Motion> motion = sample(read->clips.back(), read->skeleton);
  ASSERT_TRUE(motion.ok());
  ASSERT_EQ(motion->frames, frames);
  const Affined toWorld = read->space.toWorld();
  const Vec3d tip(prop.figure.meshes[0].positions[1]);
  for (int f = 0; f < frames; ++f) {
    const std::vector<Affined> world = worldAt(read->skeleton, *motion, f);
    const Vec3d at = apply(toWorld * world[static_cast<std::size_t>(*joint)], tip);
    EXPECT_LT(distance(at, apply(placeAt(f), tip)), 1e-5) << "frame " << f;
  }
}

struct Written {
  Figure figure;
  Motion motion;
  BakedClip clip;
  Result<PropModel> prop = shaftProp(1.2, 0.02);
};

std::unique_ptr<Written> stickWithShaft(const TemporaryFolder& folder) {
  auto out = std::make_unique<Written>();
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  Result<Figure> figure = readFigure(folder.file("stick.glb"));
  if (!figure) return nullptr;
  out->figure = std::move(*figure);
  out->motion = restMotion(out->figure.skeleton, 12, {30, 1}, {0});
  out->clip.motion = &out->motion;
  out->clip.rotated = {1, 2};
  BakedProp prop;
  prop.name = "staff";
  prop.figure = &out->prop->figure;
  for (int f = 0; f < 12; ++f) prop.path.push_back(placeAt(f));
  out->clip.props.push_back(std::move(prop));
  return out;
}

TEST(PropExport, AddedToTheCharactersOwnFile) {
  const TemporaryFolder folder;
  const auto w = stickWithShaft(folder);
  ASSERT_TRUE(w);
  const Status done = handOver(w->figure, w->clip, folder.file("out.glb"));
  ASSERT_TRUE(done.ok()) << done.error().text();
  expectPropIn(folder.file("out.glb"), "staff", *w->prop, 12);
  const Result<Figure> read = readFigure(folder.file("out.glb"));
  EXPECT_EQ(read->skeleton.size(), w->figure.skeleton.size() + 1);
  EXPECT_EQ(read->clips.size(), w->figure.clips.size() + 1);
  const Status text = handOver(w->figure, w->clip, folder.file("out.gltf"));
  ASSERT_TRUE(text.ok());
  expectPropIn(folder.file("out.gltf"), "staff", *w->prop, 12);
}

TEST(PropExport, InANewFileInAnotherUnit) {
  const TemporaryFolder folder;
  const auto w = stickWithShaft(folder);
  ASSERT_TRUE(w);
  // As from a file in centimetres, Z up.
  w->figure.format = "FBX";
  w->figure.space.metresPerUnit = 0.01;
  w->figure.space.worldFromFile = rotationBetween(Vec3d{0, 0, 1}, Vec3d{0, 1, 0});
  const Status done = handOver(w->figure, w->clip, folder.file("new.glb"));
  ASSERT_TRUE(done.ok()) << done.error().text();
  expectPropIn(folder.file("new.glb"), "staff", *w->prop, 12);
}

TEST(PropExport, ANodeOfTheCharactersOwnFileMovesItself) {
  const TemporaryFolder folder;
  const auto w = stickWithShaft(folder);
  ASSERT_TRUE(w);
  // A bone without children plays the prop; a node that shows a skin would not move.
  const auto children = childrenOf(w->figure.skeleton);
  int leaf = -1;
  for (const int j : w->figure.skins[0].joints)
    if (children[static_cast<std::size_t>(j)].empty()) leaf = j;
  ASSERT_GE(leaf, 0);
  w->clip.props[0].figure = nullptr;
  w->clip.props[0].joint = leaf;
  const Status done = handOver(w->figure, w->clip, folder.file("own.glb"));
  ASSERT_TRUE(done.ok()) << done.error().text();
  const Result<Figure> read = readFigure(folder.file("own.glb"));
  ASSERT_TRUE(read.ok());
  ASSERT_EQ(read->skeleton.size(), w->figure.skeleton.size());
  const Result<Motion> motion = sample(read->clips.back(), read->skeleton);
  for (int f = 0; f < 12; ++f) {
    const Affined world = worldAt(read->skeleton, *motion, f)[static_cast<std::size_t>(leaf)];
    EXPECT_LT(distance(world.translation, placeAt(f).at), 1e-5);
    EXPECT_LT(angleBetween(polarParts(world).rotation, placeAt(f).turn), 1e-4);
  }
}

TEST(PropExport, BadPathsAreRefusedAndNothingIsWritten) {
  const TemporaryFolder folder;
  const auto w = stickWithShaft(folder);
  ASSERT_TRUE(w);
  w->clip.props[0].path.pop_back();
  EXPECT_FALSE(handOver(w->figure, w->clip, folder.file("bad.glb")).ok());
  w->clip.props[0].path.push_back({{}, {NAN, 0, 0}});
  EXPECT_FALSE(handOver(w->figure, w->clip, folder.file("bad.glb")).ok());
  EXPECT_FALSE(readFigure(folder.file("bad.glb")).ok());
}

}  // namespace
}  // namespace understudy
