// Whole files in and out: what is said when it fails, and that nothing half-written stays behind.
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "core/io/read.h"
#include "core/io/write.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

class Bytes : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = (fs::temp_directory_path() / "understudy-bytes-XXXXXX").string();
    ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
    folder = pattern;
  }
  void TearDown() override { fs::remove_all(folder); }
  [[nodiscard]] std::string at(const std::string& name) const { return (folder / name).string(); }
  [[nodiscard]] std::string content(const std::string& name) const {
    const auto bytes = readBytes(at(name));
    return bytes.ok() ? std::string(bytes->begin(), bytes->end()) : "?";
  }
  [[nodiscard]] int entries() const { return static_cast<int>(std::distance(fs::directory_iterator(folder), fs::directory_iterator{})); }
  fs::path folder;
};

TEST_F(Bytes, WrittenBytesReadBack) {
  const std::string all("lamp\0\xFF\n", 7);
  ASSERT_TRUE(writeBytes(at("log"), all).ok());
  EXPECT_EQ(content("log"), all);
  ASSERT_TRUE(writeBytes(at("log"), "").ok());
  EXPECT_EQ(content("log"), "");
  EXPECT_EQ(entries(), 1);
}

TEST_F(Bytes, RightsOfTheReplacedFileStay) {
  ASSERT_TRUE(writeBytes(at("log"), "a").ok());
  ASSERT_EQ(::chmod(at("log").c_str(), 0640), 0);
  ASSERT_TRUE(writeBytes(at("log"), "b").ok());
  EXPECT_EQ(fs::status(at("log")).permissions(), static_cast<fs::perms>(0640));
}

TEST_F(Bytes, ALinkKeepsPointingWhereItDid) {
  ASSERT_TRUE(writeBytes(at("real"), "a").ok());
  fs::create_symlink(at("real"), at("link"));
  ASSERT_TRUE(writeBytes(at("link"), "b").ok());
  EXPECT_TRUE(fs::is_symlink(at("link")));
  EXPECT_EQ(content("real"), "b");
}

TEST_F(Bytes, WritingFailsWithAReason) {
  const auto expectFails = [](const Status& status, const char* what) {
    ASSERT_FALSE(status.ok()) << what;
    EXPECT_EQ(status.error().fault, Fault::output);
    EXPECT_NE(status.error().what.find(what), std::string::npos) << status.error().text();
    EXPECT_FALSE(status.error().todo.empty());
  };
  expectFails(writeBytes(at("missing/log"), "a"), "does not exist");
  expectFails(writeBytes(folder.string(), "a"), "folder, not a file");
  expectFails(writeBytes("", "a"), "No file name");
  expectFails(writeBytes(at(std::string(300, 'x')), "a"), "too long");
  expectFails(writeBytes("/dev/full", "a"), "not enough space");
  if (::geteuid() != 0) {
    fs::permissions(folder, fs::perms::owner_read | fs::perms::owner_exec);
    expectFails(writeBytes(at("log"), "a"), "may not be written");
    fs::permissions(folder, fs::perms::owner_all);
  }
  EXPECT_EQ(entries(), 0);
}

TEST_F(Bytes, AFullDiskLeavesTheOldFile) {
  ASSERT_TRUE(writeBytes(at("log"), "old").ok());
  rlimit before{};
  ASSERT_EQ(::getrlimit(RLIMIT_FSIZE, &before), 0);
  rlimit small = before;
  small.rlim_cur = 1000;
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &small), 0);
  const Status status = writeBytes(at("log"), std::string(5000, 'x'));
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &before), 0);
  ASSERT_FALSE(status.ok());
  EXPECT_EQ(status.error().fault, Fault::output);
  EXPECT_EQ(content("log"), "old");
  EXPECT_EQ(entries(), 1);
}

TEST_F(Bytes, ReadingFailsWithAReason) {
  const auto missing = readBytes(at("missing"));
  ASSERT_FALSE(missing.ok());
  EXPECT_EQ(missing.error().fault, Fault::input);
  EXPECT_NE(missing.error().what.find("no such file"), std::string::npos);
  const auto wrong = readBytes(folder.string());
  ASSERT_FALSE(wrong.ok());
  EXPECT_NE(wrong.error().what.find("folder"), std::string::npos);
}

TEST_F(Bytes, PipesAndDevicesCanBeRead) {
  const auto nothing = readBytes("/dev/null");
  ASSERT_TRUE(nothing.ok());
  EXPECT_TRUE(nothing->empty());
}

TEST_F(Bytes, ReadersAreChosenByContent) {
  const std::string bvh = "HIERARCHY\nROOT keel\n{\nOFFSET 0 0 0\nCHANNELS 1 Xrotation\n}\nMOTION\nFrames: 1\nFrame Time: 0.1\n5\n";
  ASSERT_TRUE(writeBytes(at("clip.fbx"), bvh).ok());
  const auto figure = readFigure(at("clip.fbx"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->format, "BVH");
  const struct {
    const char* name;
    const char* bytes;
    const char* message;
  } bad[] = {{"empty.glb", "", "empty"}, {"notes.txt", "Trim the wick.", "no BVH, glTF, FBX or Collada"}, {"page.html", "<html></html>", "no BVH, glTF"}, {"clip.bvh", "Trim", "HIERARCHY"}};
  for (const auto& b : bad) {
    ASSERT_TRUE(writeBytes(at(b.name), b.bytes).ok());
    const auto wrong = readFigure(at(b.name));
    ASSERT_FALSE(wrong.ok()) << b.name;
    EXPECT_NE(wrong.error().what.find(b.message), std::string::npos) << wrong.error().text();
  }
  EXPECT_FALSE(readFigure(at("missing.bvh")).ok());
  EXPECT_FALSE(readFigure(folder.string()).ok());
}

}  // namespace
}  // namespace understudy
