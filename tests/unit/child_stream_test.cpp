// The stream between the reader process and its parent, and what the parent makes of unit and axes.
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <limits>
#include <random>

#include "core/io/child_space.h"
#include "core/io/figure_stream.h"

namespace understudy {
namespace {

Figure keeper() {
  Figure figure;
  figure.path = "keeper.fbx";
  figure.format = "FBX";
  figure.space = {0.01, fromAxisAngle(Vec3d{1, 0, 0}, -M_PI / 2), "cm", "+Z", true, false};
  figure.skeleton.add("mast", -1, {{0, 90, 0}, {}, {1, 1, 1}}, 0);
  figure.skeleton.add("", 0, {{0, 40, 0}, fromAxisAngle(Vec3d{0, 0, 1}, 0.5), {1, 2, 1}}, 1);
  figure.skeleton.add("mast", 1, {}, 2);
  figure.skins.push_back({"coat", {0, 2}, {Affined{}, Affined{Mat3d{}, {0, -1, 0}}}});
  Mesh mesh;
  mesh.name = "coat";
  mesh.node = 2, mesh.skin = 0, mesh.material = 0;
  mesh.positions = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
  mesh.normals = {{0, 0, 1}, {0, 0, 1}, {0, 0, 1}};
  mesh.texcoords = {{0, 0}, {1, 0}, {0, 1}};
  mesh.colours = {{1, 0, 0, 1}, {0, 1, 0, 1}, {0, 0, 1, 1}};
  mesh.indices = {0, 1, 2};
  mesh.influenceStart = {0, 1, 3, 4};
  mesh.influenceJoint = {0, 0, 1, 1};
  mesh.influenceWeight = {1, 0.25F, 0.75F, 1};
  mesh.morphs = {{"wind", {{0, 0, 1}, {0, 0, 2}, {0, 0, 3}}}};
  mesh.morphWeights = {0.5F};
  figure.meshes.push_back(mesh);
  figure.materials.push_back({"wool", {0.1F, 0.2F, 0.3F, 1}, 0, true, 0.5F});
  figure.images.push_back({"wool.png", "image/png", {1, 2, 3, 4}});
  Clip clip;
  clip.name = "sweep";
  clip.rate = {30000, 1001};
  clip.end = 2;
  clip.curves.push_back({1, CurveTarget::rotation, Interpolation::linear, 0, {0, 2}, {1, 0, 0, 0, 0, 1, 0, 0}});
  figure.clips.push_back(clip);
  Clip sampled;
  sampled.name = "stand";
  sampled.end = 1 / 30.0;
  sampled.sampled = std::make_shared<Motion>(restMotion(figure.skeleton, 2, {30, 1}, {0}));
  figure.clips.push_back(sampled);
  figure.issues.push_back(makeWarning("The lamp is out", "lamp", "Light it"));
  return figure;
}

TEST(FigureStream, ReturnsWhatWentIn) {
  const Figure in = keeper();
  const std::vector<std::uint8_t> bytes = packFigure(in);
  const Result<Figure> out = unpackFigure(bytes);
  ASSERT_TRUE(out.ok()) << out.error().text();
  EXPECT_EQ(out->path, in.path);
  EXPECT_EQ(out->skeleton.names, in.skeleton.names);
  EXPECT_EQ(out->skeleton.parents, in.skeleton.parents);
  EXPECT_EQ(out->skeleton.rest, in.skeleton.rest);
  EXPECT_EQ(out->space.worldFromFile, in.space.worldFromFile);
  EXPECT_FALSE(out->space.upStated);
  EXPECT_EQ(out->skins[0].inverseBind, in.skins[0].inverseBind);
  EXPECT_EQ(out->meshes[0].positions, in.meshes[0].positions);
  EXPECT_EQ(out->meshes[0].influenceWeight, in.meshes[0].influenceWeight);
  EXPECT_EQ(out->meshes[0].morphs[0].positions, in.meshes[0].morphs[0].positions);
  EXPECT_EQ(out->images[0].bytes, in.images[0].bytes);
  EXPECT_TRUE(out->materials[0].doubleSided);
  EXPECT_EQ(out->clips[0].curves[0].values, in.clips[0].curves[0].values);
  ASSERT_TRUE(out->clips[1].sampled);
  EXPECT_EQ(*out->clips[1].sampled, *in.clips[1].sampled);
  EXPECT_EQ(out->issues, in.issues);
  EXPECT_EQ(packFigure(*out), bytes) << "nothing is left out";
}

TEST(FigureStream, CarriesAnError) {
  const Issue issue = makeError(Fault::input, "The file is empty", "keeper.fbx", "Export it again");
  const Result<Figure> out = unpackFigure(packIssue(issue));
  ASSERT_FALSE(out.ok());
  EXPECT_EQ(out.error(), issue);
}

TEST(FigureStream, EveryCutIsNoticed) {
  const std::vector<std::uint8_t> bytes = packFigure(keeper());
  for (std::size_t n = 0; n < bytes.size(); ++n) ASSERT_FALSE(unpackFigure(std::span(bytes).first(n)).ok()) << n;
  std::vector<std::uint8_t> longer = bytes;
  longer.push_back(0);
  EXPECT_FALSE(unpackFigure(longer).ok());
}

TEST(FigureStream, DamagedBytesNeverYieldABrokenFigure) {
  const std::vector<std::uint8_t> bytes = packFigure(keeper());
  std::mt19937 random(7);
  int refused = 0;
  for (int trial = 0; trial < 20000; ++trial) {
    std::vector<std::uint8_t> damaged = bytes;
    for (int k = 0; k <= trial % 3; ++k) damaged[random() % damaged.size()] = static_cast<std::uint8_t>(random());
    const Result<Figure> out = unpackFigure(damaged);
    if (!out)
      ++refused;
    else
      ASSERT_TRUE(checkFigure(*out).ok());
  }
  EXPECT_GT(refused, 1000);
}

TEST(FigureStream, AbsurdCountsAllocateNothing) {
  std::vector<std::uint8_t> bytes = packFigure(keeper());
  // The length of the path is the first count: behind the mark (8), the version (4) and the kind (1).
  const std::uint64_t absurd = std::numeric_limits<std::uint64_t>::max() / 2;
  std::memcpy(bytes.data() + 13, &absurd, sizeof absurd);
  EXPECT_FALSE(unpackFigure(bytes).ok());
}

TEST(CheckFigure, NamesWhatIsWrong) {
  EXPECT_TRUE(checkFigure(keeper()).ok());
  const auto refused = [](auto change) {
    Figure figure = keeper();
    change(figure);
    return !checkFigure(figure).ok();
  };
  EXPECT_TRUE(refused([](Figure& f) { f.skeleton.parents[1] = 2; }));
  EXPECT_TRUE(refused([](Figure& f) { f.skeleton.rest[1].translation.x = std::nan(""); }));
  EXPECT_TRUE(refused([](Figure& f) { f.meshes[0].indices[2] = 3; }));
  EXPECT_TRUE(refused([](Figure& f) { f.meshes[0].influenceJoint[1] = 2; }));
  EXPECT_TRUE(refused([](Figure& f) { f.meshes[0].influenceStart[1] = 4; }));
  EXPECT_TRUE(refused([](Figure& f) { f.meshes[0].skin = 1; }));
  EXPECT_TRUE(refused([](Figure& f) { f.skins[0].joints[0] = -1; }));
  EXPECT_TRUE(refused([](Figure& f) { f.clips[0].curves[0].times = {2, 0}; }));
  EXPECT_TRUE(refused([](Figure& f) { f.clips[0].curves[0].values.pop_back(); }));
  EXPECT_TRUE(refused([](Figure& f) { f.clips[0].rate.den = 0; }));
  EXPECT_TRUE(refused([](Figure& f) { f.space.metresPerUnit = 0; }));
}

/// A body of sticks: hips 0.53, knee 0.285, ankle 0.04, neck 0.87 of the height; arms out to the sides.
Figure sticks(double height, double metresPerUnit) {
  Figure figure;
  figure.space.metresPerUnit = metresPerUnit;
  Skeleton& s = figure.skeleton;
  const auto bone = [&](const char* name, int parent, double x, double y) {
    return s.add(name, parent, {{x * height, y * height, 0}, {}, {1, 1, 1}}, s.size());
  };
  const int scene = bone("scene", -1, 0, 0);
  bone("camera", scene, 30, 2);
  const int hips = bone("hips", scene, 8, 0.53);
  for (double side : {1.0, -1.0})
    bone("toe", bone("ankle", bone("knee", bone("hip", hips, side * 0.06, 0), 0, -0.245), 0, -0.245), 0, -0.02);
  const int neck = bone("neck", bone("spine", hips, 0, 0.15), 0, 0.2);
  bone("head_end", bone("head", neck, 0, 0.03), 0, 0.09);
  for (double side : {1.0, -1.0}) bone("hand", bone("elbow", bone("arm", neck, side * 0.1, -0.05), side * 0.17, 0), side * 0.16, 0);
  return figure;
}

TEST(SettleSpace, KeepsATruthfulUnit) {
  for (double metres : {0.4, 1.7, 2.9, 4.4}) {
    Figure figure = sticks(metres * 100, 0.01);
    figure.space.unitName = "cm";
    ASSERT_TRUE(settleSpace(figure, {}).ok());
    EXPECT_EQ(figure.space.metresPerUnit, 0.01) << metres;
    EXPECT_TRUE(figure.space.unitStated);
    EXPECT_TRUE(figure.issues.empty());
  }
}

TEST(SettleSpace, CorrectsUnitsTakenForOneAnother) {
  struct Case {
    double height, stated, meant;
  };
  for (const Case& c : {Case{1.7, 0.01, 1}, Case{170, 1, 0.01}, Case{1700, 0.01, 0.001}, Case{67, 1, 0.0254}, Case{30, 1, 0.0254 / 0.45},
                        Case{2.9, 0.01, 1}, Case{1.2, 0.01, 1}}) {
    Figure figure = sticks(c.height, c.stated);
    ASSERT_TRUE(settleSpace(figure, {}).ok());
    EXPECT_NEAR(figure.space.metresPerUnit / c.meant, 1, 1e-9) << c.height << " units of " << c.stated << " m";
    EXPECT_FALSE(figure.space.unitStated);
    EXPECT_EQ(figure.issues.size(), 1U);
  }
}

TEST(SettleSpace, SettingsPrevail) {
  Figure figure = sticks(170, 1);
  ReadSettings settings;
  settings.metresPerUnit = 0.02;
  settings.up = "+Z";
  ASSERT_TRUE(settleSpace(figure, settings).ok());
  EXPECT_EQ(figure.space.metresPerUnit, 0.02);
  EXPECT_NEAR(distance(apply(figure.space.toWorld(), Vec3d{0, 0, 1}), Vec3d{0, 0.02, 0}), 0, 1e-12);
  settings.up = "upwards";
  EXPECT_FALSE(settleSpace(figure, settings).ok());
}

}  // namespace
}  // namespace understudy
