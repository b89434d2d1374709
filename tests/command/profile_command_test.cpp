// Profiles and kept data from the command line: a second clip needs no mapping, and nothing that is kept changes a byte.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/store/profile_file.h"
#include "core/store/reel_file.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;
const std::string cli = UNDERSTUDY_BINARY "/bin/understudy-cli";
const std::string samples = UNDERSTUDY_SOURCE "/samples/";

class ProfileCommand : public ::testing::Test {
 protected:
  void SetUp() override {
    writeFile(walk, makeWalkBvh());
    writeFile(stick, makeStickCharacterGlb());
  }
  Json ask(std::vector<std::string> words, int exitCode = 0) {
    words.insert(words.begin(), cli);
    words.emplace_back("--json");
    const ProgramRun run = runProgram(words);
    EXPECT_EQ(run.exitCode, exitCode) << run.err;
    return Json::parse(run.out, nullptr, false);
  }
  /// The character's joints of a role, as a reel of a retarget says.
  std::vector<std::string> mapped(Role role, std::vector<std::string> more = {}) {
    const std::string reel = folder.file("mapped.reel");
    std::vector<std::string> words{cli, "retarget", "--performer", walk, "--character", stick, "--out", folder.file("out.csv"), "--save-reel", reel, "--no-check"};
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = runProgram(words);
    EXPECT_EQ(run.exitCode, 0) << run.err;
    told = run.err;
    return loadReel(reel)->currentTake()->map->character[static_cast<std::size_t>(indexOf(role))].joints;
  }

  TemporaryFolder folder;
  std::string walk = folder.file("walk.bvh"), stick = folder.file("stick.glb"), told;
};

TEST_F(ProfileCommand, ASecondClipNeedsNoMapping) {
  // The artist corrects the map of a first clip by hand …
  const std::string map = folder.file("map.json");
  ask({"map", "--performer", walk, "--character", stick, "--out", map});
  Json file = Json::parse(readFile(map));
  ASSERT_TRUE(file["roles"].contains("neck")) << "the fixture has one";
  file["roles"]["neck"].erase("character");
  writeFile(map, file.dump());
  const auto before = mapped(Role::neck);
  ASSERT_FALSE(before.empty());
  // … nothing lies beside the character until it is asked for …
  EXPECT_FALSE(fs::exists(profilePathOf(stick)));
  const Json saved = ask({"profile", "save", "--character", stick, "--performer", walk, "--map", map, "--thresholds", "slide=3"});
  EXPECT_EQ(saved["profile"], profilePathOf(stick));
  ASSERT_TRUE(fs::exists(profilePathOf(stick)));
  // … and then every command knows it, and says so.
  EXPECT_TRUE(mapped(Role::neck).empty());
  EXPECT_NE(told.find(profilePathOf(stick)), std::string::npos) << told;
  EXPECT_EQ(mapped(Role::neck, {"--profile", "off"}), before);
  const Json shown = ask({"map", "--performer", walk, "--character", stick, "--out", folder.file("again.json")});
  EXPECT_TRUE(shown["roles"]["neck"]["character"]["joints"].empty());
  EXPECT_FALSE(shown["roles"]["hips"]["character"]["joints"].empty());
  // A profile lies elsewhere as well.
  fs::rename(profilePathOf(stick), folder.file("elsewhere.json"));
  EXPECT_EQ(mapped(Role::neck), before);
  EXPECT_TRUE(mapped(Role::neck, {"--profile", folder.file("elsewhere.json")}).empty());
}

TEST_F(ProfileCommand, SavingAgainKeepsWhatIsNotGiven) {
  ask({"profile", "save", "--character", stick, "--thresholds", "slide=3,depth=9", "--leave-out", "coat"});
  ask({"profile", "save", "--character", stick, "--thresholds", "depth=11"});
  const auto profile = loadProfile(profilePathOf(stick));
  ASSERT_TRUE(profile.ok());
  EXPECT_EQ(profile->thresholds, (std::map<std::string, double>{{"slide", 3}, {"depth", 11}}));
  EXPECT_EQ(profile->leftOut, std::vector<std::string>{"coat"});
  const Json shown = ask({"profile", "show", stick});
  EXPECT_EQ(shown["content"]["thresholds"]["depth"], 11);
}

TEST_F(ProfileCommand, BadOnesAreRefusedWithTheReason) {
  EXPECT_EQ(runProgram({cli, "profile", "save", "--character", stick, "--thresholds", "slyde=3"}).exitCode, 2);
  EXPECT_EQ(runProgram({cli, "profile", "save", "--character", stick, "--thresholds", "slide"}).exitCode, 2);
  EXPECT_EQ(runProgram({cli, "profile", "save", "--character", stick, "--map", walk}).exitCode, 2);
  EXPECT_EQ(runProgram({cli, "profile", "save", "--character", stick, "--out", stick}).exitCode, 2);
  EXPECT_EQ(runProgram({cli, "profile", "save", "--character", folder.file("none.glb")}).exitCode, 3);
  EXPECT_FALSE(fs::exists(profilePathOf(stick)));
  writeFile(profilePathOf(stick), "{ \"format\": ");
  const ProgramRun run = runProgram({cli, "retarget", "--performer", walk, "--character", stick, "--out", folder.file("out.csv")});
  EXPECT_EQ(run.exitCode, 3);
  EXPECT_NE(run.err.find(profilePathOf(stick)), std::string::npos) << run.err;
  EXPECT_EQ(readFile(profilePathOf(stick)), "{ \"format\": ");
  writeFile(profilePathOf(stick), R"({"format":"understudy profile","version":1,"thresholds":{"slyde":1}})");
  EXPECT_EQ(runProgram({cli, "find", "--performer", walk, "--character", stick}).exitCode, 3);
  // An input is never written over.
  writeFile(profilePathOf(stick), R"({"format":"understudy profile","version":1})");
  EXPECT_EQ(runProgram({cli, "map", "--performer", walk, "--character", stick, "--profile", folder.file("gone.json"), "--out", folder.file("m.json")}).exitCode, 3);
}

TEST_F(ProfileCommand, ThresholdsDecideWhatIsFound) {
  const std::string keeper = folder.file("keeper.glb");
  fs::copy_file(samples + "keeper.glb", keeper);
  const auto kinds = [&](const std::string& thresholds) {
    if (!thresholds.empty()) ask({"profile", "save", "--character", keeper, "--thresholds", thresholds});
    std::map<std::string, int> count;
    const Json answer = ask({"find", "--performer", samples + "sweep.bvh", "--character", keeper});
    for (const Json& finding : answer["findings"]) ++count[finding["kind"].get<std::string>()];
    return count;
  };
  const auto plain = kinds("");
  ASSERT_TRUE(plain.contains("slide") && plain.contains("depth"));
  const auto wide = kinds("slide=100000,ground=100000");
  EXPECT_FALSE(wide.contains("slide") || wide.contains("float") || wide.contains("sink"));
  EXPECT_EQ(wide.at("depth"), plain.at("depth"));
}

TEST_F(ProfileCommand, KeptDataAndThreadsChangeNoByte) {
  const std::string out = folder.file("done"), cache = folder.file("cache"), keeper = folder.file("keeper.glb");
  fs::copy_file(samples + "keeper.glb", keeper);
  const auto finished = [&](std::vector<std::string> more) {
    std::vector<std::string> words{cli, "finish", "--performer", samples + "sweep.bvh", "--character", keeper, "--range", "1:90", "--out", out, "--no-pictures"};
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = runProgram(words);
    EXPECT_EQ(run.exitCode, 0) << run.err;
    return readFile(out + "/result.glb") + readFile(out + "/result.reel");
  };
  const std::string fresh = finished({"--cache", "off", "--threads", "1"});
  EXPECT_FALSE(fs::exists(cache));
  EXPECT_TRUE(finished({"--cache", cache, "--threads", "4"}) == fresh) << "written";
  ASSERT_EQ(std::distance(fs::directory_iterator(cache), fs::directory_iterator()), 1);
  const fs::path file = fs::directory_iterator(cache)->path();
  const std::string kept = readFile(file.string());
  EXPECT_TRUE(finished({"--cache", cache, "--threads", "1"}) == fresh) << "read";
  // Damaged: made anew, without a word.
  writeFile(file.string(), kept.substr(0, kept.size() / 2));
  EXPECT_TRUE(finished({"--cache", cache}) == fresh) << "damaged";
  EXPECT_TRUE(readFile(file.string()) == kept);
  // Beside the character lies what lay there.
  int beside = 0;
  for (const auto& entry : fs::directory_iterator(folder.path())) beside += entry.path().filename().string().starts_with("keeper");
  EXPECT_EQ(beside, 1);
}

TEST_F(ProfileCommand, ThreadsAreANumber) {
  for (const char* bad : {"0", "-1", "many", "100000"})
    EXPECT_EQ(runProgram({cli, "find", "--performer", walk, "--character", stick, "--threads", bad}).exitCode, 2) << bad;
}

}  // namespace
}  // namespace understudy
