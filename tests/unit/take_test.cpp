#include <gtest/gtest.h>

#include "core/take/edits.h"
#include "core/take/undo.h"

namespace understudy {
namespace {

Take fullTake() {
  Take take;
  take.name = "Sweeping the gallery";
  take = setPerformer(take, {.path = "/clips/keeper.bvh"});
  take = setCharacter(take, {.path = "/rigs/keeper.glb"});
  take = setRole(take, MapSide::performer, Role::leftHand, {"LeftHand"});
  take = setRole(take, MapSide::character, Role::leftHand, {"port_hand"});
  take = setTrim(take, FrameRange{11, 50}, {30, 1});
  take = setRate(take, FrameRate{24, 1}, {30, 1}, {30, 1});
  take = setAlignmentOffset(take, Role::leftHand, {0.1, 0, 0});
  take = setAlignmentChoice(take, Role::head, true);
  Nudge nudge;
  nudge.time = 1;
  nudge.joints = {{"port_hand", {0, 0.2, 0}, {}}};
  return addNudge(take, nudge);
}

TEST(TakeEdits, SettingWhatIsThereReturnsAnEqualTake) {
  const Take take = fullTake();
  EXPECT_EQ(setPerformer(take, *take.performer), take);
  EXPECT_EQ(setCharacter(take, *take.character), take);
  EXPECT_EQ(setClip(take, take.clip), take);
  EXPECT_EQ(setRate(take, take.rate, {24, 1}, {30, 1}), take);
  EXPECT_EQ(setRole(take, MapSide::character, Role::leftHand, {"port_hand"}), take);
  EXPECT_EQ(setAlignmentOffset(take, Role::leftHand, {0.1, 0, 0}), take);
  EXPECT_EQ(changeNudge(take, *(*take.nudges)[0]), take);
  EXPECT_EQ(removeNudge(take, 99), take);
  EXPECT_EQ(setExport(take, *take.handOver), take);
}

TEST(TakeEdits, ThereAndBackIsTheSameValue) {
  const Take take = fullTake();
  EXPECT_EQ(setStride(setStride(take, 1.5), std::nullopt), take);
  EXPECT_EQ(setAlignmentOffset(setAlignmentOffset(take, Role::hips, {1, 0, 0}), Role::hips, {}), take);
  EXPECT_EQ(setAlignmentChoice(setAlignmentChoice(take, Role::hips, false), Role::hips, std::nullopt), take);
  std::uint64_t id = 0;
  const Take more = addNudge(take, {}, &id);
  EXPECT_NE(more, take);
  EXPECT_EQ(removeNudge(more, id), take);
  EXPECT_EQ(reorderNudge(reorderNudge(more, id, 0), id, 1), more);
}

TEST(TakeEdits, EditsShareWhatTheyDoNotChange) {
  const Take take = fullTake();
  const Take next = setStride(take, 2.0);
  EXPECT_TRUE(next.nudges.same(take.nudges));
  EXPECT_TRUE(next.map.same(take.map));
  EXPECT_FALSE(next.retarget.same(take.retarget));
  Nudge second;
  const Take longer = addNudge(take, second);
  EXPECT_TRUE((*longer.nudges)[0].same((*take.nudges)[0]));
}

TEST(TakeEdits, AnotherPerformerKeepsTheCharactersSide) {
  const Take next = setPerformer(fullTake(), {.path = "/clips/other.bvh"});
  EXPECT_TRUE(next.map->performer[static_cast<std::size_t>(indexOf(Role::leftHand))].joints.empty());
  EXPECT_EQ(next.map->character[static_cast<std::size_t>(indexOf(Role::leftHand))].joints, std::vector<std::string>{"port_hand"});
  EXPECT_EQ(next.nudges->size(), 1U);
  EXPECT_FALSE(next.trim);
}

TEST(TakeEdits, ReferenceFrameKeepsItsTimeWhenTheRateChanges) {
  Take take = setPerformerReference({}, {.clipFrame = 60});
  take = setRate(take, FrameRate{24, 1}, {120, 1}, {120, 1});
  EXPECT_EQ(take.retarget->performerReference.clipFrame, 12);
}

TEST(TakeEdits, NudgeIdsAreNeverUsedTwice) {
  std::uint64_t a = 0, b = 0, c = 0;
  Take take = addNudge({}, {}, &a);
  take = addNudge(take, {}, &b);
  Nudge clash;
  clash.id = a;
  take = addNudge(take, clash, &c);
  EXPECT_NE(a, b);
  EXPECT_NE(c, a);
  EXPECT_NE(c, b);
}

TEST(ReelEdits, RemovingTakesKeepsTheCurrentOne) {
  Reel reel = addTake(addTake(newReel(), {.name = "b"}), {.name = "c"});
  EXPECT_EQ(reel.current, 2);
  reel = removeTake(reel, 0);
  EXPECT_EQ(reel.currentTake()->name, "c");
  reel = removeTake(reel, 1);
  EXPECT_EQ(reel.currentTake()->name, "b");
  reel = removeTake(reel, 0);
  EXPECT_EQ(reel.currentTake(), nullptr);
  EXPECT_EQ(removeTake(reel, 0), reel);
}

TEST(UndoStack, GoesBackAndForth) {
  UndoStack<int> stack(1);
  EXPECT_TRUE(stack.push("two", 2));
  EXPECT_TRUE(stack.push("three", 3));
  EXPECT_EQ(stack.undoLabel(), "three");
  EXPECT_TRUE(stack.undo());
  EXPECT_EQ(stack.current(), 2);
  EXPECT_EQ(stack.redoLabel(), "three");
  EXPECT_TRUE(stack.redo());
  EXPECT_FALSE(stack.redo());
  EXPECT_TRUE(stack.undo());
  EXPECT_TRUE(stack.push("five", 5));
  EXPECT_FALSE(stack.canRedo());
  EXPECT_EQ(stack.labels(), (std::vector<std::string>{"two", "five"}));
}

TEST(UndoStack, GoesBackToTheNewestValueThatIsWanted) {
  UndoStack<int> stack(1);
  for (const int value : {2, 3, 4}) stack.push("step", value);
  EXPECT_FALSE(stack.undoTo([](int value) { return value > 3; })) << "the current one is none before it";
  EXPECT_EQ(stack.current(), 4);
  EXPECT_TRUE(stack.undoTo([](int value) { return value < 3; }));
  EXPECT_EQ(stack.current(), 2);
  EXPECT_TRUE(stack.redo());
  EXPECT_EQ(stack.current(), 3);
}

TEST(UndoStack, NoEditIsNoStep) {
  UndoStack<int> stack(1);
  EXPECT_FALSE(stack.push("same", 1));
  EXPECT_FALSE(stack.canUndo());
}

TEST(UndoStack, ADragIsOneStepAndADragBackIsNone) {
  UndoStack<int> stack(1);
  stack.push("turn", 2, "drag");
  stack.push("turn", 3, "drag");
  EXPECT_EQ(stack.done(), 1U);
  stack.push("turn", 1, "drag");
  EXPECT_EQ(stack.done(), 0U);
  EXPECT_TRUE(stack.isSaved());
  stack.push("turn", 2, "drag");
  stack.seal();
  stack.push("turn", 3, "drag");
  EXPECT_EQ(stack.done(), 2U);
}

TEST(UndoStack, KnowsWhatWasSaved) {
  UndoStack<int> stack(1);
  EXPECT_TRUE(stack.isSaved());
  stack.push("two", 2);
  EXPECT_FALSE(stack.isSaved());
  stack.markSaved();
  stack.push("three", 3);
  stack.undo();
  EXPECT_TRUE(stack.isSaved());
  stack.undo();
  EXPECT_FALSE(stack.isSaved());
  stack.push("four", 4);
  EXPECT_FALSE(stack.isSaved());
  stack.undo();
  EXPECT_FALSE(stack.isSaved());
}

TEST(UndoStack, LimitForgetsTheOldest) {
  UndoStack<int> stack(0);
  stack.setLimit(2);
  for (int i = 1; i <= 5; ++i) stack.push(std::to_string(i), i);
  EXPECT_TRUE(stack.undo());
  EXPECT_TRUE(stack.undo());
  EXPECT_FALSE(stack.undo());
  EXPECT_EQ(stack.current(), 3);
  EXPECT_FALSE(stack.isSaved());
}

}  // namespace
}  // namespace understudy
