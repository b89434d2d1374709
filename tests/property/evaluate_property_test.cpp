// Evaluating with what earlier evaluations left must give the bytes of a fresh evaluation, whatever was edited.
#include <gtest/gtest.h>

#include <random>

#include "core/evaluate/evaluate.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

class Editing : public ::testing::Test {
 protected:
  void SetUp() override {
    WalkOptions walk;
    writeFile(folder_.file("walk.bvh"), makeWalkBvh(walk));
    writeFile(folder_.file("stick.glb"), makeStickCharacterGlb());
    start_ = setCharacter(setPerformer({}, {.path = folder_.file("walk.bvh")}), {.path = folder_.file("stick.glb")});
    const auto sources = readSources(start_);
    ASSERT_TRUE(sources.ok()) << sources.error().text();
    sources_ = *sources;
    const auto seen = evaluate(start_, sources_);
    ASSERT_TRUE(seen.ok() && seen->complete());
    seconds_ = seen->rate.seconds(seen->clipFrames - 1);
  }

  double any(double least, double most) { return std::uniform_real_distribution<double>(least, most)(random_); }
  int below(int n) { return static_cast<int>(random_() % static_cast<unsigned>(n)); }
  Vec3d direction(double size) { return {any(-size, size), any(-size, size), any(-size, size)}; }
  std::string bone() {
    static const std::vector<std::string> bones{"@hips", "@spine", "@head", "@leftUpperArm", "@leftLowerArm", "@rightHand", "@rightUpperLeg", "@leftFoot"};
    return bones[static_cast<std::size_t>(below(static_cast<int>(bones.size())))];
  }
  std::vector<std::string> someBones() { return below(3) == 0 ? std::vector<std::string>{} : std::vector<std::string>{bone()}; }

  RepairAction action() {
    switch (below(10)) {
      case 0: return OffsetRepair{{{bone(), direction(0.4), below(3) == 0 ? direction(0.05) : Vec3d{}}}, static_cast<NudgeSpace>(below(5)), below(2) == 0};
      case 1: return BridgeRepair{someBones(), below(2) == 0};
      case 2: return StillRepair{someBones(), std::nullopt, below(2) == 0};
      case 3: return RestoreRepair{someBones()};
      case 4: return UntwistRepair{someBones(), below(2) == 0, any(0, 1), any(0.2, 2)};
      case 5: return SmoothRepair{someBones(), any(2, 12), below(2) == 0};
      case 6: {
        PlantRepair plant;
        plant.part = static_cast<PlantPart>(below(2));
        return plant;
      }
      case 7: {
        TouchRepair touch;
        touch.bone = below(2) == 0 ? "@leftHand" : "@rightHand";
        touch.target = TouchTarget::point;
        touch.place = {any(-0.4, 0.4), any(0.8, 1.3), any(0.1, 0.5)};
        return touch;
      }
      case 8: {
        GripRepair grip;
        grip.leadLeft = below(2) == 0;
        return grip;
      }
      default: return ClearanceRepair{};
    }
  }

  Repair repair() {
    Repair r;
    if (below(6) != 0) {
      const double from = any(-0.2, seconds_), to = from + any(0, 0.7);
      r.span = TimeRange{from, to};
    }
    r.easeBefore = any(0, 0.3);
    r.easeAfter = any(0, 0.3);
    r.weight = below(4) == 0 ? any(0, 1) : 1;
    r.action = action();
    return r;
  }

  Take edited(const Take& take) {
    const int repairs = static_cast<int>(take.repairs->size()), nudges = static_cast<int>(take.nudges->size());
    const auto anyRepair = [&] { return *(*take.repairs)[static_cast<std::size_t>(below(repairs))]; };
    switch (below(11)) {
      case 0:
      case 1:
      case 2: return repairs < 8 ? addRepair(take, repair()) : removeRepair(take, anyRepair().id);
      case 3: return repairs > 0 ? removeRepair(take, anyRepair().id) : take;
      case 4: {
        if (repairs == 0) return take;
        Repair r = anyRepair();
        r.muted = !r.muted;
        return changeRepair(take, r);
      }
      case 5: {
        if (repairs == 0) return take;
        Repair r = anyRepair();
        const Repair other = repair();
        r.span = other.span;
        r.easeAfter = other.easeAfter;
        r.weight = other.weight;
        return changeRepair(take, r);
      }
      case 6: return repairs > 0 ? reorderRepair(take, anyRepair().id, below(repairs)) : take;
      case 7: {
        Nudge nudge;
        nudge.time = any(0, seconds_);
        nudge.joints = {{bone(), direction(0.5), below(4) == 0 ? direction(0.05) : Vec3d{}}};
        nudge.space = static_cast<NudgeSpace>(below(5));
        nudge.late = below(3) == 0;
        return nudges < 6 ? addNudge(take, nudge) : removeNudge(take, (*take.nudges)[static_cast<std::size_t>(below(nudges))]->id);
      }
      case 8: {
        if (nudges == 0) return take;
        Nudge nudge = *(*take.nudges)[static_cast<std::size_t>(below(nudges))];
        nudge.time = any(0, seconds_);
        nudge.muted = below(4) == 0;
        return changeNudge(take, nudge);
      }
      case 9: return setLocks(take, below(2) == 0 ? std::vector<Lock>{} : std::vector<Lock>{{{bone()}, TimeRange{any(0, 0.5), any(0.5, 1.5)}}});
      default: return below(2) == 0 ? setTrim(take, FrameRange{1 + below(10), 20 + below(30)}, {60, 1}) : setTrim(take, std::nullopt, {60, 1});
    }
  }

  TemporaryFolder folder_;
  Take start_;
  Sources sources_;
  double seconds_ = 0;
  std::mt19937 random_{20};
};

TEST_F(Editing, CachedEqualsFreshAfterAnyEdit) {
  EvaluationCache cache;
  Take take = start_;
  std::array<int, stageCount> ran{};
  for (int edit = 0; edit < 1000; ++edit) {
    take = edited(take);
    if (const auto with = refitted(take, sources_, &cache)) take = *with;
    RunControl four;
    four.threads = 4;
    const auto cached = evaluate(take, sources_, &cache, four);
    ASSERT_TRUE(cached.ok()) << "edit " << edit << ": " << cached.error().text();
    RunControl one;
    one.threads = 1;
    const auto fresh = evaluate(take, sources_, nullptr, one);
    ASSERT_TRUE(fresh.ok());
    if (!(cached->motion.flat() == fresh->motion.flat()) || cached->residuals != fresh->residuals) {
      std::string list;
      for (const Node<Repair>& r : *take.repairs) list += describe(*r) + (r->muted ? " muted" : "") + "\n";
      for (std::size_t s = 0; s < stageCount; ++s)
        if (s + 1 < stageCount && !(cached->stageInputs[s + 1].flat() == fresh->stageInputs[s + 1].flat())) list += "differs behind stage " + std::to_string(s) + "\n";
      FAIL() << "after edit " << edit << "\n" << list;
    }
    for (std::size_t s = 0; s + 1 < stageCount; ++s) ran[s] += cached->stageInputs[s + 1].sharedTiles(cached->stageInputs[s]) < cached->stageInputs[s].tiles();
  }
  // Every stage the edits can reach did something at some time.
  for (const RepairStage stage : {RepairStage::smooth, RepairStage::hold, RepairStage::offset, RepairStage::plant, RepairStage::touch, RepairStage::grip})
    EXPECT_GT(ran[static_cast<std::size_t>(stage)], 0) << static_cast<int>(stage);
}

}  // namespace
}  // namespace understudy
