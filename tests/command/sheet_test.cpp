#include <gtest/gtest.h>
#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "render/offscreen.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

using Json = nlohmann::json;

struct Ran {
  int code = -1;
  std::string out, err;
};

/// Runs the program without a display.
Ran runSheet(const TemporaryFolder& folder, const std::string& words, const std::string& environment = {}) {
  const std::string out = folder.file("stdout"), err = folder.file("stderr");
  const std::string line = "env -u DISPLAY -u WAYLAND_DISPLAY " + environment + " '" UNDERSTUDY_BINARY "/bin/understudy-cli' sheet " + words + " >'" + out + "' 2>'" + err + "'";
  const int status = std::system(line.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, readFile(out), readFile(err)};
}

Picture readPicture(const std::string& path) {
  const std::string bytes = readFile(path);
  auto picture = decodePicture({bytes.begin(), bytes.end()}, path);
  EXPECT_TRUE(picture.ok()) << (picture.ok() ? "" : picture.error().text());
  return picture ? std::move(*picture) : Picture();
}

/// Colours of a cell's pixels that differ from its own left edge at the same height: the figure, mostly.
int foreground(const Picture& picture, const Json& cell, int& touching) {
  const int x = cell["x"], y = cell["y"], w = cell["width"], h = cell["height"];
  int count = 0;
  touching = 0;
  for (int j = 30; j < h - 1; ++j) {
    for (int i = 1; i < w - 1; ++i) {
      const std::uint8_t* p = picture.at(x + i, y + j);
      // The demo character's bones are neither dark nor blue.
      if (p[0] > 110 && p[0] + 10 > p[2]) {
        ++count;
        touching += i < 3 || i > w - 4;
      }
    }
  }
  return count;
}

class SheetCommand : public ::testing::Test {
 protected:
  void SetUp() override {
    if (auto context = OffscreenContext::create(); !context) GTEST_SKIP() << context.error().text();
    writeFile(folder.file("keeper walk.bvh"), makeWalkBvh());
    writeFile(folder.file("keeper.glb"), makeStickCharacterGlb());
  }
  TemporaryFolder folder;
};

TEST_F(SheetCommand, DrawsACharacterInEveryCell) {
  const Ran ran = runSheet(folder, "--json --cells 8 --columns 4 --size 160 --out '" + folder.file("sheet.png") + "' '" + folder.file("keeper.glb") + "'");
  ASSERT_EQ(ran.code, 0) << ran.err;
  const Json answer = Json::parse(ran.out);
  EXPECT_EQ(answer["clip"], "idle");
  const Picture picture = readPicture(folder.file("sheet.png"));
  EXPECT_EQ(picture.width, answer["width"]);
  EXPECT_EQ(picture.height, answer["height"]);
  ASSERT_GT(answer["cells"].size(), 1u);
  for (const Json& cell : answer["cells"]) {
    ASSERT_LE(cell["x"].get<int>() + cell["width"].get<int>(), picture.width);
    ASSERT_LE(cell["y"].get<int>() + cell["height"].get<int>(), picture.height);
    int touching = 0;
    EXPECT_GT(foreground(picture, cell, touching), 200) << cell.dump();
    EXPECT_EQ(touching, 0) << "the figure leaves its cell: " << cell.dump();
  }
}

TEST_F(SheetCommand, ShowsTheFramesAskedFor) {
  const Ran ran = runSheet(folder, "'" + folder.file("keeper walk.bvh") + "' --range 11:31 --cells 5 --size 96 --json --out '" + folder.file("walk.png") + "'");
  ASSERT_EQ(ran.code, 0) << ran.err;
  const Json answer = Json::parse(ran.out);
  std::vector<int> frames;
  for (const Json& cell : answer["cells"]) frames.push_back(cell["frame"]);
  EXPECT_EQ(frames, (std::vector<int>{11, 16, 21, 26, 31, 11, 16, 21, 26, 31}));
  EXPECT_EQ(answer["frames"], 61);
  // Moving limbs: no two neighbouring cells look the same.
  const Picture picture = readPicture(folder.file("walk.png"));
  for (std::size_t i = 0; i + 1 < 5; ++i) {
    const Json &a = answer["cells"][i], &b = answer["cells"][i + 1];
    int differ = 0;
    for (int y = 30; y < a["height"].get<int>(); ++y) {
      for (int x = 0; x < a["width"].get<int>(); ++x) {
        differ += std::abs(picture.at(a["x"].get<int>() + x, a["y"].get<int>() + y)[1] - picture.at(b["x"].get<int>() + x, b["y"].get<int>() + y)[1]) > 12;
      }
    }
    EXPECT_GT(differ, 20);
  }
}

TEST_F(SheetCommand, WrongRequestsAreExplained) {
  const std::string file = "'" + folder.file("keeper walk.bvh") + "' ", out = "--out '" + folder.file("no.png") + "'";
  EXPECT_EQ(runSheet(folder, file).code, 2);
  EXPECT_EQ(runSheet(folder, file + out + " --range 50:99").code, 2);
  EXPECT_EQ(runSheet(folder, file + out + " --clip dance").code, 2);
  EXPECT_EQ(runSheet(folder, file + out + " --view underneath").code, 2);
  EXPECT_EQ(runSheet(folder, file + out + " --cells 0").code, 2);
  EXPECT_EQ(runSheet(folder, file + out + " --hide cap").code, 2);
  EXPECT_EQ(runSheet(folder, "'" + folder.file("missing.bvh") + "' " + out).code, 3);
  EXPECT_EQ(runSheet(folder, file + "--out '" + folder.file("nowhere/no.png") + "'").code, 5);
  const Ran over = runSheet(folder, file + "--out " + file);
  EXPECT_EQ(over.code, 2);
  EXPECT_FALSE(over.err.empty());
  EXPECT_EQ(readFile(folder.file("keeper walk.bvh")), makeWalkBvh());
}

TEST_F(SheetCommand, AFolderGetsAPictureAFrameWithNotesOfAReel) {
  Take take;
  take = addNote(take, {0, 12 / 60.0, "@leftHand", "reaches too far", "Ada", false, {}});
  ASSERT_TRUE(saveReel(Reel{{Node<Take>(take)}, 0, {}}, folder.file("noted.reel")));
  const std::string words = "'" + folder.file("keeper walk.bvh") + "' --range 11:14 --size 120 --json --out '" + folder.file("frames") + "/'";
  const Ran plain = runSheet(folder, words);
  ASSERT_EQ(plain.code, 0) << plain.err;
  const Picture before = readPicture(folder.file("frames/0013.png"));
  EXPECT_EQ(before.height, 120);
  for (const char* name : {"0011", "0012", "0014"}) EXPECT_GT(readPicture(folder.file(std::string("frames/") + name + ".png")).width, 0) << name;
  const Ran noted = runSheet(folder, words + " --reel '" + folder.file("noted.reel") + "'");
  ASSERT_EQ(noted.code, 0) << noted.err;
  EXPECT_NE(readPicture(folder.file("frames/0013.png")).rgba, before.rgba) << "the note stands at its frame";
  // On a sheet the notes are listed below.
  const std::string sheet = "'" + folder.file("keeper walk.bvh") + "' --cells 4 --size 96 --json --out '" + folder.file("sheet.png") + "'";
  ASSERT_EQ(runSheet(folder, sheet).code, 0);
  const int height = readPicture(folder.file("sheet.png")).height;
  ASSERT_EQ(runSheet(folder, sheet + " --reel '" + folder.file("noted.reel") + "'").code, 0);
  EXPECT_GT(readPicture(folder.file("sheet.png")).height, height + 20);
  // Markers stand among them.
  const int noted_height = readPicture(folder.file("sheet.png")).height;
  take = addMarker(take, {0, 12 / 60.0, "turn", {}});
  ASSERT_TRUE(saveReel(Reel{{Node<Take>(take)}, 0, {}}, folder.file("noted.reel")));
  ASSERT_EQ(runSheet(folder, sheet + " --reel '" + folder.file("noted.reel") + "'").code, 0);
  EXPECT_GT(readPicture(folder.file("sheet.png")).height, noted_height);
}

// A script in the place of ffmpeg: it keeps its words and the pictures it was shown, and writes what it was asked for.
TEST_F(SheetCommand, AVideoIsMadeOfNumberedPicturesByFfmpeg) {
  std::filesystem::create_directories(folder.file("bin"));
  const std::string script = folder.file("bin/ffmpeg");
  writeFile(script, "#!/bin/sh\nprintf '%s\\n' \"$@\" > '" + folder.file("words") + "'\n"
                    "for last; do :; done\nls \"$(dirname \"$last\")\" > '" + folder.file("pictures") + "'\n"
                    "printf video > \"$last\"\n");
  std::filesystem::permissions(script, std::filesystem::perms::owner_all);
  const Ran ran = runSheet(folder, "'" + folder.file("keeper walk.bvh") + "' --range 11:14 --size 120 --out '" + folder.file("walk.mp4") + "'", "PATH='" + folder.file("bin") + ":/usr/bin:/bin'");
  ASSERT_EQ(ran.code, 0) << ran.err;
  EXPECT_EQ(readFile(folder.file("walk.mp4")), "video");
  std::vector<std::string> words;
  std::istringstream lines(readFile(folder.file("words")));
  for (std::string line; std::getline(lines, line);) words.push_back(line);
  const auto after = [&](const char* word) {
    const auto at = std::find(words.begin(), words.end(), word);
    return at == words.end() || at + 1 == words.end() ? std::string() : at[1];
  };
  EXPECT_EQ(after("-framerate"), "60");
  EXPECT_EQ(after("-start_number"), "11") << "where the pictures begin";
  EXPECT_EQ(after("-pix_fmt"), "yuv420p") << "what every player shows";
  EXPECT_TRUE(after("-i").ends_with("/%04d.png")) << after("-i");
  EXPECT_EQ(readFile(folder.file("pictures")), "0011.png\n0012.png\n0013.png\n0014.png\n");
  EXPECT_FALSE(std::filesystem::exists(folder.file(".walk.mp4.frames"))) << "the pictures are gone again";
  // One that fails leaves nothing behind and says what else there is.
  writeFile(script, "#!/bin/sh\nexit 3\n");
  const Ran failed = runSheet(folder, "'" + folder.file("keeper walk.bvh") + "' --range 11:14 --size 120 --out '" + folder.file("other.mp4") + "'", "PATH='" + folder.file("bin") + ":/usr/bin:/bin'");
  EXPECT_NE(failed.code, 0);
  EXPECT_NE(failed.err.find("folder"), std::string::npos) << failed.err;
  EXPECT_FALSE(std::filesystem::exists(folder.file("other.mp4")));
  EXPECT_FALSE(std::filesystem::exists(folder.file(".other.mp4.frames")));
}

TEST_F(SheetCommand, AVideoWithoutFfmpegSaysWhatToDo) {
  const Ran ran = runSheet(folder, "'" + folder.file("keeper walk.bvh") + "' --range 1:2 --out '" + folder.file("walk.mp4") + "'", "PATH=/nowhere");
  EXPECT_NE(ran.code, 0);
  EXPECT_NE(ran.err.find("ffmpeg"), std::string::npos) << ran.err;
  EXPECT_NE(ran.err.find("folder"), std::string::npos) << ran.err;
  EXPECT_FALSE(std::filesystem::exists(folder.file("walk.mp4")));
}

}  // namespace
}  // namespace understudy
