// What a finished clip knows of itself.
#include "core/inspect/history.h"

#include <gtest/gtest.h>

#include "core/take/edits.h"
#include "tests/support/finding_kit.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

struct Walk {
  explicit Walk(double legLength = 0.8) {
    writeFile(folder.file("walk.bvh"), makeWalkBvh());
    StickOptions stick;
    stick.legLength = legLength;
    writeFile(folder.file("stick.glb"), makeStickCharacterGlb(stick));
    take.performer = FileReference{folder.file("walk.bvh")};
    take.character = FileReference{folder.file("stick.glb")};
    PlantRepair plant;
    plant.release = 0.7;
    Repair repair = test::proposedRepair(plant, "left foot");
    repair.span = TimeRange{0.4, 0.8};
    take = addRepair(take, repair);
    take = setTrim(take, FrameRange{13, 61}, FrameRate{60, 1});
    sources = readSources(take).value();
    seen = evaluate(take, sources).value();
  }
  TemporaryFolder folder;
  Take take;
  Sources sources;
  Evaluated seen;
};

/// The result handed over and retargeted to itself: its own motion comes in, and is what is shown.
Evaluated again(const Walk& walk, const std::string& history) {
  Evaluated seen = walk.seen;
  seen.history = std::make_shared<const std::string>(history);
  seen.stageInputs.front() = seen.untrimmed = walk.seen.motion;
  seen.trimFirst = 0;
  seen.clipFrames = seen.frames;
  return seen;
}

TEST(ClipHistory, TellsWhereTheClipStandsAndWhatWasLeft) {
  const Walk walk;
  const Findings left{test::flaw(FindingKind::pop, "@leftLowerLeg", {22, 24}, 9, 0.1, "plant 1 turns it")}, settled{test::flaw(FindingKind::pop, "@head", {30, 30}, 5)};
  const auto history = historyOf(again(walk, historyText(walk.take, walk.seen, &left, settled)));
  ASSERT_TRUE(history);
  ASSERT_EQ(history->repairs.size(), 1U);
  // Times count from the first frame that was handed over, the thirteenth.
  EXPECT_NEAR(history->repairs[0].span->first, 0.2, 1e-9);
  EXPECT_NEAR(*std::get<PlantRepair>(history->repairs[0].action).release, 0.5, 1e-9);
  ASSERT_EQ(history->left.size(), 1U);
  EXPECT_TRUE(history->left[0].span == (FrameSpan{10, 12}));
  EXPECT_EQ(history->left[0].cause, "plant 1 turns it");
  ASSERT_EQ(history->settled.size(), 1U);
  EXPECT_NE(leftBefore(history->left, test::flaw(FindingKind::pop, "@leftLowerLeg", {11, 11}, 9.2)), nullptr);
  EXPECT_EQ(leftBefore(history->left, test::flaw(FindingKind::pop, "@leftLowerLeg", {11, 11}, 12)), nullptr);
  EXPECT_EQ(leftBefore(history->left, test::flaw(FindingKind::pop, "@rightLowerLeg", {11, 11}, 9)), nullptr);
  EXPECT_EQ(leftBefore(history->left, test::flaw(FindingKind::pop, "@leftLowerLeg", {30, 31}, 9)), nullptr);
}

TEST(ClipHistory, SaysNothingOnAnotherBodyOrOfAnotherMotion) {
  const Walk walk, other(0.75);
  const std::string text = historyText(walk.take, walk.seen, nullptr);
  EXPECT_TRUE(historyOf(again(walk, text)));
  EXPECT_FALSE(historyOf(again(other, text)));
  Evaluated later = again(walk, text);
  later.stageInputs.front() = walk.seen.untrimmed;
  later.clipFrames = walk.seen.clipFrames;
  EXPECT_FALSE(historyOf(later));
  for (const char* broken : {"{}", "{\"version\":1,\"stands\":[],\"repairs\":[],\"left\":[],\"settled\":[]}", "{\"version\":1,\"stands\":7}", "not JSON"}) EXPECT_FALSE(historyOf(again(walk, broken))) << broken;
  // A plain retarget that nobody has looked at has none.
  Take plain = walk.take;
  plain.repairs = Node<Repairs>{};
  EXPECT_EQ(historyText(plain, walk.seen, nullptr), "");
}

}  // namespace
}  // namespace understudy
