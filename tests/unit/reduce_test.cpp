// Reduced and editable curves: the bound is measured on the written file, read back by the reader.
#include <gtest/gtest.h>

#include <cmath>

#include "core/bake/bake.h"
#include "core/bake/reduce.h"
#include "core/io/read.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

struct Loaded {
  TemporaryFolder folder;
  Take take;
  Sources sources;
  Evaluated evaluated;
  Loaded() {
    const std::string walk = folder.file("walk.bvh"), stick = folder.file("stick.glb");
    writeFile(walk, makeWalkBvh());
    writeFile(stick, makeStickCharacterGlb());
    take = setCharacter(setPerformer({}, {walk, 0, {}, {}, {}}), {stick, 0, {}, {}, {}});
    sources = readSources(take).value();
    evaluated = evaluate(take, sources).value();
  }
  Fidelity write(BakeKind kind, double tolerance, std::string* file = nullptr) {
    HandOver settings;
    settings.bake = kind;
    settings.tolerance = tolerance;
    const auto baked = bake(setExport(take, settings), *sources.character, evaluated);
    EXPECT_TRUE(baked) << baked.error().text();
    const std::string out = folder.file(bakeKindName(kind) + std::to_string(tolerance) + ".glb");
    EXPECT_TRUE(handOver(*sources.character, baked->clip, out));
    if (file) *file = out;
    return measureFidelity(out, *sources.character, baked->clip).value();
  }
};

TEST(Reduce, TheBoundHoldsInTheWrittenFileAndKeysBecomeFewer) {
  Loaded loaded;
  const Fidelity all = loaded.write(BakeKind::sampled, 0.001);
  std::size_t before = all.keys;
  for (const double millimetres : {0.2, 1.0, 5.0}) {
    const Fidelity some = loaded.write(BakeKind::reduced, millimetres * 0.001);
    EXPECT_LE(some.worstMillimetres, millimetres * 1.001 + 0.01) << millimetres;
    EXPECT_LT(some.keys, before) << millimetres;
    before = some.keys;
  }
  EXPECT_LT(before, all.keys / 2);
}

TEST(Reduce, EditableKeysStandAtTheSameFramesAlongALimbAndAreSmooth) {
  Loaded loaded;
  std::string file;
  const Fidelity some = loaded.write(BakeKind::editable, 0.003, &file);
  EXPECT_LE(some.worstMillimetres, 3.1);
  EXPECT_LT(some.keys, loaded.write(BakeKind::sampled, 0.001).keys / 2);
  const auto read = readFigure(file);
  ASSERT_TRUE(read);
  std::map<std::string, std::vector<float>> times;
  for (const KeyedCurve& curve : read->clips.back().curves) {
    if (curve.target != CurveTarget::rotation || curve.times.size() < 2) continue;
    EXPECT_EQ(curve.interpolation, Interpolation::cubic);
    times[jointKey(read->skeleton, curve.joint)] = curve.times;
  }
  ASSERT_TRUE(times.contains("upperarm_l") && times.contains("lowerarm_l") && times.contains("thigh_r") && times.contains("calf_r"));
  EXPECT_EQ(times["upperarm_l"], times["lowerarm_l"]);
  EXPECT_EQ(times["thigh_r"], times["calf_r"]);
  EXPECT_NE(times["upperarm_l"], times["thigh_r"]);
}

TEST(Reduce, AStraightTurnNeedsItsTwoEnds) {
  Figure figure;
  figure.skeleton.add("root", -1, {}, 0);
  figure.skeleton.add("arm", 0, {{0, 0.4, 0}, {}, {1, 1, 1}}, 1);
  Motion motion = restMotion(figure.skeleton, 61, {30, 1});
  for (int f = 0; f < 61; ++f) motion.rotationsAt(f)[0] = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, 0.02 * f));
  const auto plan = planKeys(figure, motion, {0, 1}, nullptr, {});
  ASSERT_TRUE(plan);
  EXPECT_EQ(plan->rotation.at(0), (std::vector<int>{0, 60}));
  EXPECT_FALSE(plan->rotation.contains(1)) << "a bone that never turns needs no plan";
  // A kink of 1.1 mm at the arm's end gets its own keys, one of half a millimetre none.
  for (const double metres : {0.0005, 0.0011}) {
    Motion bent = motion;
    bent.rotationsAt(30)[0] = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, 0.02 * 30 + metres / 0.43));
    EXPECT_EQ(planKeys(figure, bent, {0}, nullptr, {})->rotation.at(0).size() > 2, metres > 0.001) << metres;
  }
  EXPECT_FALSE(planKeys(figure, motion, {0}, nullptr, {0, false}));
}

TEST(Reduce, ReelsKeepTheKindOfCurvesAndNotes) {
  Take take;
  HandOver settings;
  settings.bake = BakeKind::editable;
  settings.tolerance = 0.0025;
  take = setExport(take, settings);
  std::uint64_t first = 0, second = 0;
  take = addNote(take, {0, 2.5, "@leftHand", "reaches too far", "Ada", false, {}}, &first);
  take = addNote(take, {0, 1, "", "good weight here", "Jun", true, {}}, &second);
  EXPECT_NE(first, second);
  EXPECT_EQ(take.notes->front().id, second) << "in order of time";
  const Reel reel{{Node<Take>(take)}, 0, {}};
  const auto read = readReel(writeReel(reel, "a.reel"), "a.reel");
  ASSERT_TRUE(read) << read.error().text();
  EXPECT_EQ(*read->currentTake()->handOver, settings);
  EXPECT_EQ(*read->currentTake()->notes, *take.notes);
  EXPECT_TRUE(removeNote(removeNote(take, first), second).notes->empty());
  const auto wrong = readReel(R"({"format":"understudy reel","version":1,"takes":[{"handOver":{"bake":"quick"}}]})", "a.reel");
  ASSERT_FALSE(wrong);
  EXPECT_NE(wrong.error().text().find("sampled"), std::string::npos);
}

TEST(Reel, KeepsMarkersInOrderOfTime) {
  Take take;
  std::uint64_t first = 0, second = 0;
  take = addMarker(take, {0, 2.5, "turn", {}}, &first);
  take = addMarker(take, {0, 1, "", {}}, &second);
  EXPECT_NE(first, second);
  EXPECT_EQ(take.markers->front().id, second);
  Marker moved = *findMarker(take, second);
  moved.time = 3;
  moved.name = "stroke";
  take = changeMarker(take, moved);
  EXPECT_EQ(take.markers->front().id, first) << "in order of time after a move, too";
  const auto read = readReel(writeReel({{Node<Take>(take)}, 0, {}}, "a.reel"), "a.reel");
  ASSERT_TRUE(read) << read.error().text();
  EXPECT_EQ(*read->currentTake(), take);
  EXPECT_EQ(writeReel(*read, "a.reel"), writeReel({{Node<Take>(take)}, 0, {}}, "a.reel"));
  EXPECT_TRUE(removeMarker(removeMarker(take, first), second).markers->empty());
  EXPECT_EQ(changeMarker(take, {77, 1, "none", {}}), take) << "unknown numbers change nothing";
  const auto wrong = readReel(R"({"format":"understudy reel","version":1,"takes":[{"markers":[{"id":"one"}]}]})", "a.reel");
  ASSERT_FALSE(wrong);
  EXPECT_NE(wrong.error().text().find("whole number"), std::string::npos);
}

TEST(Reel, OnePerformerOrCharacterForAllTakes) {
  Reel reel = newReel();
  reel = setCurrentTake(reel, setCharacter(setPerformer(*reel.currentTake(), {"a.bvh", 0, {}, {}, {}}), {"keeper.glb", 0, {}, {}, {}}));
  reel = addTake(reel, setPerformer(*reel.currentTake(), {"b.bvh", 0, {}, {}, {}}));
  const Reel other = setCharacterForAll(reel, {"robot.glb", 0, {}, {}, {}});
  for (const auto& take : other.takes) EXPECT_EQ(take->character->path, "robot.glb");
  EXPECT_EQ(other.takes[0]->performer->path, "a.bvh");
  EXPECT_EQ(other.takes[1]->performer->path, "b.bvh");
  EXPECT_EQ(setCharacterForAll(reel, {"keeper.glb", 0, {}, {}, {}}), reel) << "nothing to change";
}

}  // namespace
}  // namespace understudy
