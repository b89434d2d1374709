// Animations added to an existing glTF file, and new files from any figure.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "core/io/gltf_file.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "tests/support/tiny_gltf.h"

namespace understudy {
namespace {

using nlohmann::ordered_json;
using test::Folder;
using test::load;
using test::packed;
using test::save;
using test::TinyGltf;

ordered_json jsonOf(const std::string& path) {
  const std::string bytes = load(path);
  if (!bytes.starts_with("glTF")) return ordered_json::parse(bytes);
  std::uint32_t size = 0;
  std::memcpy(&size, bytes.data() + 12, 4);
  return ordered_json::parse(bytes.substr(20, size));
}

/// The document without what was added to the first: lists cut to their old length, new lists removed, and what the
/// container changes about buffers left out.
std::string withoutAdditions(ordered_json json, const ordered_json& before) {
  for (const char* name : {"animations", "accessors", "bufferViews", "buffers"}) {
    if (!json.contains(name)) continue;
    const std::size_t old = before.contains(name) ? before[name].size() : 0;
    while (json[name].size() > old) json[name].erase(json[name].size() - 1);
    if (!before.contains(name)) json.erase(name);
  }
  if (json.contains("buffers"))
    for (auto& buffer : json["buffers"]) buffer.erase("uri"), buffer.erase("byteLength");
  return json.dump();
}

/// A quarter turn of "upper" over 5 frames at 24 a second, "root" travelling; "lower" never changes.
struct Scene {
  Figure figure;
  Motion motion;
  BakedClip clip;

  explicit Scene(const std::string& path) : figure(readGltf(path).value()) {
    motion = restMotion(figure.skeleton, 5, {24, 1}, {0});
    for (int f = 0; f < 5; ++f) {
      // Signs flip on purpose: the file must be continuous all the same.
      const Quatf q = fromAxisAngle(Vec3f{0, 0, 1}, 0.4F * static_cast<float>(f));
      motion.rotationsAt(f)[1] = f % 2 ? -q : q;
      motion.translations[static_cast<std::size_t>(f)] = {0.1F * static_cast<float>(f), 0, 0};
    }
    clip.name = "sweep";
    clip.motion = &motion;
    clip.rotated = {1, 2};
  }
};

/// The written file, read back, shows what was baked.
void expectSameMotion(const Scene& scene, const std::string& path, int offset = 0) {
  const Result<Figure> back = readGltf(path);
  ASSERT_TRUE(back.ok()) << back.error().text();
  const Clip* clip = nullptr;
  for (const Clip& c : back->clips)
    if (c.name.starts_with("sweep") && c.curves.size() == 3) clip = &c;
  ASSERT_TRUE(clip);
  EXPECT_EQ(clip->rate, (FrameRate{24, 1}));
  EXPECT_EQ(clip->start, 0);
  const Result<Motion> m = sample(*clip, back->skeleton);
  ASSERT_TRUE(m.ok());
  ASSERT_EQ(m->frames, 5);
  for (int f = 0; f < 5; ++f) {
    const std::vector<Affined> before = worldAt(scene.figure.skeleton, scene.motion, f), after = worldAt(back->skeleton, *m, f);
    for (int j = 0; j < scene.figure.skeleton.size(); ++j)
      EXPECT_NEAR(distance(before[static_cast<std::size_t>(j)].translation, after[static_cast<std::size_t>(j + offset)].translation), 0, 1e-6);
  }
}

TEST(GltfWriter, AddsToABinaryFileAndTouchesNothingElse) {
  const Folder folder;
  TinyGltf g = TinyGltf::standard();
  g.more = R"(,"extensions":{"SHOP_lamp":{"oil":1.0,"wick":1e-3}},"extras":{"note":"\u00e9 keep"},"extensionsUsed":["SHOP_lamp"])";
  g.bin += "xyz";  // a length that is no multiple of four
  save(folder / "in.glb", g.glb());
  const Scene scene(folder / "in.glb");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").ok());
  const ordered_json before = jsonOf(folder / "in.glb"), after = jsonOf(folder / "out.glb");
  EXPECT_EQ(withoutAdditions(after, before), withoutAdditions(before, before));
  EXPECT_EQ(after["animations"].size(), 2U);
  EXPECT_EQ(after["animations"][1]["name"], "sweep 2");
  EXPECT_NE(load(folder / "out.glb").find(R"("oil":1.0,"wick":1e-3)"), std::string::npos) << "numbers are spelled as they were";
  GltfFile file;
  ASSERT_TRUE(file.open(folder / "out.glb").ok());
  EXPECT_EQ(std::string(reinterpret_cast<const char*>(file.binChunk.data()), g.bin.size()), g.bin);
  expectSameMotion(scene, folder / "out.glb");
}

TEST(GltfWriter, TracksAreContinuousAndConstantOnesHaveOneKey) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  const Scene scene(folder / "in.glb");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").ok());
  const Result<Figure> back = readGltf(folder / "out.glb");
  ASSERT_TRUE(back.ok());
  for (const KeyedCurve& c : back->clips[1].curves) {
    if (c.joint == 2) {
      EXPECT_EQ(c.times.size(), 1U);
    }
    if (c.joint != 1) continue;
    ASSERT_EQ(c.times.size(), 5U);
    for (std::size_t k = 4; k < c.values.size(); k += 4) {
      float d = 0;
      for (std::size_t i = 0; i < 4; ++i) d += c.values[k + i] * c.values[k - 4 + i];
      EXPECT_GT(d, 0);
    }
    EXPECT_EQ(c.times[3], 3.0F / 24.0F);
  }
}

TEST(GltfWriter, ConvertsBetweenContainers) {
  const Folder folder;
  const TinyGltf g = TinyGltf::standard();
  save(folder / "in.glb", g.glb());
  save(folder / "data.bin", g.bin);
  save(folder / "in.gltf", g.json("\"data.bin\""));
  std::filesystem::create_directory(folder / "else");
  for (const char* in : {"in.glb", "in.gltf"})
    for (const char* out : {"out.glb", "out.gltf", "else/out.glb", "else/out.gltf"}) {
      SCOPED_TRACE(std::string(in) + " to " + out);
      const Scene scene(folder / in);
      const Status status = writeIntoOwnGltf(scene.figure, scene.clip, folder / out);
      ASSERT_TRUE(status.ok()) << status.error().text();
      const ordered_json before = jsonOf(folder / in), after = jsonOf(folder / out);
      EXPECT_EQ(withoutAdditions(after, before), withoutAdditions(before, before));
      GltfFile file;
      ASSERT_TRUE(file.open(folder / out).ok());
      ASSERT_TRUE(file.buffers[0].loaded) << file.buffers[0].problem.text();
      EXPECT_EQ(std::string(reinterpret_cast<const char*>(file.buffers[0].bytes.data()), g.bin.size()), g.bin);
      expectSameMotion(scene, folder / out);
    }
}

TEST(GltfWriter, PrettyPrintedTextKeepsItsShape) {
  const Folder folder;
  const TinyGltf g = TinyGltf::standard();
  save(folder / "data.bin", g.bin);
  const std::string text = ordered_json::parse(g.json("\"data.bin\"")).dump(4);
  save(folder / "in.gltf", text);
  const Scene scene(folder / "in.gltf");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.gltf").ok());
  // Every line of the original is still there, in order.
  const std::string out = load(folder / "out.gltf");
  std::size_t at = 0;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    at = out.find(line, at);
    ASSERT_NE(at, std::string::npos) << line;
    at += line.size();
  }
}

TEST(GltfWriter, MatrixIsSplitOnlyWhereTheNodeMoves) {
  const Folder folder;
  TinyGltf g = TinyGltf::standard();
  g.nodes = R"({"name":"root","matrix":[1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1],"children":[1,2,4]},{"name":"upper","extras":{"a":1},"matrix":[0,0,-2,0,0,2,0,0,2,0,0,0,0,1,0,1],"children":[3]},)"
            R"({"name":"body","mesh":0,"skin":0},{"name":"lower","translation":[0,1,0]},{"name":"lamp","matrix":[1,0,0,0,0,1,0,0,0,0,1,0,0,0,9,1]})";
  save(folder / "in.glb", g.glb());
  const Scene scene(folder / "in.glb");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").ok());
  const ordered_json after = jsonOf(folder / "out.glb");
  EXPECT_FALSE(after["nodes"][0].contains("matrix"));
  EXPECT_FALSE(after["nodes"][1].contains("matrix"));
  EXPECT_TRUE(after["nodes"][4].contains("matrix"));
  EXPECT_EQ(after["nodes"][1]["extras"]["a"], 1);
  expectSameMotion(scene, folder / "out.glb");
}

TEST(GltfWriter, NodesThatOnlyShowASkinGetNoTracks) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  Scene scene(folder / "in.glb");
  scene.clip.rotated = {1, 2, 3};
  scene.motion = restMotion(scene.figure.skeleton, 5, {24, 1}, {0, 3});
  ASSERT_EQ(scene.figure.skeleton.names[3], "body");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").ok());
  const ordered_json animation = jsonOf(folder / "out.glb")["animations"][1];
  EXPECT_EQ(animation["channels"].size(), 3U);
  for (const auto& channel : animation["channels"]) EXPECT_NE(channel["target"]["node"], 2);
  scene.clip.rotated = {3};
  scene.motion = restMotion(scene.figure.skeleton, 5, {24, 1}, {3});
  EXPECT_EQ(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").error().fault, Fault::mapping);
}

TEST(GltfWriter, PicturesBesideTheFileGoAlong) {
  const Folder folder;
  TinyGltf g = TinyGltf::standard();
  std::filesystem::create_directories(folder / "art/maps");
  std::filesystem::create_directories(folder / "out");
  std::filesystem::create_directories(folder / "taken/maps");
  save(folder / "art/maps/coat.png", "\x89PNG coat");
  save(folder / "taken/maps/coat.png", "another picture");
  g.more = R"(,"images":[{"uri":"maps/coat.png"}],"textures":[{"source":0}])";
  save(folder / "art/in.glb", g.glb());
  const Scene scene(folder / "art/in.glb");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out/new.glb").ok());
  EXPECT_EQ(load(folder / "out/maps/coat.png"), "\x89PNG coat");
  EXPECT_EQ(jsonOf(folder / "out/new.glb")["images"][0]["uri"], "maps/coat.png");
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "taken/new.glb").ok());
  EXPECT_EQ(load(folder / "taken/maps/coat.png"), "another picture") << "nothing of the artist's is overwritten";
  EXPECT_TRUE(jsonOf(folder / "taken/new.glb")["images"][0]["uri"].get<std::string>().starts_with("data:image/png"));
}

TEST(GltfWriter, RefusesWhatCannotBeWritten) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  Scene scene(folder / "in.glb");
  EXPECT_EQ(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.txt").error().fault, Fault::usage);
  EXPECT_EQ(writeIntoOwnGltf(scene.figure, scene.clip, folder / "none/out.glb").error().fault, Fault::output);
  scene.motion.rotationsAt(3)[1].x = NAN;
  const Status nan = writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb");
  ASSERT_FALSE(nan.ok());
  EXPECT_NE(nan.error().where.find("frame 4"), std::string::npos) << nan.error().text();
  EXPECT_FALSE(std::filesystem::exists(folder / "out.glb"));
  scene.motion.rotationsAt(3)[1] = {};
  TinyGltf other = TinyGltf::standard();
  other.nodes.replace(other.nodes.find("upper"), 5, "UPPER");
  save(folder / "in.glb", other.glb());
  EXPECT_EQ(writeIntoOwnGltf(scene.figure, scene.clip, folder / "out.glb").error().fault, Fault::input);
  BakedClip nothing;
  EXPECT_FALSE(writeIntoOwnGltf(scene.figure, nothing, folder / "out.glb").ok());
}

TEST(GltfWriter, NewFileHoldsMeshSkinAndMotion) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  Scene scene(folder / "in.glb");
  scene.figure.space.metresPerUnit = 0.01;
  scene.figure.space.worldFromFile = fromAxisAngle(Vec3d{1, 0, 0}, -1.5707963267948966);
  ASSERT_TRUE(writeNewGlb(scene.figure, scene.clip, folder / "new.glb").ok());
  const Result<Figure> back = readGltf(folder / "new.glb");
  ASSERT_TRUE(back.ok()) << back.error().text();
  EXPECT_TRUE(back->issues.empty());
  ASSERT_EQ(back->skins.size(), 1U);
  ASSERT_EQ(back->meshes.size(), 1U);
  EXPECT_EQ(back->meshes[0].indices, scene.figure.meshes[0].indices);
  EXPECT_EQ(back->clips.size(), 1U) << "the result alone";
  // The skin stands where the character's own numbers, taken to the world, say.
  const auto own = skinnedPositions(scene.figure, scene.figure.meshes[0], worldAt(scene.figure.skeleton, scene.motion, 3));
  const Result<Motion> m = sample(back->clips[0], back->skeleton);
  ASSERT_TRUE(m.ok());
  const auto now = skinnedPositions(*back, back->meshes[0], worldAt(back->skeleton, *m, 3));
  for (std::size_t v = 0; v < own.size(); ++v)
    EXPECT_NEAR(distance(Vec3d(now[v]), apply(scene.figure.space.toWorld(), Vec3d(own[v]))), 0, 1e-6);
  ASSERT_TRUE(writeAnimationGlb(scene.figure, scene.clip, folder / "bones.glb").ok());
  const Result<Figure> bones = readGltf(folder / "bones.glb");
  ASSERT_TRUE(bones.ok());
  EXPECT_TRUE(bones->meshes.empty() && bones->skins.empty());
  EXPECT_EQ(bones->clips.size(), 1U);
}

TEST(GltfWriter, WhatIsLeftBesideCurvesHoldsAsLongAsTheyAreTheSame) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  Scene scene(folder / "in.glb");
  scene.clip.history = "{\"left\":[1,\"a\\\"b\"]}";
  for (const bool own : {true, false}) {
    const std::string path = folder / (own ? "own.glb" : "new.glb");
    ASSERT_TRUE((own ? writeIntoOwnGltf(scene.figure, scene.clip, path) : writeNewGlb(scene.figure, scene.clip, path)).ok());
    const Figure read = readGltf(path).value();
    ASSERT_TRUE(read.clips.back().history);
    EXPECT_EQ(*read.clips.back().history, scene.clip.history);
    EXPECT_EQ(defaultClip(read), static_cast<int>(read.clips.size()) - 1);
    // The last number of the file is one of the animation's.
    std::string bytes = load(path);
    bytes[bytes.size() - 2] = static_cast<char>(bytes[bytes.size() - 2] ^ 1);
    save(folder / "changed.glb", bytes);
    const Figure changed = readGltf(folder / "changed.glb").value();
    EXPECT_FALSE(changed.clips.back().history);
    EXPECT_FALSE(changed.issues.empty());
  }
  scene.clip.history.clear();
  ASSERT_TRUE(writeIntoOwnGltf(scene.figure, scene.clip, folder / "none.glb").ok());
  EXPECT_FALSE(readGltf(folder / "none.glb").value().clips.back().history);
}

}  // namespace
}  // namespace understudy
