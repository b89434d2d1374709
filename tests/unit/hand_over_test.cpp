// Which writer is chosen, and what is refused.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "core/io/read.h"
#include "core/io/write.h"

namespace understudy {
namespace {

class HandOver : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (std::filesystem::temp_directory_path() / "understudy-hand-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder = pattern;
    figure.format = "BVH";
    figure.skeleton.add("keel", -1, Trsd{}, 0);
    figure.skeleton.add("mast", 0, Trsd{{0, 1, 0}, {}, {1, 1, 1}}, 1);
    motion = restMotion(figure.skeleton, 3, {30, 1}, {0});
    clip.motion = &motion;
    clip.rotated = {0, 1};
  }
  void TearDown() override { std::filesystem::remove_all(folder); }
  [[nodiscard]] std::string at(const std::string& name) const { return (folder / name).string(); }
  void expectRefused(const Status& status, Fault fault, const char* message) {
    ASSERT_FALSE(status.ok());
    EXPECT_EQ(status.error().fault, fault);
    EXPECT_NE(status.error().text().find(message), std::string::npos) << status.error().text();
  }
  std::filesystem::path folder;
  Figure figure;
  Motion motion;
  BakedClip clip;
};

TEST_F(HandOver, TheEndingChoosesTheFormat) {
  for (const char* name : {"out.bvh", "OUT.BVH"}) {
    const Status status = handOver(figure, clip, at(name));
    ASSERT_TRUE(status.ok()) << status.error().text();
    const auto back = readFigure(at(name));
    ASSERT_TRUE(back.ok());
    EXPECT_EQ(back->format, "BVH");
    EXPECT_EQ(back->clips[0].frames(), 3);
  }
  ASSERT_TRUE(handOver(figure, clip, at("out.csv")).ok());
  const auto table = readBytes(at("out.csv"));
  ASSERT_TRUE(table.ok());
  EXPECT_TRUE(std::string(table->begin(), table->end()).starts_with("frame,time,joint"));
  for (const bool only : {false, true}) {
    const Status status = handOver(figure, clip, at("out.glb"), only);
    ASSERT_TRUE(status.ok()) << status.error().text();
    const auto back = readFigure(at("out.glb"));
    ASSERT_TRUE(back.ok()) << back.error().text();
    EXPECT_TRUE(back->format.starts_with("glTF"));
  }
}

TEST_F(HandOver, OtherEndingsNameTheChoices) {
  expectRefused(handOver(figure, clip, at("out.xyz")), Fault::usage, ".glb, .gltf, .bvh or .csv");
  expectRefused(handOver(figure, clip, at("out")), Fault::usage, ".glb, .gltf, .bvh or .csv");
  expectRefused(handOver(figure, clip, at("out.gltf")), Fault::usage, ".glb");
  EXPECT_TRUE(std::filesystem::is_empty(folder));
}

TEST_F(HandOver, TheCharactersOwnFileIsNotOverwritten) {
  ASSERT_TRUE(handOver(figure, clip, at("keeper.bvh")).ok());
  figure.path = at("keeper.bvh");
  expectRefused(handOver(figure, clip, (folder / "." / "keeper.bvh").string()), Fault::output, "own file");
}

TEST_F(HandOver, AFailureLeavesNothing) {
  expectRefused(handOver(figure, clip, at("missing/out.bvh")), Fault::output, "does not exist");
  std::filesystem::create_symlink("/dev/full", at("full.csv"));
  expectRefused(handOver(figure, clip, at("full.csv")), Fault::output, "not enough space");
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder), std::filesystem::directory_iterator{}), 1);
}

}  // namespace
}  // namespace understudy
