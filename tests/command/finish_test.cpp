// The whole job on the samples: finished once, it stays finished.
#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/io/read.h"
#include "core/job/finish.h"
#include "core/store/reel_file.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

const std::string cli = UNDERSTUDY_BINARY "/bin/understudy-cli";
const std::string samples = UNDERSTUDY_SOURCE "/samples/";

/// The samples finished from the command line, once for all tests.
const std::string& finishedFolder() {
  static const TemporaryFolder folder;
  static const std::string path = [] {
    const std::string out = folder.file("done");
    const ProgramRun run = runProgram({cli, "finish", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb", "--out", out, "--no-pictures", "--json"});
    EXPECT_EQ(run.exitCode, 0) << run.err;
    return out;
  }();
  return path;
}

TEST(FinishCommand, LeavesResultReelAndReports) {
  for (const char* name : {"result.glb", "result.reel", "report.json", "report.html"})
    EXPECT_GT(std::filesystem::file_size(std::filesystem::path(finishedFolder()) / name), 1000U) << name;
  const auto reel = loadReel(finishedFolder() + "/result.reel");
  ASSERT_TRUE(reel.ok()) << reel.error().text();
  EXPECT_GT(reel->currentTake()->repairs->size(), 8U);
}

TEST(FinishCommand, ATakeThatIsFinishedStaysAsItIs) {
  const auto reel = loadReel(finishedFolder() + "/result.reel");
  ASSERT_TRUE(reel.ok());
  const Take& take = *reel->currentTake();
  const auto sources = readSources(take);
  ASSERT_TRUE(sources.ok()) << sources.error().text();
  const auto once = evaluate(take, *sources);
  ASSERT_TRUE(once.ok());
  const auto again = finishTake(take, *sources);
  ASSERT_TRUE(again.ok()) << again.error().text();
  EXPECT_EQ(again->take, take) << again->take.repairs->size() << " repairs instead of " << take.repairs->size();
  EXPECT_TRUE(again->evaluated.motion.flat() == once->motion.flat());
}

// What was evaluated step by step while repairs were added is what the reel gives when it is evaluated at once.
TEST(FinishCommand, TheFileHoldsWhatItsReelGives) {
  const TemporaryFolder folder;
  const ProgramRun run = runProgram({cli, "repair", "export", finishedFolder() + "/result.reel", "--out", folder.file("again.glb"), "--quiet"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const auto done = readFigure(finishedFolder() + "/result.glb"), again = readFigure(folder.file("again.glb"));
  ASSERT_TRUE(done.ok() && again.ok());
  const auto a = sample(done->clips.back(), done->skeleton), b = sample(again->clips.back(), again->skeleton);
  ASSERT_TRUE(a.ok() && b.ok());
  ASSERT_EQ(a->frames, b->frames);
  for (int f = 0; f < a->frames; ++f)
    for (std::size_t j = 0; j < a->rotationsAt(f).size(); ++j) ASSERT_EQ(a->rotationsAt(f)[j], b->rotationsAt(f)[j]) << "frame " << f + 1 << ", joint " << j;
}

TEST(FinishCommand, TheResultAsPerformerAsksForNothingNew) {
  const TemporaryFolder folder;
  Take take;
  take.performer = FileReference{finishedFolder() + "/result.glb"};
  take.character = FileReference{samples + "keeper.glb"};
  const auto sources = readSources(take);
  ASSERT_TRUE(sources.ok()) << sources.error().text();
  for (std::size_t i = 0; i < sources->performer->clips.size(); ++i)
    if (sources->performer->clips[i].name == "Understudy") take.clip = static_cast<int>(i);
  const auto seen = evaluate(take, *sources);
  ASSERT_TRUE(seen.ok() && seen->complete());
  const auto performance = analysePerformance(*sources->performer, seen->map->performer, seen->performerNative);
  ASSERT_TRUE(performance.ok());
  const auto look = inspectTake(take, *seen, **performance);
  ASSERT_TRUE(look.ok()) << look.error().text();
  // What the first run had to leave is still there, and nothing else.
  const auto report = nlohmann::json::parse(readFile(finishedFolder() + "/report.json"));
  std::string asked;
  for (const Finding& finding : look->findings) {
    EXPECT_TRUE(finding.proposal.empty()) << finding.sentence;
    const bool left = std::any_of(report["findings"].begin(), report["findings"].end(), [&](const nlohmann::json& old) {
      const FrameSpan span{old["span"][0].get<int>() - 1, old["span"][1].get<int>() - 1};
      return (old["state"] == "remaining" || old["state"] == "hint") && old["kind"] == findingName(finding.kind) && old["bones"][0] == finding.bones.front() &&
             !common(widened(span, 3, 3), finding.span).empty();
    });
    if (!left) asked += finding.sentence + " (" + std::to_string(finding.span.first) + ":" + std::to_string(finding.span.last) + ")\n";
  }
  EXPECT_EQ(asked, "");
}

TEST(FindingsCommand, WavesOffAndStaysWavedOff) {
  const TemporaryFolder folder;
  const std::string reel = folder.file("take.reel");
  std::filesystem::copy_file(finishedFolder() + "/result.reel", reel);
  const auto findings = [&](std::vector<std::string> more) {
    std::vector<std::string> words{cli, "findings", reel, "--json"};
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = runProgram(words);
    EXPECT_EQ(run.exitCode, 0) << run.err;
    return nlohmann::json::parse(run.out, nullptr, false);
  };
  const auto before = findings({});
  ASSERT_TRUE(before.is_object());
  ASSERT_FALSE(before["findings"].empty());
  const std::string key = before["findings"][0]["key"];
  const auto stateOf = [&](const nlohmann::json& report) {
    for (const auto& finding : report["findings"])
      if (finding["key"] == key) return finding["state"].get<std::string>();
    return std::string("gone");
  };
  EXPECT_NE(stateOf(before), "waved");
  EXPECT_EQ(stateOf(findings({"--off", key})), "waved");
  EXPECT_EQ(stateOf(findings({})), "waved");
  EXPECT_EQ(loadReel(reel)->currentTake()->waved, std::vector<std::string>{key});
  EXPECT_EQ(stateOf(findings({"--on", key})), stateOf(before));
  const ProgramRun none = runProgram({cli, "findings", reel, "--off", "no such key"});
  EXPECT_EQ(none.exitCode, 2);
  EXPECT_NE(none.err.find("no such key"), std::string::npos);
}

TEST(BatchClips, TakesAllClipsOfAPerformersFileOrTheOneAskedFor) {
  const std::string robot = UNDERSTUDY_CORPUS "/characters/RobotExpressive.glb";
  if (!std::filesystem::exists(robot)) GTEST_SKIP() << "no open corpus beside the project";
  const TemporaryFolder folder;
  const auto pairs = [&](std::vector<std::string> more) {
    std::vector<std::string> words{cli, "batch", "--list", "--performers", robot, "--characters", samples + "keeper.glb", "--out", folder.file("out"), "--json"};
    words.insert(words.end(), more.begin(), more.end());
    const ProgramRun run = runProgram(words);
    return nlohmann::json::parse(run.out, nullptr, false);
  };
  const auto all = pairs({});
  const auto figure = readFigure(robot);
  ASSERT_TRUE(figure.ok() && all.is_object());
  EXPECT_EQ(all["pairs"], std::count_if(figure->clips.begin(), figure->clips.end(), [](const Clip& clip) { return !clip.still; }));
  EXPECT_GT(all["pairs"], 5);
  EXPECT_EQ(all["jobs"][0]["name"], "RobotExpressive-" + figure->clips[0].name + "--keeper");
  EXPECT_EQ(pairs({"--clip", "2"})["pairs"], 1);
}

TEST(FinishCommand, WrongRequestsAreToldAndLeaveNothing) {
  const TemporaryFolder folder;
  const auto run = [&](std::vector<std::string> words) {
    words.insert(words.begin(), {cli, "finish"});
    return runProgram(words);
  };
  const std::string performer = samples + "sweep.bvh", character = samples + "keeper.glb";
  EXPECT_EQ(run({"--performer", performer, "--character", character}).exitCode, 2);
  EXPECT_EQ(run({"--performer", performer, "--character", character, "--out", folder.file("a"), "--lead", "both"}).exitCode, 2);
  const ProgramRun noProp = run({"--performer", performer, "--character", character, "--out", folder.file("b"), "--prop", folder.file("none.glb")});
  EXPECT_EQ(noProp.exitCode, 3);
  EXPECT_NE(noProp.err.find("none.glb"), std::string::npos);
  EXPECT_FALSE(std::filesystem::exists(folder.file("b/result.glb")));
  writeFile(folder.file("taken"), "a file");
  EXPECT_EQ(run({"--performer", performer, "--character", character, "--out", folder.file("taken")}).exitCode, 5);
}

}  // namespace
}  // namespace understudy
