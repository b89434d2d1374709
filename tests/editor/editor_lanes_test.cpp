// Where repairs lie in time, on lanes, and in the list: values only, no window.
#include <gtest/gtest.h>

#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"
#include "app/editor/panels/field_widgets.h"
#include "app/editor/timeline/lane_layout.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

const FrameRate rate{30, 1};
constexpr int clip = 300;

Repair step(int first, int last) {
  PlantRepair plant;
  plant.marks = {{rate.seconds(first), PlantPhase::heel}, {rate.seconds(first + 3), PlantPhase::flat}, {rate.seconds(last - 4), PlantPhase::ball}};
  plant.release = rate.seconds(last - 2);
  Repair repair;
  repair.id = 7;
  repair.span = TimeRange{rate.seconds(first), rate.seconds(last)};
  repair.action = plant;
  return repair;
}
FrameSpan spanOf(const Repair& repair) { return repairFrames(repair, rate, clip).span; }
const PlantRepair& plantOf(const Repair& repair) { return std::get<PlantRepair>(repair.action); }

TEST(EditorSpans, AMovedPlantTakesPhasesAndReleaseAlongAndStopsAtTheClipsEnds) {
  const Repair moved = shifted(step(100, 130), 12, rate, clip);
  EXPECT_EQ(spanOf(moved), (FrameSpan{112, 142}));
  EXPECT_EQ(frameAt(plantOf(moved).marks[1].time, rate), 115);
  EXPECT_EQ(frameAt(*plantOf(moved).release, rate), 140);
  EXPECT_EQ(spanOf(shifted(step(100, 130), -500, rate, clip)), (FrameSpan{0, 30}));
  EXPECT_EQ(spanOf(shifted(step(100, 130), 500, rate, clip)), (FrameSpan{269, 299}));
  Repair whole = step(100, 130);
  whole.span.reset();
  EXPECT_EQ(shifted(whole, 5, rate, clip), whole);
}

TEST(EditorSpans, EdgesKeepPhasesInsideAndOneFrame) {
  const Repair later = withEdge(step(100, 130), SpanPart::first, 110, rate, clip);
  EXPECT_EQ(spanOf(later), (FrameSpan{110, 130}));
  ASSERT_EQ(plantOf(later).marks.size(), 2U) << "the heel phase lies before the new first frame";
  EXPECT_EQ(plantOf(later).marks[0].phase, PlantPhase::flat);
  EXPECT_EQ(frameAt(plantOf(later).marks[0].time, rate), 110);
  const Repair shorter = withEdge(step(100, 130), SpanPart::last, 120, rate, clip);
  EXPECT_EQ(plantOf(shorter).marks.size(), 2U) << "so does the ball phase after the new last one";
  EXPECT_EQ(frameAt(*plantOf(shorter).release, rate), 120);
  EXPECT_EQ(spanOf(withEdge(step(100, 130), SpanPart::last, 20, rate, clip)), (FrameSpan{100, 100}));
  EXPECT_EQ(spanOf(withEdge(step(100, 130), SpanPart::first, -40, rate, clip)), (FrameSpan{0, 130}));
}

TEST(EditorSpans, PhasesMoveBetweenTheirNeighbours) {
  EXPECT_EQ(frameAt(plantOf(withMark(step(100, 130), 1, 110, rate)).marks[1].time, rate), 110);
  EXPECT_EQ(frameAt(plantOf(withMark(step(100, 130), 1, 90, rate)).marks[1].time, rate), 101);
  EXPECT_EQ(frameAt(plantOf(withMark(step(100, 130), 1, 200, rate)).marks[1].time, rate), 125);
  EXPECT_EQ(withMark(step(100, 130), 0, 105, rate), step(100, 130)) << "the first begins with the span";
  const Repair more = withPhase(step(100, 130), PlantPhase::toe, 128, rate);
  ASSERT_EQ(plantOf(more).marks.size(), 4U);
  EXPECT_EQ(plantOf(more).marks.back().phase, PlantPhase::toe);
  EXPECT_FALSE(plantOf(withRelease(step(100, 130), 140, rate, clip)).release) << "after the end nothing is left to slip";
}

TEST(EditorSpans, ADragChangesOnlyWhatItHolds) {
  const Repair base = step(100, 130);
  EXPECT_EQ(repairFrames(draggedSpan(base, SpanPart::easeBefore, -1, 92, 88, rate, clip), rate, clip).before, 12);
  EXPECT_EQ(repairFrames(draggedSpan(base, SpanPart::easeAfter, -1, 138, 150, rate, clip), rate, clip).after, 20);
  EXPECT_EQ(spanOf(draggedSpan(base, SpanPart::easeAfter, -1, 138, 150, rate, clip)), spanOf(base));
  EXPECT_EQ(spanOf(draggedSpan(base, SpanPart::body, -1, 110, 115, rate, clip)), (FrameSpan{105, 135}));
}

TEST(EditorSpans, BothHalvesOfASplitCoverWhatTheWholeDid) {
  const auto parts = split(step(100, 130), 115, rate, clip);
  ASSERT_TRUE(parts);
  EXPECT_EQ(spanOf(parts->first), (FrameSpan{100, 114}));
  EXPECT_EQ(spanOf(parts->second), (FrameSpan{115, 130}));
  EXPECT_EQ(plantOf(parts->second).marks[0].phase, PlantPhase::flat);
  EXPECT_FALSE(plantOf(parts->first).release);
  EXPECT_EQ(parts->second.id, 0U);
  for (int f = 90; f < 141; ++f) {
    const double a = spanWeight(repairFrames(parts->first, rate, clip), f), b = spanWeight(repairFrames(parts->second, rate, clip), f);
    EXPECT_DOUBLE_EQ(std::max(a, b), spanWeight(repairFrames(step(100, 130), rate, clip), f)) << f;
  }
  EXPECT_FALSE(split(step(100, 130), 100, rate, clip));
  EXPECT_FALSE(split(step(100, 130), 131, rate, clip));
}

TEST(EditorLanes, EveryRepairHasItsLaneAndOverlapsAreStacked) {
  Take take;
  Evaluated evaluated;
  evaluated.rate = rate;
  evaluated.frames = evaluated.clipFrames = clip;
  take = addRepair(take, step(100, 130));
  take = addRepair(take, step(120, 150));
  take = addRepair(take, step(160, 170));
  Repair touch;
  touch.action = TouchRepair{};
  touch.span = TimeRange{1, 2};
  take = addRepair(take, touch);
  const auto lanes = lanesOf(take, evaluated);
  ASSERT_EQ(lanes.size(), 3U);
  EXPECT_EQ(lanes[0].group, LaneGroup::leftFoot);
  EXPECT_EQ(lanes[0].rows, 2);
  EXPECT_EQ(lanes[0].bars[1].row, 1);
  EXPECT_EQ(lanes[0].bars[2].row, 0) << "rows are used again";
  EXPECT_EQ(lanes[0].bars[0].phases.size(), 3U);
  EXPECT_EQ(lanes[1].group, LaneGroup::touches);
  EXPECT_EQ(lanes[2].group, LaneGroup::nudges) << "there even while empty";
}

TEST(EditorList, ItemsStandInTheOrderTheyApply) {
  Take take;
  const auto add = [&](RepairAction action) {
    Repair repair;
    repair.action = std::move(action);
    take = addRepair(take, repair);
  };
  add(ClearanceRepair{});
  add(PlantRepair{});
  add(OffsetRepair{});
  add(UntwistRepair{});
  take = addNudge(take, Nudge{});
  std::vector<int> kinds;
  for (const RepairItem& item : itemsOf(take)) kinds.push_back(item.nudge ? -1 : static_cast<int>(findRepair(take, item.id)->action.index()));
  EXPECT_EQ(kinds, (std::vector<int>{4, 0, -1, 6, 9}));
}

TEST(EditorUnits, NumbersAreShownAsPeopleUseThem) {
  const Units units{rate, 1};
  EXPECT_EQ(shownAs({"gap", "", "m"}), Shown::millimetres);
  EXPECT_EQ(shownAs({"yaw", "", "rad"}), Shown::degrees);
  EXPECT_EQ(shownAs({"time", "", "s"}), Shown::frame);
  EXPECT_EQ(shownAs({"easeAfter", "", "s", 0, 1e4}), Shown::frames);
  EXPECT_EQ(shownAs({"share", "", "", 0, 1}), Shown::percent);
  EXPECT_DOUBLE_EQ(units.toShown(Shown::millimetres, 0.012), 12);
  EXPECT_DOUBLE_EQ(units.toShown(Shown::frame, 1), 31) << "frames count from 1";
  EXPECT_DOUBLE_EQ(units.toStored(Shown::frame, 31), 1);
  EXPECT_DOUBLE_EQ(units.toStored(Shown::frames, 15), 0.5);
  EXPECT_NEAR(units.toStored(Shown::degrees, 90), 1.5707963267948966, 1e-12);
}

}  // namespace
}  // namespace understudy::editor
