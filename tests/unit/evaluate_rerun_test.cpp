// What is evaluated again after an edit.
#include <gtest/gtest.h>

#include "core/evaluate/evaluate.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

Repair turnOver(std::optional<TimeRange> span) {
  Repair repair;
  repair.span = span;
  repair.easeBefore = repair.easeAfter = 0;
  repair.action = OffsetRepair{{{"@leftUpperArm", {0, 0, 0.1}, {}}}, NudgeSpace::bone, false};
  return repair;
}

TEST(EvaluateAgain, RepairsBetweenThoseThatWentAwayAreKept) {
  const TemporaryFolder folder;
  writeFile(folder.file("walk.bvh"), makeWalkBvh({}));
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  Take take = setCharacter(setPerformer({}, {.path = folder.file("walk.bvh")}), {.path = folder.file("stick.glb")});
  const auto sources = readSources(take);
  ASSERT_TRUE(sources.ok()) << sources.error().text();
  std::uint64_t first = 0, last = 0;
  take = addRepair(take, turnOver(TimeRange{0.1, 0.2}), &first);
  take = addRepair(take, turnOver(std::nullopt));
  take = addRepair(take, turnOver(TimeRange{0.5, 0.6}), &last);
  EvaluationCache cache;
  const auto stage = static_cast<std::size_t>(RepairStage::offset);
  const auto before = evaluate(take, *sources, &cache);
  ASSERT_TRUE(before.ok()) << before.error().text();
  ASSERT_EQ(before->framesRun[stage], before->clipFrames);

  const Take less = removeRepair(removeRepair(take, first), last);
  const auto after = evaluate(less, *sources, &cache), fresh = evaluate(less, *sources);
  ASSERT_TRUE(after.ok() && fresh.ok());
  const long again = after->framesRun[stage] - before->framesRun[stage];
  EXPECT_GT(again, 0);
  EXPECT_LE(again, 2 * (static_cast<long>(0.1 * after->rate.hertz()) + 2));
  for (int f = 0; f < fresh->frames; ++f) EXPECT_TRUE(after->motion.sameAt(fresh->motion, f)) << f;
}

}  // namespace
}  // namespace understudy
