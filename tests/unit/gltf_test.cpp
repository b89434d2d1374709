// The glTF reader on small files made here.
#include "core/io/gltf_node.h"

#include <gtest/gtest.h>

#include <cmath>

#include "core/io/gltf_file.h"
#include "core/io/read.h"
#include "tests/support/tiny_gltf.h"

namespace understudy {
namespace {

using test::Folder;
using test::packed;
using test::save;
using test::TinyGltf;

Result<Figure> read(const std::string& bytes, const ReadSettings& settings = {}, const std::string& name = "keeper.glb") {
  const Folder folder;
  save(folder / name, bytes);
  return readGltf(folder / name, settings);
}

std::string n(int i) { return std::to_string(i); }

TEST(GltfReader, ReadsNodesSkinMeshAndClip) {
  const Result<Figure> f = read(TinyGltf::standard().glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  EXPECT_EQ(f->format, "glTF 2.0");
  EXPECT_EQ(f->skeleton.names, (std::vector<std::string>{"root", "upper", "lower", "body"}));
  EXPECT_EQ(f->skeleton.parents, (std::vector<int>{-1, 0, 1, 0}));
  EXPECT_EQ(f->skeleton.fileNodes, (std::vector<int>{0, 1, 3, 2}));
  ASSERT_EQ(f->skins.size(), 1U);
  EXPECT_EQ(f->skins[0].joints, (std::vector<int>{1, 2}));
  EXPECT_EQ(f->skins[0].inverseBind[1].translation, (Vec3d{0, -2, 0}));
  ASSERT_EQ(f->meshes.size(), 1U);
  EXPECT_EQ(f->meshes[0].node, 3);
  EXPECT_EQ(f->meshes[0].indices, (std::vector<std::uint32_t>{0, 1, 2}));
  EXPECT_EQ(f->meshes[0].influenceStart, (std::vector<std::uint32_t>{0, 2, 3, 5}));
  ASSERT_EQ(f->clips.size(), 1U);
  EXPECT_EQ(f->clips[0].name, "sweep");
  EXPECT_FALSE(f->clips[0].rateStated);
  // Values are turned from x y z w into w x y z.
  EXPECT_FLOAT_EQ(f->clips[0].curves[0].values[4], 0.70710678F);
  EXPECT_FLOAT_EQ(f->clips[0].curves[0].values[7], 0.70710678F);
  EXPECT_TRUE(f->issues.empty());
}

struct WeightCase {
  int type;
  std::string bytes;
  bool normalised;
};

TEST(GltfReader, WeightsMeanTheSameInEveryFormat) {
  const std::vector<WeightCase> cases{
      {5126, packed<float>({0.2F, 0.8F, 0, 0, 1, 0, 0, 0, 0.4F, 0.6F, 0, 0}), false},
      {5121, packed<std::uint8_t>({51, 204, 0, 0, 255, 0, 0, 0, 102, 153, 0, 0}), true},
      {5123, packed<std::uint16_t>({13107, 52428, 0, 0, 65535, 0, 0, 0, 26214, 39321, 0, 0}), true},
  };
  for (const WeightCase& c : cases) {
    TinyGltf g = TinyGltf::standard();
    const int w = g.accessor(c.bytes, c.type, 3, "VEC4", c.normalised ? R"(,"normalized":true)" : "");
    g.meshes.replace(g.meshes.find("\"WEIGHTS_0\":2"), 13, "\"WEIGHTS_0\":" + n(w));
    const Result<Figure> f = read(g.glb());
    ASSERT_TRUE(f.ok()) << f.error().text();
    const Mesh& mesh = f->meshes[0];
    ASSERT_EQ(mesh.influenceWeight.size(), 5U) << c.type;
    EXPECT_NEAR(mesh.influenceWeight[0], 0.2, 1e-6) << c.type;
    EXPECT_NEAR(mesh.influenceWeight[1], 0.8, 1e-6) << c.type;
    EXPECT_EQ(mesh.influenceWeight[2], 1.0F);
    EXPECT_NEAR(mesh.influenceWeight[4], 0.6, 1e-6) << c.type;
    EXPECT_EQ(mesh.influenceJoint, (std::vector<std::uint16_t>{0, 1, 0, 0, 1}));
  }
}

TEST(GltfReader, EightInfluencesAreKeptAndScaledToOne) {
  TinyGltf g = TinyGltf::standard();
  const int j = g.accessor(packed<std::uint16_t>({1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0}), 5123, 3, "VEC4");
  const int w = g.floats({1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}, "VEC4", 4);
  g.meshes.replace(g.meshes.find("\"JOINTS_0\""), 0, "\"JOINTS_1\":" + n(j) + ",\"WEIGHTS_1\":" + n(w) + ",");
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  const Mesh& mesh = f->meshes[0];
  // Vertex 0: joint 0 half, joint 1 half and one more; the sum 2 is scaled to 1.
  EXPECT_EQ(mesh.influenceStart, (std::vector<std::uint32_t>{0, 2, 4, 6}));
  EXPECT_NEAR(mesh.influenceWeight[0], 0.25, 1e-6);
  EXPECT_NEAR(mesh.influenceWeight[1], 0.75, 1e-6);
  ASSERT_EQ(f->issues.size(), 1U);
  EXPECT_EQ(f->issues[0].severity, Severity::note);
}

TEST(GltfReader, SparseValuesReplaceElements) {
  TinyGltf g = TinyGltf::standard();
  const int indices = g.view(packed<std::uint8_t>({0, 2}));
  const int values = g.view(packed<float>({9, 8, 7, 6, 5, 4}));
  g.accessors[0].insert(g.accessors[0].size() - 1, R"(,"sparse":{"count":2,"indices":{"bufferView":)" + n(indices) +
                                                       R"(,"componentType":5121},"values":{"bufferView":)" + n(values) + "}}");
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  EXPECT_EQ(f->meshes[0].positions, (std::vector<Vec3f>{{9, 8, 7}, {1, 0, 0}, {6, 5, 4}}));
  // Without a view the rest is zero.
  g.accessors[0].replace(g.accessors[0].find("\"bufferView\":0,"), 15, "");
  const Result<Figure> zeros = read(g.glb());
  ASSERT_TRUE(zeros.ok()) << zeros.error().text();
  EXPECT_EQ(zeros->meshes[0].positions, (std::vector<Vec3f>{{9, 8, 7}, {0, 0, 0}, {6, 5, 4}}));
}

TEST(GltfReader, InterleavedAndQuantisedPositions) {
  TinyGltf g = TinyGltf::standard();
  // Signed bytes, normalised, every 4 bytes, first element after 4 bytes.
  g.accessors[0] = R"({"bufferView":)" + n(g.view(packed<std::int8_t>({1, 1, 1, 1, 127, 0, -127, 9, 0, -128, 64, 9, 0, 0, 0}), R"(,"byteStride":4)")) +
                   R"(,"byteOffset":4,"componentType":5120,"normalized":true,"count":3,"type":"VEC3"})";
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  const auto& p = f->meshes[0].positions;
  EXPECT_EQ(p[0], (Vec3f{1, 0, -1}));
  EXPECT_EQ(p[1].y, -1.0F);
  EXPECT_NEAR(p[1].z, 64.0 / 127.0, 1e-6);
  EXPECT_EQ(p[2], (Vec3f{0, 0, 0}));
}

TEST(GltfReader, StripsFansAndMissingIndices) {
  const auto withMode = [](int mode, bool indexed) {
    TinyGltf g;
    g.nodes = R"({"name":"lamp","mesh":0})";
    const int p = g.floats({0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0}, "VEC3", 3);
    const int i = g.accessor(packed<std::uint32_t>({3, 2, 1, 0}), 5125, 4, "SCALAR");
    g.meshes = R"({"primitives":[{"attributes":{"POSITION":)" + n(p) + R"(},"mode":)" + n(mode) + (indexed ? R"(,"indices":)" + n(i) : "") + "}]}";
    return g.glb();
  };
  EXPECT_EQ(read(withMode(5, false))->meshes[0].indices, (std::vector<std::uint32_t>{0, 1, 2, 2, 1, 3}));
  EXPECT_EQ(read(withMode(6, false))->meshes[0].indices, (std::vector<std::uint32_t>{0, 1, 2, 0, 2, 3}));
  EXPECT_EQ(read(withMode(5, true))->meshes[0].indices, (std::vector<std::uint32_t>{3, 2, 1, 1, 2, 0}));
  EXPECT_EQ(read(withMode(4, false))->meshes[0].indices, (std::vector<std::uint32_t>{0, 1, 2}));
  EXPECT_TRUE(read(withMode(1, false))->meshes.empty());
  EXPECT_EQ(read(withMode(5, false))->meshes[0].name, "lamp");
}

TEST(GltfReader, MatrixIsSplit) {
  TinyGltf g;
  // Scale 2, 3, 4, a quarter turn about Y, at 5 6 7; then a mirrored one.
  g.nodes = R"({"matrix":[0,0,-2,0, 0,3,0,0, 4,0,0,0, 5,6,7,1]},{"matrix":[-1,0,0,0, 0,1,0,0, 0,0,1,0, 0,0,0,1]})";
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  const Trsd& rest = f->skeleton.rest[0];
  EXPECT_EQ(rest.translation, (Vec3d{5, 6, 7}));
  EXPECT_NEAR(distance(rest.scale, Vec3d{2, 3, 4}), 0, 1e-12);
  EXPECT_NEAR(angleBetween(rest.rotation, fromAxisAngle(Vec3d{0, 1, 0}, 1.5707963267948966)), 0, 1e-9);
  EXPECT_NEAR(determinant(Affined(f->skeleton.rest[1]).linear), -1, 1e-12);
  EXPECT_TRUE(f->issues.empty());
  g.nodes = R"({"matrix":[1,0,0,0, 0.5,1,0,0, 0,0,1,0, 0,0,0,1]})";
  const Result<Figure> sheared = read(g.glb());
  ASSERT_TRUE(sheared.ok());
  ASSERT_EQ(sheared->issues.size(), 1U);
  EXPECT_EQ(sheared->issues[0].severity, Severity::warning);
}

TEST(GltfReader, CubicStepAndNormalisedCurves) {
  TinyGltf g = TinyGltf::standard();
  const int t = g.floats({0, 2}, "SCALAR", 1);
  // Key values 0 and 1, out-tangent 1, in-tangent −1 on x.
  const int v = g.floats({0, 0, 0, 0, 0, 0, 1, 0, 0, -1, 0, 0, 1, 0, 0, 0, 0, 0}, "VEC3", 3);
  const int q = g.accessor(packed<std::int16_t>({0, 0, 32767, 0, 0, 0, 0, 32767}), 5122, 2, "VEC4", R"(,"normalized":true)");
  g.animations = R"({"channels":[{"sampler":0,"target":{"node":1,"path":"translation"}},{"sampler":1,"target":{"node":3,"path":"rotation"}}],)"
                 R"("samplers":[{"input":)" + n(t) + R"(,"output":)" + n(v) + R"(,"interpolation":"CUBICSPLINE"},{"input":)" + n(t) + R"(,"output":)" + n(q) +
                 R"(,"interpolation":"STEP"}]})";
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  ASSERT_EQ(f->clips[0].curves.size(), 2U);
  float out[4];
  // The specification's spline at a quarter: 0.53125.
  evaluate(f->clips[0].curves[0], 0.5, out);
  EXPECT_NEAR(out[0], 0.53125, 1e-6);
  evaluate(f->clips[0].curves[1], 1.9, out);
  EXPECT_EQ(out[3], 1.0F);
  EXPECT_EQ(f->clips[0].end, 2.0);
}

TEST(GltfReader, RateFollowsFromTheKeys) {
  const auto clipOf = [](std::vector<float> times) {
    Clip clip;
    KeyedCurve curve;
    curve.times = std::move(times);
    clip.start = curve.times.front();
    clip.end = curve.times.back();
    clip.curves.push_back(curve);
    return clip;
  };
  const auto even = [&](double hertz, int count, double start = 0) {
    std::vector<float> t;
    for (int i = 0; i < count; ++i) t.push_back(static_cast<float>(start + i / hertz));
    return t;
  };
  EXPECT_EQ(gltfKeyRate(clipOf(even(24, 60))).rate, (FrameRate{24, 1}));
  EXPECT_EQ(gltfKeyRate(clipOf(even(120, 5000, 1 / 30.0))).rate, (FrameRate{120, 1}));
  EXPECT_EQ(gltfKeyRate(clipOf(even(30000.0 / 1001, 900))).rate, (FrameRate{30000, 1001}));
  EXPECT_TRUE(gltfKeyRate(clipOf(even(60, 10))).certain);
  // Reduced keys on the frames of 24 a second: gaps of 1, 5 and 8 frames.
  EXPECT_EQ(gltfKeyRate(clipOf({0, 1 / 24.F, 6 / 24.F, 14 / 24.F})).rate, (FrameRate{24, 1}));
  EXPECT_FALSE(gltfKeyRate(clipOf({0, 0.1234F, 0.777F})).certain);
  EXPECT_EQ(gltfKeyRate(clipOf({0, 0.5F})).rate, (FrameRate{30, 1}));
  EXPECT_FALSE(gltfKeyRate(clipOf({0, 0.5F})).certain);
  EXPECT_FALSE(gltfKeyRate(clipOf({0})).certain);
}

TEST(GltfReader, ColoursTexturesAndMaterials) {
  TinyGltf g = TinyGltf::standard();
  const int c = g.accessor(packed<std::uint8_t>({255, 0, 51, 0, 255, 255, 255, 0, 0, 0, 0, 0}), 5121, 3, "VEC3", R"(,"normalized":true)", R"(,"byteStride":4)");
  const int uv = g.floats({0, 0, 1, 0, 0, 1}, "VEC2", 2);
  const int picture = g.view("\x89PNG\r\n\x1a\nlamp");
  g.meshes.replace(g.meshes.find("\"JOINTS_0\""), 0, "\"COLOR_0\":" + n(c) + ",\"TEXCOORD_0\":" + n(uv) + ",");
  g.meshes.replace(g.meshes.find("\"indices\""), 0, "\"material\":0,");
  g.more = R"(,"materials":[{"name":"brass","alphaMode":"MASK","alphaCutoff":0.25,"doubleSided":true,"pbrMetallicRoughness":{"baseColorFactor":[0.5,1,1,1],)"
           R"("baseColorTexture":{"index":0,"extensions":{"KHR_texture_transform":{"offset":[0.5,0],"scale":[2,1]}}}}}],"textures":[{"source":0}],)"
           R"("images":[{"bufferView":)" + n(picture) + R"(,"mimeType":"image/png"}])";
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  ASSERT_EQ(f->materials.size(), 1U);
  EXPECT_EQ(f->materials[0].baseColour[0], 0.5F);
  EXPECT_EQ(f->materials[0].alphaCutoff, 0.25F);
  EXPECT_TRUE(f->materials[0].doubleSided);
  ASSERT_EQ(f->images.size(), 1U);
  EXPECT_EQ(f->images[0].bytes.size(), 12U);
  EXPECT_EQ(f->meshes[0].colours[0], (std::array<float, 4>{1, 0, 0.2F, 1}));
  EXPECT_EQ(f->meshes[0].texcoords[1], (Vec2f{2.5F, 0}));
  ReadSettings bones;
  bones.meshes = false;
  EXPECT_TRUE(read(g.glb(), bones)->meshes.empty());
}

TEST(GltfReader, MorphTargetsAndTheirCurves) {
  TinyGltf g = TinyGltf::standard();
  const int d = g.floats({0, 0, 1, 0, 0, 0, 0, 0, 0}, "VEC3", 3);
  const int t = g.floats({0, 1}, "SCALAR", 1), w = g.floats({0, 1}, "SCALAR", 1);
  g.meshes.replace(g.meshes.find("\"indices\""), 0, "\"targets\":[{\"POSITION\":" + n(d) + "}],");
  g.meshes.insert(g.meshes.size() - 1, R"(,"weights":[0.5],"extras":{"targetNames":["blink"]})");
  g.animations = R"({"channels":[{"sampler":0,"target":{"node":2,"path":"weights"}}],"samplers":[{"input":)" + n(t) + R"(,"output":)" + n(w) + "}]}";
  const Result<Figure> f = read(g.glb());
  ASSERT_TRUE(f.ok()) << f.error().text();
  ASSERT_EQ(f->meshes[0].morphs.size(), 1U);
  EXPECT_EQ(f->meshes[0].morphs[0].name, "blink");
  EXPECT_EQ(f->meshes[0].morphWeights, (std::vector<float>{0.5F}));
  EXPECT_EQ(f->clips[0].curves[0].morphCount, 1);
}

TEST(GltfReader, StatedRolesOfBothVersions) {
  TinyGltf g = TinyGltf::standard();
  g.more = R"(,"extensions":{"VRMC_vrm":{"humanoid":{"humanBones":{"hips":{"node":1},"spine":{"node":3}}}}})";
  const Result<Figure> one = read(g.glb());
  ASSERT_TRUE(one.ok());
  EXPECT_EQ(one->statedRoles, (std::vector<std::pair<std::string, int>>{{"hips", 1}, {"spine", 2}}));
  g.more = R"(,"extensions":{"VRM":{"humanoid":{"humanBones":[{"bone":"hips","node":1},{"bone":"leftThumbProximal","node":3}]}}})";
  const Result<Figure> zero = read(g.glb());
  ASSERT_TRUE(zero.ok());
  EXPECT_EQ(zero->statedRoles, (std::vector<std::pair<std::string, int>>{{"hips", 1}, {"leftThumbMetacarpal", 2}}));
}

TEST(GltfReader, BuffersBesideAndInsideTheText) {
  const TinyGltf g = TinyGltf::standard();
  const Folder folder;
  save(folder / "the keeper.bin", g.bin);
  save(folder / "beside.gltf", g.json("\"the%20keeper.bin\""));
  const std::span<const std::uint8_t> bytes(reinterpret_cast<const std::uint8_t*>(g.bin.data()), g.bin.size());
  save(folder / "inside.gltf", "\xEF\xBB\xBF" + g.json("\"data:application/octet-stream;base64," + base64(bytes) + "\""));
  const Result<Figure> whole = read(g.glb()), beside = readGltf(folder / "beside.gltf"), inside = readGltf(folder / "inside.gltf");
  ASSERT_TRUE(whole.ok() && beside.ok() && inside.ok());
  for (const auto* f : {&beside, &inside}) {
    EXPECT_EQ((*f)->meshes[0].positions, whole->meshes[0].positions);
    EXPECT_EQ((*f)->clips[0].curves[0].values, whole->clips[0].curves[0].values);
  }
}

TEST(GltfReader, UpAndUnitCanBeOverridden) {
  ReadSettings settings;
  settings.up = "Z";
  settings.metresPerUnit = 0.01;
  const Result<Figure> f = read(TinyGltf::standard().glb(), settings);
  ASSERT_TRUE(f.ok());
  EXPECT_NEAR(distance(apply(f->space.toWorld(), Vec3d{0, 0, 100}), Vec3d{0, 1, 0}), 0, 1e-12);
  settings.up = "W";
  EXPECT_EQ(read(TinyGltf::standard().glb(), settings).error().fault, Fault::usage);
}

TEST(GltfJson, KnowsWhereValuesStand) {
  JsonText text;
  ASSERT_TRUE(text.parse(R"({ "a" : [1, -2.5e1, "x\u00e9\ud83d\ude00\n"], "b":{}, "a2":null, "t":true })", "here").ok());
  const JsonView a = text.root()["a"];
  EXPECT_EQ(a.size(), 3U);
  EXPECT_EQ(a[1].number(), -25);
  EXPECT_EQ(text.text().substr(a[1].begin(), a[1].end() - a[1].begin()), "-2.5e1");
  EXPECT_EQ(a[2].string(), "x\xC3\xA9\xF0\x9F\x98\x80\n");
  EXPECT_FALSE(text.root()["none"]["deeper"]);
  EXPECT_TRUE(text.root()["t"].boolean());
  EXPECT_EQ(a[1].integer(0), -25);
  for (const char* bad : {"", "{", "[1,]", "{\"a\"}", "01", "1.", "nan", "\"\\x\"", "[1] 2", "1e999", "\"a\nb\"", "{\"a\":1,}", "tru"})
    EXPECT_FALSE(text.parse(bad, "here").ok()) << bad;
  EXPECT_FALSE(text.parse(std::string(100000, '['), "here").ok());
  const Status bad = text.parse("{\n\n\"a\": ?}", "here");
  EXPECT_NE(bad.error().where.find("line 3"), std::string::npos);
  EXPECT_EQ(jsonQuoted("a\"\\\n\xFF"), "\"a\\\"\\\\\\u000a\xEF\xBF\xBD\"");
  EXPECT_EQ(jsonNumber(0.1), "0.1");
  EXPECT_EQ(jsonNumber(-0.0), "0");
}

}  // namespace
}  // namespace understudy
