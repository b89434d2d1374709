// Damaged glTF files: always a message or a sound figure, never a crash.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

#include "core/io/read.h"
#include "core/io/write.h"
#include "tests/support/tiny_gltf.h"

namespace understudy {
namespace {

using test::Folder;
using test::packed;
using test::save;
using test::TinyGltf;

/// What every figure that is handed out must keep.
void expectSound(const Figure& f) {
  const auto joints = static_cast<std::size_t>(f.skeleton.size());
  ASSERT_EQ(f.skeleton.rest.size(), joints);
  for (std::size_t j = 0; j < joints; ++j) {
    ASSERT_LT(f.skeleton.parents[j], static_cast<int>(j));
    ASSERT_TRUE(isFinite(f.skeleton.rest[j].translation) && isFinite(f.skeleton.rest[j].rotation) && isFinite(f.skeleton.rest[j].scale));
  }
  for (const Skin& s : f.skins) {
    ASSERT_EQ(s.joints.size(), s.inverseBind.size());
    for (int j : s.joints) ASSERT_LT(static_cast<std::size_t>(j), joints);
  }
  for (const Mesh& m : f.meshes) {
    const std::size_t n = m.positions.size();
    for (std::uint32_t i : m.indices) ASSERT_LT(i, n);
    for (const Vec3f& p : m.positions) ASSERT_TRUE(isFinite(p));
    ASSERT_TRUE(m.material < static_cast<int>(f.materials.size()) && m.skin < static_cast<int>(f.skins.size()) && m.node < static_cast<int>(joints));
    if (m.skin < 0) continue;
    ASSERT_EQ(m.influenceStart.size(), n + 1);
    ASSERT_EQ(m.influenceStart.back(), m.influenceJoint.size());
    for (std::size_t v = 0; v < n; ++v) {
      double sum = 0;
      for (std::uint32_t k = m.influenceStart[v]; k < m.influenceStart[v + 1]; ++k) {
        sum += m.influenceWeight[k];
        ASSERT_LT(m.influenceJoint[k], f.skins[static_cast<std::size_t>(m.skin)].joints.size());
      }
      ASSERT_NEAR(sum, 1, 1e-4);
    }
  }
  for (const Clip& c : f.clips)
    for (const KeyedCurve& k : c.curves) {
      ASSERT_LT(static_cast<std::size_t>(k.joint), joints);
      for (float v : k.values) ASSERT_TRUE(std::isfinite(v));
    }
}

void expectMessageOrSound(const std::string& path) {
  const Result<Figure> f = readGltf(path);
  if (f.ok()) {
    expectSound(*f);
  } else {
    EXPECT_FALSE(f.error().what.empty());
    EXPECT_FALSE(f.error().where.empty());
    EXPECT_FALSE(f.error().todo.empty());
  }
}

std::string message(const std::string& bytes) {
  const Folder folder;
  save(folder / "in.glb", bytes);
  const Result<Figure> f = readGltf(folder / "in.glb");
  if (f.ok()) return "read";
  EXPECT_EQ(f.error().fault, Fault::input);
  EXPECT_FALSE(f.error().todo.empty());
  return f.error().text();
}

std::string changed(TinyGltf g, const std::string& from, const std::string& to) {
  std::string json = g.json();
  const std::size_t at = json.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  if (at != std::string::npos) json.replace(at, from.size(), to);
  return test::glbOf(json, g.bin);
}

TEST(GltfRobust, TruncationGivesAMessage) {
  const Folder folder;
  const std::string glb = TinyGltf::standard().glb();
  for (std::size_t size = 0; size < glb.size(); size += size < 40 || size + 8 > glb.size() ? 1 : 7) {
    save(folder / "cut.glb", std::string_view(glb).substr(0, size));
    EXPECT_FALSE(readGltf(folder / "cut.glb").ok()) << size;
  }
  const TinyGltf g = TinyGltf::standard();
  save(folder / "data.bin", g.bin);
  const std::string text = g.json("\"data.bin\"");
  for (std::size_t size = 0; size < text.size(); size += size < 10 || size + 8 > text.size() ? 1 : 7) {
    save(folder / "cut.gltf", std::string_view(text).substr(0, size));
    EXPECT_FALSE(readGltf(folder / "cut.gltf").ok()) << size;
  }
  save(folder / "data.bin", std::string_view(g.bin).substr(0, 20));
  save(folder / "in.gltf", text);
  const Result<Figure> f = readGltf(folder / "in.gltf");
  ASSERT_FALSE(f.ok());
  EXPECT_NE(f.error().text().find("cut off"), std::string::npos) << f.error().text();
}

TEST(GltfRobust, ChangedBytesNeverCrash) {
  const Folder folder;
  const TinyGltf g = TinyGltf::standard();
  save(folder / "data.bin", g.bin);
  std::mt19937 random(20);
  for (const std::string& whole : {g.glb(), g.json("\"data.bin\"")})
    for (int round = 0; round < 800; ++round) {
      std::string bytes = whole;
      for (int k = 0; k < 1 + round % 4; ++k) {
        const std::size_t at = random() % bytes.size();
        // Half of the changes keep the text readable, so that they get further than the parser.
        bytes[at] = round % 2 ? static_cast<char>(random() & 255) : "0123456789-,[]{}\":e."[random() % 20];
      }
      save(folder / "in.gltf", bytes);
      expectMessageOrSound(folder / "in.gltf");
      if (HasFatalFailure()) FAIL() << "seed 20, round " << round;
    }
}

TEST(GltfRobust, WhatIsWrongIsSaid) {
  const TinyGltf g = TinyGltf::standard();
  ASSERT_EQ(message(g.glb()), "read");
  const std::vector<std::array<std::string, 3>> cases{
      {"\"children\":[3]", "\"children\":[99]", "node 1"},
      {"\"children\":[3]", "\"children\":[1]", "its own child"},
      {"\"children\":[3]", "\"children\":[2]", "two parents"},
      {"\"joints\":[1,3]", "\"joints\":[1,44]", "skin 0"},
      {"\"joints\":[1,3]", "\"joints\":[]", "no joints"},
      {"\"joints\":[1,3]", "\"joints\":[1,3,0]", "inverse bind"},
      {"\"joints\":[1,3]", "\"joints\":[1]", "names joint 1"},
      {"\"mesh\":0", "\"mesh\":7", "mesh 7"},
      {"\"skin\":0", "\"skin\":-1", "skin"},
      {"\"count\":3", "\"count\":4000000000", "absurd"},
      {"\"count\":3", "\"count\":2000000000", "do not fit"},
      {"\"count\":3", "\"count\":-3", "absurd"},
      {"\"count\":3", "\"count\":1e300", "absurd"},
      {"\"bufferView\":0", "\"bufferView\":900", "accessor 0"},
      {"\"componentType\":5126", "\"componentType\":5124", "accessor 0"},
      {"\"byteOffset\":0", "\"byteOffset\":9999999", "outside its buffer"},
      {"\"byteOffset\":0", "\"byteOffset\":-4", "outside its buffer"},
      {"\"buffer\":0", "\"buffer\":3", "buffer"},
      {"\"indices\":3", "\"indices\":33", "accessor 33"},
      {"\"sampler\":0", "\"sampler\":5", "sampler"},
      {"\"node\":1", "\"node\":77", "animation 0"},
      {"\"version\":\"2.0\"", "\"version\":\"1.0\"", "version 1.0"},
      {"\"translation\":[0,1,0]", "\"translation\":[0,1e200,0]", "node 1"},
      {"\"translation\":[0,1,0]", "\"translation\":[0,\"a\",0]", "node 1"},
      {"\"translation\":[0,1,0]", "\"matrix\":[0,1,0]", "16"},
      {"\"nodes\":[0]", "\"nodes\":[12]", "scene"},
  };
  for (const auto& [from, to, words] : cases) {
    const std::string text = message(changed(g, from, to));
    EXPECT_NE(text.find(words), std::string::npos) << to << ": " << text;
  }
}

TEST(GltfRobust, CyclesAreFound) {
  TinyGltf g;
  g.nodes = R"({"name":"a","children":[1]},{"name":"b","children":[2]},{"name":"c","children":[1]})";
  EXPECT_NE(message(g.glb()).find("two parents"), std::string::npos);
  g.nodes = R"({"name":"a"},{"name":"b","children":[2]},{"name":"c","children":[1]})";
  EXPECT_NE(message(g.glb()).find("its own ancestor"), std::string::npos);
  g.nodes.clear();
  EXPECT_NE(message(g.glb()).find("no nodes"), std::string::npos);
}

TEST(GltfRobust, NumbersThatAreNotFinite) {
  const auto poisoned = [](int view) {
    TinyGltf g = TinyGltf::standard();
    const std::string at = g.views[static_cast<std::size_t>(view)];
    const std::size_t offset = std::stoul(at.substr(at.find("byteOffset\":") + 12));
    const float nan = NAN;
    std::memcpy(g.bin.data() + offset + 4, &nan, 4);
    return message(g.glb());
  };
  EXPECT_NE(poisoned(0).find("vertex position"), std::string::npos);
  EXPECT_NE(poisoned(2).find("weight of vertex 0"), std::string::npos);
  EXPECT_NE(poisoned(4).find("inverse bind matrix of joint 0"), std::string::npos);
  EXPECT_NE(poisoned(5).find("key's time"), std::string::npos);
  EXPECT_NE(poisoned(6).find("key's value"), std::string::npos);
}

TEST(GltfRobust, AbsurdLengthsAndCompression) {
  TinyGltf g = TinyGltf::standard();
  const int t = g.floats({0, 1e9F}, "SCALAR", 1);
  g.animations.replace(g.animations.find("\"input\":5"), 9, "\"input\":" + std::to_string(t));
  EXPECT_NE(message(g.glb()).find("absurd"), std::string::npos);
  g = TinyGltf::standard();
  EXPECT_NE(message(changed(g, "\"indices\":3", R"("extensions":{"KHR_draco_mesh_compression":{}},"mode":4)")), "");
  g.accessors[0].replace(g.accessors[0].find("\"bufferView\":0,"), 15, "");
  EXPECT_NE(message(changed(g, "\"indices\":3", R"("extensions":{"KHR_draco_mesh_compression":{}},"mode":4)")).find("compress"), std::string::npos);
}

TEST(GltfRobust, WrongFiles) {
  const Folder folder;
  EXPECT_EQ(readGltf(folder / "none.glb").error().fault, Fault::input);
  EXPECT_FALSE(readGltf(folder / "").ok());
  save(folder / "text.gltf", "HIERARCHY\nROOT hips\n");
  EXPECT_NE(readGltf(folder / "text.gltf").error().what.find("no glTF"), std::string::npos);
  save(folder / "json.gltf", "{\"lamp\":[1,2]}");
  EXPECT_NE(readGltf(folder / "json.gltf").error().what.find("no glTF"), std::string::npos);
  save(folder / "lost.gltf", TinyGltf::standard().json("\"lost.bin\""));
  const Result<Figure> lost = readGltf(folder / "lost.gltf");
  ASSERT_FALSE(lost.ok());
  EXPECT_NE(lost.error().text().find("lost.bin"), std::string::npos);
}

TEST(GltfRobust, AFailedWriteLeavesNothing) {
  const Folder folder;
  save(folder / "in.glb", TinyGltf::standard().glb());
  const Result<Figure> figure = readGltf(folder / "in.glb");
  ASSERT_TRUE(figure.ok());
  const Motion motion = restMotion(figure->skeleton, 4, {30, 1}, {0});
  BakedClip clip;
  clip.motion = &motion;
  clip.rotated = {1};
  std::stop_source stop;
  stop.request_stop();
  RunControl control;
  control.stop = stop.get_token();
  for (const auto write : {writeIntoOwnGltf, writeNewGlb, writeAnimationGlb}) {
    EXPECT_EQ(write(*figure, clip, folder / "out.glb", control).error().fault, Fault::cancelled);
    EXPECT_FALSE(std::filesystem::exists(folder / "out.glb"));
    EXPECT_EQ(write(*figure, clip, folder / "no/out.glb", {}).error().fault, Fault::output);
  }
  save(folder / "in.glb", "glTF");
  EXPECT_EQ(writeIntoOwnGltf(*figure, clip, folder / "out.glb").error().fault, Fault::input);
  EXPECT_FALSE(std::filesystem::exists(folder / "out.glb"));
}

}  // namespace
}  // namespace understudy
