// Runs understudy-cli pack and batch as people and scripts do.
#include <gtest/gtest.h>

#include <cstring>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/store/reel_file.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

ProgramRun cli(std::vector<std::string> words, const ProgramSettings& settings = {}) {
  words.insert(words.begin(), std::string(UNDERSTUDY_BINARY) + "/bin/understudy-cli");
  return runProgram(words, settings);
}

/// The stick character as .gltf whose buffer lies in a folder beside it, under a name with a blank.
void writeSplitGltf(const std::string& path, const std::string& buffer) {
  const std::string glb = makeStickCharacterGlb();
  std::uint32_t length = 0;
  std::memcpy(&length, glb.data() + 12, 4);
  Json json = Json::parse(glb.substr(20, length));
  json["buffers"][0]["uri"] = "parts/stick%20body.bin";
  writeFile(path, json.dump());
  writeFile(buffer, glb.substr(20 + length + 8));
}

class PackCommand : public testing::Test {
 protected:
  void SetUp() override {
    fs::create_directories(folder.file("work/cast/parts"));
    writeFile(folder.file("work/walk.bvh"), makeWalkBvh());
    writeSplitGltf(folder.file("work/cast/stick.gltf"), folder.file("work/cast/parts/stick body.bin"));
    ASSERT_EQ(cli({"repair", "new", reel(), "--performer", folder.file("work/walk.bvh"), "--character", folder.file("work/cast/stick.gltf")}).exitCode, 0);
  }
  std::string reel() const { return folder.file("work/keeper.reel"); }
  TemporaryFolder folder;
};

TEST_F(PackCommand, ThePackedFolderGivesTheSameBytesElsewhere) {
  ASSERT_EQ(cli({"repair", "add", reel(), "--kind", "offset", "--bones", "@leftHand", "--rotate", "0,20,0", "--span", "10:20"}).exitCode, 0);
  ASSERT_EQ(cli({"repair", "export", reel(), "--out", folder.file("before.glb")}).exitCode, 0);
  const ProgramRun packed = cli({"pack", reel(), "--out", folder.file("packed"), "--json"});
  ASSERT_EQ(packed.exitCode, 0) << packed.err;
  EXPECT_EQ(Json::parse(packed.out)["files"].size(), 3u);
  // Another place, and nothing of the old one left.
  fs::create_directories(folder.file("far/away"));
  fs::rename(folder.file("packed"), folder.file("far/away/parcel"));
  fs::remove_all(folder.file("work"));
  const std::string text = readFile(folder.file("far/away/parcel/keeper.reel"));
  EXPECT_EQ(text.find(folder.path()), std::string::npos) << "an absolute path is in the reel";
  EXPECT_EQ(text.find(".."), std::string::npos);
  ASSERT_EQ(cli({"repair", "export", folder.file("far/away/parcel/keeper.reel"), "--out", folder.file("after.glb")}).exitCode, 0);
  EXPECT_FALSE(readFile(folder.file("before.glb")).empty());
  EXPECT_EQ(readFile(folder.file("before.glb")), readFile(folder.file("after.glb")));
}

TEST_F(PackCommand, TexturesOfAPropComeAlong) {
  // A triangle whose material names its picture by a path of another machine.
  writeFile(folder.file("work/lamp.obj"), "mtllib lamp.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 0 1\nusemtl glow\nf 1/1 2/2 3/3\n");
  writeFile(folder.file("work/lamp.mtl"), "newmtl glow\nKd 1 1 1\nmap_Kd lamp.png\n");
  // The smallest PNG: one pixel.
  const unsigned char png[] = {0x89, 'P', 'N', 'G', 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 13, 'I', 'H', 'D', 'R', 0, 0, 0, 1, 0, 0, 0, 1, 8, 6, 0, 0, 0, 0x1f, 0x15, 0xc4, 0x89};
  writeFile(folder.file("work/lamp.png"), std::string(reinterpret_cast<const char*>(png), sizeof png));
  ASSERT_EQ(cli({"repair", "add", reel(), "--kind", "prop", "--path", folder.file("work/lamp.obj")}).exitCode, 0);
  const ProgramRun packed = cli({"pack", reel(), "--out", folder.file("packed")});
  ASSERT_EQ(packed.exitCode, 0) << packed.err;
  const auto loaded = loadReel(folder.file("packed/keeper.reel"));
  ASSERT_TRUE(loaded.ok());
  const fs::path prop = loaded->takes.front()->props->front().path;
  EXPECT_EQ(prop.lexically_relative(folder.file("packed")).string().substr(0, 6), "files/");
  for (const char* name : {"lamp.obj", "lamp.mtl", "lamp.png"})
    EXPECT_EQ(readFile((prop.parent_path() / name).string()), readFile(folder.file(std::string("work/") + name))) << name;
}

TEST_F(PackCommand, APropThatMovedIsFoundAgain) {
  writeFile(folder.file("work/lamp.obj"), "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n");
  ASSERT_EQ(cli({"repair", "add", reel(), "--kind", "prop", "--path", folder.file("work/lamp.obj")}).exitCode, 0);
  // The reel is taken elsewhere; the prop lies in a folder beside it, as the end of its old path says.
  fs::create_directories(folder.file("other"));
  for (const char* name : {"walk.bvh", "cast", "keeper.reel", "lamp.obj"}) fs::rename(folder.file(std::string("work/") + name), folder.file(std::string("other/") + name));
  std::string text = readFile(folder.file("other/keeper.reel"));
  const std::size_t at = text.find("\"lamp.obj\"");
  ASSERT_NE(at, std::string::npos);
  text.replace(at, 10, "\"/nowhere/work/lamp.obj\"");
  writeFile(folder.file("other/keeper.reel"), text);
  const ProgramRun run = cli({"pack", folder.file("other/keeper.reel"), "--out", folder.file("packed")});
  EXPECT_EQ(run.exitCode, 0) << run.err;
  EXPECT_NE(run.err.find("Found again"), std::string::npos) << run.err;
}

TEST_F(PackCommand, FilesOfOneNameDoNotMeet) {
  // Two takes whose performers have the same name in different folders.
  fs::create_directories(folder.file("work/second"));
  WalkOptions other;
  other.frames = 31;
  writeFile(folder.file("work/second/WALK.bvh"), makeWalkBvh(other));
  auto loaded = loadReel(reel());
  ASSERT_TRUE(loaded.ok());
  Take take = *loaded->takes.front();
  FileReference file = *take.performer;
  file.path = folder.file("work/second/WALK.bvh");
  take.performer = file;
  loaded->takes.emplace_back(take);
  ASSERT_TRUE(saveReel(*loaded, reel()).ok());
  ASSERT_EQ(cli({"pack", reel(), "--out", folder.file("packed")}).exitCode, 0);
  const auto packed = loadReel(folder.file("packed/keeper.reel"));
  ASSERT_TRUE(packed.ok());
  EXPECT_EQ(readFile(packed->takes[0]->performer->path), makeWalkBvh());
  EXPECT_EQ(readFile(packed->takes[1]->performer->path), makeWalkBvh(other));
  EXPECT_EQ(packed->takes[0]->character->path, packed->takes[1]->character->path) << "a file that both use is packed once";
}

TEST_F(PackCommand, AllOrNothing) {
  const auto untouched = [&] {
    std::vector<std::string> names;
    for (const auto& entry : fs::directory_iterator(folder.path())) names.push_back(entry.path().filename().string());
    std::sort(names.begin(), names.end());
    return names;
  };
  const auto before = untouched();
  fs::remove(folder.file("work/walk.bvh"));
  const ProgramRun missing = cli({"pack", reel(), "--out", folder.file("packed")});
  EXPECT_EQ(missing.exitCode, 3);
  EXPECT_NE(missing.err.find("walk.bvh"), std::string::npos);
  EXPECT_EQ(untouched(), before);
  const ProgramRun full = cli({"pack", reel(), "--out", folder.file("work")});
  EXPECT_EQ(full.exitCode, 5);
  EXPECT_NE(full.err.find("not empty"), std::string::npos);
  EXPECT_EQ(cli({"pack", reel(), "--out", folder.file("no/where")}).exitCode, 5);
  EXPECT_EQ(cli({"pack", reel()}).exitCode, 2);
  EXPECT_EQ(cli({"pack", folder.file("no.reel"), "--out", folder.file("packed")}).exitCode, 3);
  EXPECT_EQ(untouched(), before);
}

class BatchCommand : public testing::Test {
 protected:
  void SetUp() override {
    fs::create_directories(folder.file("clips"));
    fs::create_directories(folder.file("cast"));
    WalkOptions shorter;
    shorter.frames = 31;
    writeFile(folder.file("clips/walk.bvh"), makeWalkBvh());
    writeFile(folder.file("clips/stroll.bvh"), makeWalkBvh(shorter));
    writeFile(folder.file("clips/notes.txt"), "not a clip");
    writeFile(folder.file("cast/stick.glb"), makeStickCharacterGlb());
  }
  ProgramRun batch(std::vector<std::string> more) const {
    more.insert(more.begin(), {"batch", "--out", folder.file("out")});
    return cli(more);
  }
  std::vector<std::string> all() const { return {"--performers", folder.file("clips"), "--characters", folder.file("cast"), "--no-pictures", "--json"}; }
  Json answer(std::vector<std::string> more = {}) const {
    std::vector<std::string> words = all();
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = batch(words);
    EXPECT_EQ(run.exitCode, 0) << run.err << run.out;
    return Json::parse(run.out, nullptr, false);
  }
  TemporaryFolder folder;
};

TEST_F(BatchCommand, FinishesEveryPairOnce) {
  const Json first = answer();
  EXPECT_EQ(first["done"], 2);
  EXPECT_EQ(first["jobs"].size(), 2u);
  for (const char* name : {"stroll--stick", "walk--stick"})
    for (const char* file : {"result.glb", "result.reel", "report.json", "report.html", "job.json"}) EXPECT_TRUE(fs::is_regular_file(folder.file(std::string("out/") + name + "/" + file))) << file;
  EXPECT_EQ(first["jobs"][1]["frames"], 61);
  // Again: nothing is touched.
  const std::string report = readFile(folder.file("out/walk--stick/report.json"));
  const Json second = answer();
  EXPECT_EQ(second["done"], 0);
  EXPECT_EQ(second["kept"], 2);
  EXPECT_EQ(readFile(folder.file("out/walk--stick/report.json")), report);
  // What is missing or has changed is done again, and only that.
  fs::remove(folder.file("out/walk--stick/result.glb"));
  EXPECT_EQ(answer({"--list"})["jobs"][1]["state"], "to do");
  EXPECT_EQ(answer()["done"], 1);
  WalkOptions changed;
  changed.frames = 41;
  writeFile(folder.file("clips/stroll.bvh"), makeWalkBvh(changed));
  const Json third = answer();
  EXPECT_EQ(third["jobs"][0]["state"], "done");
  EXPECT_EQ(third["jobs"][0]["frames"], 41);
  EXPECT_EQ(third["jobs"][1]["state"], "kept");
}

TEST_F(BatchCommand, TheResultIsThatOfFinish) {
  answer();
  ASSERT_EQ(cli({"finish", "--no-pictures", "--performer", folder.file("clips/walk.bvh"), "--character", folder.file("cast/stick.glb"), "--out", folder.file("one")}).exitCode, 0);
  EXPECT_FALSE(readFile(folder.file("one/result.glb")).empty());
  EXPECT_EQ(readFile(folder.file("out/walk--stick/result.glb")), readFile(folder.file("one/result.glb")));
}

TEST_F(BatchCommand, ShardsDivideTheListAmongThem) {
  std::vector<std::string> names;
  for (const std::string shard : {"1/3", "2/3", "3/3"}) {
    const Json part = answer({"--shard", shard});
    for (const Json& job : part["jobs"]) names.push_back(job["name"]);
  }
  std::sort(names.begin(), names.end());
  EXPECT_EQ(names, (std::vector<std::string>{"stroll--stick", "walk--stick"}));
  EXPECT_EQ(answer()["kept"], 2);
  for (const std::string shard : {"0/2", "3/2", "1", "a/b", "1/0", "1/2/3"}) {
    std::vector<std::string> words = all();
    words.insert(words.end(), {"--shard", shard});
    EXPECT_EQ(batch(words).exitCode, 2) << shard;
  }
}

TEST_F(BatchCommand, ABadFileCostsOnePair) {
  writeFile(folder.file("clips/broken.bvh"), "HIERARCHY\nROOT");
  const ProgramRun run = batch(all());
  EXPECT_EQ(run.exitCode, 3);
  const Json answer = Json::parse(run.out);
  EXPECT_EQ(answer["failed"], 1);
  EXPECT_EQ(answer["done"], 2);
  EXPECT_EQ(answer["jobs"][0]["state"], "failed");
  EXPECT_NE(answer["jobs"][0]["error"].get<std::string>().find("broken.bvh"), std::string::npos);
  EXPECT_FALSE(fs::exists(folder.file("out/broken--stick")));
}

TEST_F(BatchCommand, ListsNamePairs) {
  writeFile(folder.file("pairs.txt"), "# performer, character\nclips/walk.bvh\tcast/stick.glb\n\nclips/walk.bvh\tcast/stick.glb\r\n");
  const ProgramRun run = batch({"--pairs", folder.file("pairs.txt"), "--list", "--json"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Json jobs = Json::parse(run.out)["jobs"];
  ASSERT_EQ(jobs.size(), 2u);
  EXPECT_EQ(jobs[0]["name"], "walk--stick");
  EXPECT_EQ(jobs[1]["name"], "walk--stick-2");
  EXPECT_FALSE(fs::exists(folder.file("out")));
  writeFile(folder.file("odd.txt"), "clips/walk.bvh\n");
  EXPECT_EQ(batch({"--pairs", folder.file("odd.txt")}).exitCode, 3);
  writeFile(folder.file("clips.txt"), "clips/stroll.bvh\n");
  const ProgramRun list = batch({"--performers", folder.file("clips.txt"), "--characters", folder.file("cast/stick.glb"), "--list", "--json"});
  ASSERT_EQ(list.exitCode, 0) << list.err;
  EXPECT_EQ(Json::parse(list.out)["jobs"].size(), 1u);
  EXPECT_EQ(batch({"--performers", folder.file("clips")}).exitCode, 2);
  EXPECT_EQ(batch({"--performers", folder.file("nowhere"), "--characters", folder.file("cast")}).exitCode, 3);
  EXPECT_EQ(batch({"--performers", folder.file("out"), "--characters", folder.file("cast")}).exitCode, 3);
}

TEST_F(BatchCommand, AStoppedRunIsTakenUp) {
  ProgramSettings settings;
  settings.interruptAfterMilliseconds = 30;
  std::vector<std::string> words = all();
  words.insert(words.begin(), {"batch", "--out", folder.file("out")});
  const ProgramRun stopped = cli(words, settings);
  EXPECT_TRUE(stopped.exitCode == 6 || stopped.exitCode == 0) << stopped.exitCode;
  const Json after = answer();
  EXPECT_EQ(after["done"].get<int>() + after["kept"].get<int>(), 2);
}

}  // namespace
}  // namespace understudy
