#include <gtest/gtest.h>

#include <cmath>

#include "core/io/read.h"
#include "render/ground_shadow.h"
#include "render/offscreen.h"
#include "render/stage.h"
#include "render/stage_figure.h"
#include "render/stroke_font.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

std::shared_ptr<const Figure> stickCharacter(double scale = 1) {
  TemporaryFolder folder;
  StickOptions options;
  options.scale = scale;
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb(options));
  auto figure = readFigure(folder.file("stick.glb"));
  EXPECT_TRUE(figure.ok()) << (figure.ok() ? "" : figure.error().text());
  return figure ? std::make_shared<const Figure>(std::move(*figure)) : nullptr;
}

FigureInstance onStage(const std::shared_ptr<const Figure>& figure) {
  FigureInstance instance;
  instance.figure = prepareFigure(figure);
  instance.placement = figure->space.toWorld();
  return instance;
}

Camera looking(const FigureInstance& instance) {
  Camera camera;
  camera.pitch = 0.1;
  camera.yaw = 0.3;
  return framed(camera, boundsOf(instance), 4.0 / 3, 0.1);
}

/// A floor-parallel square plate, 20 cm a side, at a height: the simplest thing that casts a shadow.
std::shared_ptr<const Figure> plate(float height, std::vector<float> weights = {}) {
  auto figure = std::make_shared<Figure>();
  figure->skeleton.add("deck", -1, {}, 0);
  Mesh mesh;
  mesh.node = 0;
  mesh.positions = {{-0.1f, height, -0.1f}, {0.1f, height, -0.1f}, {0.1f, height, 0.1f}, {-0.1f, height, 0.1f}};
  mesh.indices = {0, 2, 1, 0, 3, 2};
  if (!weights.empty()) {
    // Ten influences a vertex: more than are kept.
    mesh.skin = 0;
    Skin skin;
    for (std::size_t k = 0; k < weights.size(); ++k) {
      skin.joints.push_back(figure->skeleton.add("spar" + std::to_string(k), 0, {}, static_cast<int>(k) + 1));
      skin.inverseBind.push_back({});
    }
    figure->skins.push_back(skin);
    mesh.influenceStart.push_back(0);
    for (std::size_t v = 0; v < 4; ++v) {
      for (std::size_t k = 0; k < weights.size(); ++k) {
        mesh.influenceJoint.push_back(static_cast<std::uint16_t>(k));
        mesh.influenceWeight.push_back(weights[k]);
      }
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceWeight.size()));
    }
  }
  figure->meshes.push_back(mesh);
  return figure;
}

TEST(RenderFigure, SkinningMatchesTheReferenceSkinning) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  const StageFigurePtr stage = prepareFigure(figure);
  std::vector<Affined> world = restWorld(figure->skeleton);
  for (std::size_t j = 0; j < world.size(); ++j) {
    const double a = 0.1 * static_cast<double>(j % 5);
    world[j] = world[j] * Affined(toMatrix(fromAxisAngle(normalised(Vec3d{1, 2, 3}), a)), {});
  }
  const std::vector<Affinef> palette = paletteOf(*stage, Affined{}, world);
  ASSERT_FALSE(stage->batches.empty());
  for (const StageBatch& batch : stage->batches) {
    const std::vector<Vec3f> expected = skinnedPositions(*figure, figure->meshes[batch.mesh], world);
    ASSERT_EQ(expected.size(), batch.vertexCount);
    for (std::uint32_t v = 0; v < batch.vertexCount; ++v) {
      const Vec3f p = skinned(stage->vertices[batch.firstVertex + v], palette, batch.influences);
      EXPECT_LT(distance(p, expected[v]), 2e-4f);
    }
  }
}

TEST(RenderFigure, KeepsTheEightHeaviestInfluencesAndTheirSum) {
  const auto figure = plate(0, {0.02f, 0.2f, 0.05f, 0.15f, 0.1f, 0.12f, 0.08f, 0.01f, 0.2f, 0.07f});
  const StageFigurePtr stage = prepareFigure(figure);
  ASSERT_EQ(stage->batches.size(), 1u);
  EXPECT_EQ(stage->batches[0].influences, 8);
  for (const StageVertex& vertex : stage->vertices) {
    int sum = 0;
    for (int k = 0; k < 8; ++k) {
      sum += vertex.weights[k];
      if (k > 0) {
        EXPECT_LE(vertex.weights[k], vertex.weights[k - 1] + 8);  // rounding goes to the heaviest
      }
      EXPECT_NE(vertex.entries[k], 0);  // the two lightest (entries 0 and 7) are dropped
      EXPECT_NE(vertex.entries[k], 7);
    }
    EXPECT_EQ(sum, 65535);
  }
}

TEST(RenderFigure, BrokenMeshesAreLeftOut) {
  auto figure = std::make_shared<Figure>();
  figure->skeleton.add("deck", -1, {}, 0);
  Mesh mesh;
  mesh.node = 7;  // no such node
  mesh.skin = 3;  // no such skin
  mesh.material = 9;
  mesh.positions = {{0, 0, 0}, {1, 0, 0}, {std::nanf(""), 1, 0}};
  mesh.indices = {0, 1, 2, 0, 1, 77};
  figure->meshes.push_back(mesh);
  const StageFigurePtr stage = prepareFigure(figure);
  ASSERT_EQ(stage->batches.size(), 1u);
  EXPECT_EQ(stage->batches[0].indexCount, 3u);
  FigureInstance instance;
  instance.figure = stage;
  EXPECT_FALSE(boundsOf(instance).empty());
}

TEST(RenderPick, SkinUnderThePixelGivesTheBoneThatMovesIt) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  const FigureInstance& instance = scene.figures[0];
  const Camera camera = looking(instance);
  int tried = 0;
  for (const int joint : drawnJoints(*instance.figure)) {
    // The middle of the triangles this joint moves most.
    Vec3d sum;
    int corners = 0;
    const std::vector<Affinef> palette = paletteOf(*instance.figure, instance.placement, poseOf(instance));
    for (const StageVertex& v : instance.figure->vertices) {
      if (instance.figure->palette[v.entries[0]].joint != joint) continue;
      sum += Vec3d(skinned(v, palette, 8));
      ++corners;
    }
    if (corners == 0) continue;
    const Projected p = project(camera, 800, 600, sum / static_cast<double>(corners));
    const auto hit = pick(scene, camera, 800, 600, p.x, p.y);
    ASSERT_TRUE(hit) << figure->skeleton.names[joint];
    EXPECT_GE(hit->mesh, 0);
    if (hit->joint == joint) ++tried;
  }
  // Some boxes hide others; most must be found.
  EXPECT_GE(tried, 8);
  EXPECT_FALSE(pick(scene, camera, 800, 600, 2, 2));
}

TEST(RenderPick, SkeletonComesFirstWhereItShowsThrough) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  FigureInstance& instance = scene.figures[0];
  instance.showSkeleton = true;
  const Camera camera = looking(instance);
  for (const int joint : drawnJoints(*instance.figure)) {
    const Vec3d at = apply(instance.placement, poseOf(instance)[joint].translation);
    const Projected p = project(camera, 800, 600, at);
    const auto hit = pick(scene, camera, 800, 600, p.x, p.y);
    ASSERT_TRUE(hit);
    EXPECT_EQ(hit->mesh, -1);
    // Joints may lie on one another in the picture; the one found is as near to the pixel.
    const Projected found = project(camera, 800, 600, apply(instance.placement, poseOf(instance)[hit->joint].translation));
    EXPECT_LT(std::hypot(found.x - p.x, found.y - p.y), 4.5);
  }
}

TEST(RenderPick, ACacheChangesNothingAndSparesTheSkinning) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  const Camera camera = looking(scene.figures[0]);
  PickCache cache;
  const auto sweep = [&] {
    int hits = 0;
    for (int y = 5; y < 600; y += 14)
      for (int x = 5; x < 800; x += 14) {
        const auto plain = pick(scene, camera, 800, 600, x, y), kept = pick(scene, camera, 800, 600, x, y, {}, &cache);
        EXPECT_EQ(plain.has_value(), kept.has_value()) << x << ' ' << y;
        if (!plain || !kept) continue;
        ++hits;
        EXPECT_EQ(plain->joint, kept->joint);
        EXPECT_EQ(plain->depth, kept->depth);
      }
    return hits;
  };
  EXPECT_GT(sweep(), 20);
  EXPECT_EQ(cache.skinned(), 1) << "once for all of them";
  // Another pose, and one that is the same again.
  std::vector<Affined> pose(poseOf(scene.figures[0]).begin(), poseOf(scene.figures[0]).end());
  for (Affined& joint : pose) joint.translation.x += 0.2;
  scene.figures[0].jointWorld = pose;
  EXPECT_GT(sweep(), 20);
  EXPECT_EQ(cache.skinned(), 2);
  scene.figures[0].jointWorld = {};
  sweep();
  EXPECT_EQ(cache.skinned(), 2) << "the first one is still there";
}

TEST(RenderPick, HiddenMeshesAreNotHit) {
  const auto figure = plate(1);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  Camera camera;
  camera.target = {0, 1, 0};
  camera.pitch = 1.2;
  EXPECT_TRUE(pick(scene, camera, 400, 400, 200, 200));
  const std::uint8_t hidden[] = {1};
  scene.figures[0].hiddenMeshes = hidden;
  EXPECT_FALSE(pick(scene, camera, 400, 400, 200, 200));
}

TEST(RenderBounds, FollowTheUnitOfTheFile) {
  const auto metres = stickCharacter(1), other = stickCharacter(100);
  ASSERT_TRUE(metres && other);
  FigureInstance a = onStage(metres), b = onStage(other);
  b.placement = Affined(toMatrix(Quatd{}) * (1 / 100.0), {});
  if (other->space.metresPerUnit != 1) b.placement = other->space.toWorld();
  const Vec3d sizeA = boundsOf(a).size(), sizeB = boundsOf(b).size();
  EXPECT_GT(sizeA.y, 1.2);
  EXPECT_NEAR(sizeA.y / sizeB.y, sizeA.x / sizeB.x, 1e-3);
}

TEST(RenderShadow, TightWhereItStandsAndSoftWhereItFloats) {
  const auto shadowAt = [](float height) {
    FigureInstance instance = onStage(plate(height));
    return groundShadow(std::span<const FigureInstance>(&instance, 1), 0);
  };
  const auto darkness = [](const ShadowMap& map, double x, double z) {
    const int i = static_cast<int>((x - map.x) / map.sizeX * map.width), j = static_cast<int>((z - map.z) / map.sizeZ * map.height);
    return i < 0 || j < 0 || i >= map.width || j >= map.height ? 0 : static_cast<int>(map.darkness[static_cast<std::size_t>(j) * map.width + i]);
  };
  const ShadowMap standing = shadowAt(0.002f), floating = shadowAt(0.2f), high = shadowAt(5);
  EXPECT_GT(darkness(standing, 0, 0), darkness(floating, 0, 0) + 20);
  EXPECT_LT(darkness(standing, 0.16, 0), 10);                              // beside the plate: clear
  EXPECT_GT(darkness(floating, 0.16, 0), darkness(standing, 0.16, 0));     // the soft one reaches further
  EXPECT_EQ(high.width, 0);
}

TEST(RenderLettering, KnowsPrintableAsciiAndStaysOnTheLine) {
  for (char c = ' '; c < 127; ++c) {
    const std::string text(1, c);
    const float width = strokeTextWidth(text);
    for (const StrokeLine& line : strokeText(text)) {
      ASSERT_FALSE(line.empty());
      for (const Vec2f p : line) {
        EXPECT_GE(p.x, -0.1f) << c;
        EXPECT_LE(p.x, width + 0.1f) << c;
        EXPECT_GE(p.y, -0.45f) << c;
        EXPECT_LE(p.y, 1.25f) << c;
      }
    }
    EXPECT_EQ(strokeText(text).empty(), c == ' ');
  }
  EXPECT_FALSE(strokeText("\xff\xe2\x82").empty());  // broken UTF-8 shows boxes
}

TEST(RenderPicture, PngReadsBackAsItWas) {
  Picture picture(7, 5);
  for (std::size_t i = 0; i < picture.rgba.size(); ++i) picture.rgba[i] = static_cast<std::uint8_t>(i * 37);
  const auto bytes = encodePng(picture);
  auto back = decodePicture(bytes, "here");
  ASSERT_TRUE(back.ok());
  EXPECT_EQ(back->width, 7);
  EXPECT_EQ(back->rgba, picture.rgba);
  auto broken = bytes;
  broken.resize(broken.size() / 2);
  EXPECT_FALSE(decodePicture(broken, "here").ok());
  EXPECT_FALSE(decodePicture({}, "here").ok());
  const auto error = decodePicture({'G', 'I', 'F', '8'}, "sail.gif");
  ASSERT_FALSE(error.ok());
  EXPECT_NE(error.error().text().find("sail.gif"), std::string::npos);
}

class RenderOffscreen : public ::testing::Test {
 protected:
  void SetUp() override {
    auto made = OffscreenContext::create();
    if (!made) GTEST_SKIP() << made.error().text();
    context = std::move(*made);
  }
  /// Share of pixels that differ between two pictures.
  static double different(const Picture& a, const Picture& b) {
    std::size_t count = 0;
    for (std::size_t i = 0; i < a.rgba.size(); i += 4) {
      int worst = 0;
      for (int k = 0; k < 3; ++k) worst = std::max(worst, std::abs(a.rgba[i + k] - b.rgba[i + k]));
      if (worst > 6) ++count;
    }
    return static_cast<double>(count) * 4 / static_cast<double>(a.rgba.size());
  }
  std::unique_ptr<OffscreenContext> context;
};

TEST_F(RenderOffscreen, TheFigureAppearsWhereTheCameraSeesIt) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  const Camera camera = looking(scene.figures[0]);
  StageStyle style;
  style.background = Colour{0, 0, 0, 0};
  for (const int samples : {1, 4}) {
    style.samples = samples;
    const auto picture = context->render(scene, camera, style, 400, 300);
    ASSERT_TRUE(picture.ok()) << picture.error().text();
    // A pixel is opaque exactly where picking hits the skin, but for the outline.
    int wrong = 0, covered = 0;
    for (int y = 2; y < 300; y += 5) {
      for (int x = 2; x < 400; x += 5) {
        const bool hit = pick(scene, camera, 400, 300, x + 0.5, y + 0.5).has_value();
        const bool drawn = picture->at(x, y)[3] > 127;
        covered += hit;
        wrong += hit != drawn;
      }
    }
    EXPECT_GT(covered, 100);
    EXPECT_LE(wrong, covered / 20) << "samples " << samples;
  }
}

TEST_F(RenderOffscreen, EveryPartOfTheStageIsDrawn) {
  const auto figure = stickCharacter();
  ASSERT_TRUE(figure);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  const Camera camera = looking(scene.figures[0]);
  const auto draw = [&](const Scene& s, const StageStyle& style) { return *context->render(s, camera, style, 400, 300); };
  StageStyle style;
  const Picture plain = draw(scene, style);
  StageStyle without = style;
  without.grid = false;
  EXPECT_GT(different(plain, draw(scene, without)), 0.002);
  without = style;
  without.shadows = false;
  EXPECT_GT(different(plain, draw(scene, without)), 0.002);
  without = style;
  without.theme = Theme::light;
  EXPECT_GT(different(plain, draw(scene, without)), 0.5);
  Scene more = scene;
  more.figures[0].showSkeleton = true;
  const Picture skeleton = draw(more, style);
  EXPECT_GT(different(plain, skeleton), 0.002);
  const int chosen[] = {drawnJoints(*scene.figures[0].figure)[2]};
  more.figures[0].selectedJoints = chosen;
  EXPECT_GT(different(skeleton, draw(more, style)), 0.0005);
  more = scene;
  more.figures[0].meshAlpha = 0.3f;
  EXPECT_GT(different(plain, draw(more, style)), 0.01);
  more = scene;
  const std::vector<Vec3d> path{{-0.5, 0.5, 0.3}, {0, 1, 0.4}, {0.5, 0.5, 0.3}};
  more.trails.push_back({path, stagePalette(Theme::dark).next});
  more.marks.push_back({{0, 1.2, 0}, stagePalette(Theme::dark).flaw, 12, true});
  const Picture marked = draw(more, style);
  EXPECT_GT(different(plain, marked), 0.002);
  StageStyle bare = style;
  bare.bare = true;
  EXPECT_EQ(different(draw(more, bare), draw(scene, bare)), 0);
}

TEST_F(RenderOffscreen, TwiceTheSamePictureIsTheSame) {
  Scene scene;
  scene.figures.push_back(onStage(plate(0.3f)));
  const Camera camera = looking(scene.figures[0]);
  const auto a = context->render(scene, camera, {}, 300, 200), b = context->render(scene, camera, {}, 300, 200);
  ASSERT_TRUE(a.ok() && b.ok());
  EXPECT_EQ(a->rgba, b->rgba);
}

TEST_F(RenderOffscreen, ImpossibleSizesAreRefused) {
  EXPECT_FALSE(context->render({}, {}, {}, 0, 100).ok());
  EXPECT_FALSE(context->render({}, {}, {}, 100, 1 << 28).ok());
  EXPECT_TRUE(context->render({}, {}, {}, 1, 1).ok());
}

TEST_F(RenderOffscreen, ThousandsOfJointsDraw) {
  auto figure = std::make_shared<Figure>();
  Skin skin;
  Mesh mesh;
  mesh.skin = 0;
  mesh.node = 0;
  mesh.influenceStart.push_back(0);
  for (int j = 0; j < 3000; ++j) {
    skin.joints.push_back(figure->skeleton.add("link", -1, {{0.001 * j, 0, 0}, {}, {1, 1, 1}}, j));
    skin.inverseBind.push_back({});
    for (const Vec3f p : {Vec3f{0, 0.2f, 0}, Vec3f{0.002f, 0.2f, 0}, Vec3f{0, 1, 0}}) {
      mesh.indices.push_back(static_cast<std::uint32_t>(mesh.positions.size()));
      mesh.positions.push_back(p);
      mesh.influenceJoint.push_back(static_cast<std::uint16_t>(j));
      mesh.influenceWeight.push_back(1);
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceWeight.size()));
    }
  }
  figure->skins.push_back(skin);
  figure->meshes.push_back(mesh);
  Scene scene;
  scene.figures.push_back(onStage(figure));
  Camera camera;
  camera.yaw = 0, camera.pitch = 0;
  camera = framed(camera, boundsOf(scene.figures[0]), 1, 0.1);
  StageStyle style;
  style.background = Colour{0, 0, 0, 0};
  const auto picture = context->render(scene, camera, style, 300, 300);
  ASSERT_TRUE(picture.ok());
  const Projected last = project(camera, 300, 300, {2.9, 0.3, 0});
  EXPECT_GT(picture->at(static_cast<int>(last.x), static_cast<int>(last.y))[3], 100);
}

}  // namespace
}  // namespace understudy
