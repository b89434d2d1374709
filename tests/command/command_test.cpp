// Runs understudy-cli as people and scripts do.
#include <gtest/gtest.h>

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/io/read.h"
#include "core/store/reel_file.h"
#include "tests/support/walk_and_stick.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

class CommandTest : public WalkAndStick {
 protected:
  ProgramRun retarget(std::vector<std::string> more, const ProgramSettings& settings = {}) const {
    std::vector<std::string> words{"retarget", "--performer", walk(), "--character", stick()};
    words.insert(words.end(), more.begin(), more.end());
    return cli(words, settings);
  }
  /// No file but those named is in the test's folder.
  void expectOnly(std::vector<std::string> names) const {
    std::vector<std::string> found;
    for (const auto& entry : fs::directory_iterator(folder_.path())) found.push_back(entry.path().filename().string());
    std::sort(found.begin(), found.end());
    std::sort(names.begin(), names.end());
    EXPECT_EQ(found, names);
  }
};

/// An error must say what and what to do, in one line, and agree with its JSON twin.
void expectError(const ProgramRun& run, int code, const std::string& part) {
  EXPECT_EQ(run.exitCode, code) << run.err << run.out;
  EXPECT_NE(run.err.find(part), std::string::npos) << run.err;
  EXPECT_TRUE(run.err.starts_with("understudy-cli: ")) << run.err;
}

TEST_F(CommandTest, HelpIsCompletePerCommand) {
  const ProgramRun global = cli({"--help"});
  EXPECT_EQ(global.exitCode, 0);
  for (const std::string command : {"look", "map", "retarget", "sheet"}) {
    EXPECT_NE(global.out.find("  " + command + " "), std::string::npos);
    const ProgramRun help = cli({command, "--help"});
    EXPECT_EQ(help.exitCode, 0);
    EXPECT_EQ(help.out, cli({"help", command}).out);
    for (const std::string& part : {"Usage: understudy-cli " + command, std::string("--json"), std::string("--help"), std::string("Exit codes:")})
      EXPECT_NE(help.out.find(part), std::string::npos) << command << " lacks " << part;
  }
  const std::string retargetHelp = cli({"retarget", "--help"}).out;
  for (const std::string option : {"--performer FILE", "--character FILE", "--map FILE", "--clip N|NAME", "--fps R", "--range A:B", "--out FILE"})
    EXPECT_NE(retargetHelp.find(option), std::string::npos) << option;
  for (int code = 0; code <= 6; ++code) EXPECT_NE(global.out.find("\n  " + std::to_string(code) + "  "), std::string::npos);
}

TEST_F(CommandTest, VersionIsTold) {
  const ProgramRun run = cli({"--version"});
  EXPECT_EQ(run.exitCode, 0);
  EXPECT_TRUE(run.out.starts_with("understudy-cli ")) << run.out;
}

TEST_F(CommandTest, WrongRequestsAreUsageErrors) {
  EXPECT_EQ(cli({}).exitCode, 2);
  expectError(cli({"loook"}), 2, "Did you mean 'look'?");
  expectError(cli({"retarget", "--perfomer", "x"}), 2, "Did you mean --performer?");
  expectError(cli({"look"}), 2, "FILE is missing");
  expectError(cli({"look", walk(), stick()}), 2, "one argument too many");
  expectError(cli({"retarget", "--performer", walk(), "--out", file("a.glb")}), 2, "--character FILE is missing");
  expectError(retarget({"--out"}), 2, "--out needs a value");
  expectError(retarget({"--out", file("a.glb"), "--out", file("b.glb")}), 2, "given twice");
  expectError(retarget({"--out", file("a.glb"), "--json=yes"}), 2, "takes no value");
  expectError(retarget({"--out", file("a.doc")}), 2, ".glb, .gltf, .bvh or .csv");
  expectError(retarget({"--out", file("a")}), 2, "no ending");
  for (const std::string range : {"0:5", "5:1", "1", "a:b", "1:", ":1", "1:2:3", "-3:4", "1:99999999999", "1.5:2"})
    expectError(retarget({"--out", file("a.glb"), "--range", range}), 2, range);
  expectError(retarget({"--out", file("a.glb"), "--range", "60:62"}), 2, "1:61");
  expectError(retarget({"--out", file("a.glb"), "--range", "1:60000"}), 2, "1:61");
  for (const std::string fps : {"0", "-24", "nan", "inf", "1/0", "fast", "1e9"}) expectError(retarget({"--out", file("a.glb"), "--fps", fps}), 2, fps);
  expectError(retarget({"--out", file("a.glb"), "--clip", "2"}), 2, "one clip");
  expectError(retarget({"--out", file("a.glb"), "--clip", "wak"}), 2, "Did you mean 'walk'?");
  expectError(retarget({"--out", file("a.glb"), "--stride", "nan"}), 2, "--stride");
  expectError(retarget({"--out", file("a.glb"), "--reference-frame", "0"}), 2, "counts from 1");
  expectError(retarget({"--out", file("a.glb"), "--reference-frame", "100"}), 2, "behind the clip");
  expectError(retarget({"--out", file("a.glb"), "--performer-unit", "ell"}), 2, "ell");
  expectError(retarget({"--out", file("a.glb"), "--performer-up", "W"}), 2, "axis");
  expectOnly({});
}

TEST_F(CommandTest, AnInputIsNeverWrittenOver) {
  const std::string before = readFile(stick());
  expectError(retarget({"--out", stick()}), 2, "never written over");
  const std::string link = file("link.glb");
  fs::create_symlink(stick(), link);
  expectError(retarget({"--out", link}), 2, "never written over");
  fs::create_hard_link(stick(), file("hard.glb"));
  expectError(retarget({"--out", file("hard.glb")}), 2, "never written over");
  fs::remove(file("hard.glb"));
  expectError(cli({"map", "--performer", walk(), "--character", stick(), "--out", walk()}), 2, "never written over");
  EXPECT_EQ(readFile(stick()), before);
}

TEST_F(CommandTest, BadInputsAreToldAndNothingIsWritten) {
  writeFile(file("empty.bvh"), "");
  writeFile(file("empty.glb"), "");
  writeFile(file("text.bvh"), "once upon a time\n");
  writeFile(file("half.glb"), makeStickCharacterGlb().substr(0, 5000));
  writeFile(file("half.bvh"), makeWalkBvh().substr(0, 900));
  writeFile(file("noclip.bvh"), makeWalkBvh({.frames = 0}));
  const std::string out = file("out.glb");
  for (const std::string name : {"none.bvh", "empty.bvh", "text.bvh", "half.bvh", "empty.glb", "half.glb"}) {
    expectError(cli({"look", file(name)}), 3, name);
    expectError(cli({"retarget", "--performer", file(name), "--character", stick(), "--out", out}), 3, name);
    expectError(cli({"retarget", "--performer", walk(), "--character", file(name), "--out", out}), 3, name);
  }
  expectError(cli({"look", folder_.path()}), 3, "folder");
  expectError(cli({"retarget", "--performer", file("noclip.bvh"), "--character", stick(), "--out", out}), 3, "noclip.bvh");
  // A performer without any animation.
  writeFile(file("still.glb"), makeStickCharacterGlb({.existingClip = false}));
  expectError(cli({"retarget", "--performer", file("still.glb"), "--character", stick(), "--out", out}), 3, "no animation");
  EXPECT_FALSE(fs::exists(out));
}

TEST_F(CommandTest, LookTellsTheFile) {
  const ProgramRun human = cli({"look", walk()});
  EXPECT_EQ(human.exitCode, 0) << human.err;
  for (const std::string part : {"BVH", "cm", "+Y", "T-pose", "61 frames at 60", "LeftForeArm"}) EXPECT_NE(human.out.find(part), std::string::npos) << part;
  const ProgramRun run = cli({"look", walk(), "--json"});
  ASSERT_EQ(run.exitCode, 0);
  const Json json = Json::parse(run.out);
  EXPECT_EQ(json["ok"], true);
  EXPECT_EQ(json["format"], "BVH");
  EXPECT_DOUBLE_EQ(json["unit"]["metres"].get<double>(), 0.01);
  EXPECT_NEAR(json["height"].get<double>(), 1.7, 0.15);
  EXPECT_EQ(json["clips"].size(), 1U);
  EXPECT_EQ(json["clips"][0]["frames"], 61);
  EXPECT_EQ(json["clips"][0]["number"], 1);
  EXPECT_EQ(json["roles"]["missingRequired"].size(), 0U);
  // Every joint names its parent before itself.
  for (std::size_t j = 0; j < json["joints"].size(); ++j) EXPECT_LT(json["joints"][j]["parent"].get<int>(), static_cast<int>(j));
  const Json character = Json::parse(cli({"look", stick(), "--json"}).out);
  EXPECT_EQ(character["skins"].size(), 1U);
  EXPECT_EQ(character["triangles"], 22 * 12);
  EXPECT_EQ(character["clips"][0]["name"], "idle");
  EXPECT_EQ(character["restPose"], "A-pose");
}

TEST_F(CommandTest, UnitAndUpCanBeOverridden) {
  const Json json = Json::parse(cli({"look", walk(), "--json", "--unit", "mm", "--up", "z"}).out);
  EXPECT_DOUBLE_EQ(json["unit"]["metres"].get<double>(), 0.001);
  EXPECT_EQ(json["up"]["axis"], "+Z");
}

TEST_F(CommandTest, MapFilesAreWrittenAndUsed) {
  const std::string map = file("map.json");
  const ProgramRun run = cli({"map", "--performer", walk(), "--character", stick(), "--out", map, "--json"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  Json answer = Json::parse(run.out);
  EXPECT_EQ(answer["ok"], true);
  EXPECT_EQ(answer["roles"]["leftUpperArm"]["character"]["joints"][0], "upperarm_l");
  Json json = Json::parse(readFile(map));
  EXPECT_TRUE(json["roles"].contains("leftUpperArm"));
  EXPECT_EQ(retarget({"--map", map, "--out", file("a.bvh")}).exitCode, 0);
  EXPECT_EQ(retarget({"--out", file("b.bvh")}).exitCode, 0);
  EXPECT_EQ(readFile(file("a.bvh")), readFile(file("b.bvh")));
  // Hand-written maps: plain names, and a role taken out.
  Json plain;
  for (const auto& [role, sides] : answer["roles"].items())
    for (const std::string side : {"performer", "character"})
      if (!sides[side]["joints"].empty()) plain["roles"][role][side] = sides[side]["joints"][0];
  writeFile(map, plain.dump());
  EXPECT_EQ(retarget({"--map", map, "--out", file("c.glb")}).exitCode, 0);
  Json lacking = plain;
  lacking["roles"].erase("leftLowerLeg");
  writeFile(map, lacking.dump());
  expectError(retarget({"--map", map, "--out", file("d.glb")}), 4, "leftLowerLeg");
  plain["roles"]["leftHand"]["character"] = "tentacle";
  writeFile(map, plain.dump());
  const ProgramRun unknown = retarget({"--map", map, "--out", file("d.glb")});
  EXPECT_NE(unknown.exitCode, 0);
  EXPECT_NE(unknown.err.find("tentacle"), std::string::npos) << unknown.err;
  writeFile(map, "{");
  EXPECT_NE(retarget({"--map", map, "--out", file("d.glb")}).exitCode, 0);
  EXPECT_FALSE(fs::exists(file("d.glb")));
}

TEST_F(CommandTest, RetargetAddsTheAnimationToTheCharactersFile) {
  const std::string out = file("out.glb");
  const ProgramRun run = retarget({"--out", out, "--json", "--fps", "24", "--range", "3:12", "--name", "sweep"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  EXPECT_EQ(run.err, "");
  const Json json = Json::parse(run.out);
  EXPECT_EQ(json["ok"], true);
  EXPECT_EQ(json["frames"], 10);
  EXPECT_NEAR(json["hipTravelRatio"].get<double>(), 1, 0.01);
  EXPECT_LT(json["fidelity"]["mm"].get<double>(), 0.1);
  EXPECT_GT(json["keys"].get<int>(), 0);
  EXPECT_EQ(json["bytes"].get<std::size_t>(), fs::file_size(out));
  EXPECT_NEAR(json["characterLeg"].get<double>(), 0.8, 0.01);
  EXPECT_NEAR(json["performerLeg"].get<double>(), 0.83, 0.01);
  EXPECT_NEAR(json["stride"].get<double>(), json["characterLeg"].get<double>() / json["performerLeg"].get<double>(), 1e-6);
  for (const std::string key : {"groundOffset", "references", "alignment", "issues", "seconds"}) EXPECT_TRUE(json.contains(key)) << key;
  EXPECT_TRUE(json["alignment"].contains("leftUpperArm"));
  const auto figure = readFigure(out);
  ASSERT_TRUE(figure.ok());
  ASSERT_EQ(figure->clips.size(), 2U);
  EXPECT_EQ(figure->clips[0].name, "idle");
  EXPECT_EQ(figure->clips[1].name, "sweep");
  EXPECT_EQ(figure->clips[1].frames(), 10);
  EXPECT_EQ(figure->clips[1].rate, (FrameRate{24, 1}));
}

TEST_F(CommandTest, ARangeIsThePartOfTheWhole) {
  ASSERT_EQ(retarget({"--out", file("whole.csv")}).exitCode, 0);
  ASSERT_EQ(retarget({"--out", file("part.csv"), "--range", "20:20", "--first-frame", "20"}).exitCode, 0);
  // The rows of frame 20 hold the same positions, whichever range was asked for (the time column starts anew).
  const auto rows = [](const std::string& text) {
    std::vector<std::string> found;
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = text.find('\n', at);
      const std::string line = text.substr(at, end - at);
      at = end == std::string::npos ? text.size() : end + 1;
      if (line.starts_with("20,")) found.push_back(line.substr(line.find(',', 3)));
    }
    return found;
  };
  const auto whole = rows(readFile(file("whole.csv"))), part = rows(readFile(file("part.csv")));
  EXPECT_EQ(whole.size(), 23U);  // 22 joints and the mesh's node
  EXPECT_EQ(whole, part);
}

TEST_F(CommandTest, OutputsAreTheSameEveryTime) {
  for (const std::string ending : {".glb", ".gltf", ".bvh", ".csv"}) {
    ASSERT_EQ(retarget({"--out", file("a" + ending)}).exitCode, 0) << ending;
    ASSERT_EQ(retarget({"--out", file("b" + ending)}).exitCode, 0) << ending;
    // A .gltf may name its buffer after itself.
    if (ending != ".gltf") {
      EXPECT_EQ(readFile(file("a" + ending)), readFile(file("b" + ending))) << ending;
    }
  }
}

TEST_F(CommandTest, AMovingSpineIsNamedInTheReport) {
  writeFile(file("slide.bvh"), makeWalkBvh({.moveSpine = true}));
  // Self-retarget: the spine's slide is dropped and told.
  const ProgramRun run = cli({"retarget", "--performer", file("slide.bvh"), "--character", walk(), "--out", file("o.bvh"), "--json"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  EXPECT_NE(Json::parse(run.out)["issues"].dump().find("Spine"), std::string::npos) << run.out;
}

TEST_F(CommandTest, ReelsOfTheCommandLineOpen) {
  ASSERT_EQ(retarget({"--out", file("o.glb"), "--save-reel", file("o.reel"), "--fps", "24"}).exitCode, 0);
  Issues issues;
  const auto reel = loadReel(file("o.reel"), &issues);
  ASSERT_TRUE(reel.ok());
  EXPECT_TRUE(issues.empty());
  EXPECT_EQ(reel->takes[0]->performer->path, walk());
  EXPECT_EQ(reel->takes[0]->rate, (FrameRate{24, 1}));
}

TEST_F(CommandTest, UnwritableOutputsAreOutputErrors) {
  expectError(retarget({"--out", file("none/out.glb")}), 5, "folder");
  fs::create_directory(file("folder.glb"));
  expectError(retarget({"--out", file("folder.glb")}), 5, "folder");
  expectError(retarget({"--out", "/dev/full"}), 5, "/dev/full");
  expectError(cli({"map", "--performer", walk(), "--character", stick(), "--out", "/dev/full"}), 5, "/dev/full");
  fs::create_symlink("/dev/full", file("full.glb"));
  expectError(retarget({"--out", file("full.glb")}), 5, "full.glb");
  expectError(retarget({"--out", "/proc/out.glb"}), 5, "/proc/out.glb");
  const ProgramRun printed = cli({"look", walk()}, {.stdoutPath = "/dev/full"});
  EXPECT_EQ(printed.exitCode, 5);
  EXPECT_NE(printed.err.find("standard output"), std::string::npos);
  expectOnly({"folder.glb", "full.glb"});
}

TEST_F(CommandTest, ASizeLimitLeavesNothingHalfWritten) {
  const std::string out = file("out.glb");
  writeFile(out, "what was there before");
  expectError(retarget({"--out", out}, {.fileSizeLimit = 8192}), 5, "out.glb");
  EXPECT_EQ(readFile(out), "what was there before");
  expectOnly({"out.glb"});
}

TEST_F(CommandTest, ErrorsAreJsonForMachines) {
  const ProgramRun run = cli({"look", file("none.bvh"), "--json"});
  EXPECT_EQ(run.exitCode, 3);
  const Json json = Json::parse(run.out);
  EXPECT_EQ(json["ok"], false);
  EXPECT_EQ(json["exitCode"], 3);
  EXPECT_FALSE(json["error"]["what"].get<std::string>().empty());
  EXPECT_FALSE(json["error"]["todo"].get<std::string>().empty());
  EXPECT_EQ(Json::parse(cli({"look", "--json"}).out)["exitCode"], 2);
  EXPECT_EQ(Json::parse(cli({"lok", "--json"}).out)["exitCode"], 2);
}

TEST_F(CommandTest, InterruptedRunsStopCleanly) {
  WalkOptions longWalk;
  longWalk.frames = 20000;
  writeFile(file("long.bvh"), makeWalkBvh(longWalk));
  const std::string out = file("long.glb");
  const std::vector<std::string> words{"retarget", "--performer", file("long.bvh"), "--character", stick(), "--out", out, "--no-check"};
  const auto begin = std::chrono::steady_clock::now();
  ASSERT_EQ(cli(words).exitCode, 0);
  const double whole = std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
  int stopped = 0;
  for (const double share : {0.1, 0.25, 0.4, 0.55, 0.7, 0.9}) {
    const int delay = static_cast<int>(share * whole);
    fs::remove(out);
    const ProgramRun run = cli(words, {.interruptAfterMilliseconds = delay});
    // Either it was done already, or it stopped; before main() has begun, the signal itself ends it.
    if (run.exitCode == 6) {
      ++stopped;
      EXPECT_FALSE(fs::exists(out)) << delay;
      EXPECT_NE(run.err.find("Stopped"), std::string::npos);
    } else {
      EXPECT_TRUE(run.exitCode == 0 || run.exitCode == -2) << run.exitCode << run.err;
    }
    for (const auto& entry : fs::directory_iterator(folder_.path())) EXPECT_FALSE(entry.path().string().ends_with(".tmp")) << entry.path();
  }
  EXPECT_GT(stopped, 0);
}

TEST_F(CommandTest, NamesThatAreHardToSpellWork) {
  const std::string odd = file("the keeper's \"clip\" ü.bvh");
  writeFile(odd, makeWalkBvh({.frames = 5}));
  const std::string out = file("--out.glb");
  EXPECT_EQ(cli({"retarget", "--performer", odd, "--character", stick(), "--out=" + out}).exitCode, 0);
  EXPECT_TRUE(fs::exists(out));
  // Bytes that are no UTF-8 still give valid JSON.
  const std::string latin = file("caf\xe9.bvh");
  writeFile(latin, makeWalkBvh({.frames = 5}));
  const ProgramRun run = cli({"look", latin, "--json"});
  EXPECT_EQ(run.exitCode, 0);
  EXPECT_TRUE(Json::accept(run.out));
}

TEST_F(CommandTest, OneFrameIsEnough) {
  writeFile(file("one.bvh"), makeWalkBvh({.frames = 1}));
  for (const std::string ending : {".glb", ".bvh", ".csv"}) {
    const ProgramRun run = cli({"retarget", "--performer", file("one.bvh"), "--character", stick(), "--out", file("out" + ending), "--json"});
    ASSERT_EQ(run.exitCode, 0) << run.err;
    EXPECT_EQ(Json::parse(run.out)["frames"], 1);
  }
}

}  // namespace
}  // namespace understudy
