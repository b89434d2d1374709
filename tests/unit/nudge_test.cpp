#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstring>

#include "core/bake/bake.h"
#include "core/evaluate/evaluate.h"
#include "core/io/read.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

// Three joints in a row, the middle one below a parent that is turned, scaled and mirrored in its first axis.
Figure chain(double unit = 0.01) {
  Figure figure;
  figure.space.metresPerUnit = unit;
  figure.space.worldFromFile = fromAxisAngle(Vec3d{1, 0, 0}, -1.5707963267948966);
  figure.skeleton.add("root", -1, {{10, 20, 30}, fromAxisAngle(normalised(Vec3d{1, 2, 3}), 0.8), {-2, 2, 2}}, 0);
  figure.skeleton.add("arm", 0, {{0, 5, 0}, fromAxisAngle(normalised(Vec3d{0, 1, 1}), 0.5), {1, 1, 1}}, 1);
  figure.skeleton.add("hand", 1, {{0, 7, 0}, {}, {1, 1, 1}}, 2);
  return figure;
}

TiledMotion swinging(const Figure& figure, int frames) {
  Motion motion = restMotion(figure.skeleton, frames, {30, 1}, {0});
  for (int f = 0; f < frames; ++f)
    for (int j = 0; j < motion.joints; ++j)
      motion.rotationsAt(f)[static_cast<std::size_t>(j)] = Quatf(normalised(figure.skeleton.rest[static_cast<std::size_t>(j)].rotation *
                                                                           fromAxisAngle(Vec3d{0, 0, 1}, 0.4 * std::sin(0.05 * f + j))));
  return TiledMotion(std::make_shared<const Motion>(std::move(motion)));
}

Nudges oneNudge(NudgeSpace space, JointNudge joint, double frame = 100, double before = 8, double after = 8) {
  Nudge nudge;
  nudge.id = 1;
  nudge.time = frame / 30;
  nudge.easeBefore = before / 30;
  nudge.easeAfter = after / 30;
  nudge.space = space;
  nudge.joints = {std::move(joint)};
  return {Node<Nudge>(nudge)};
}

bool sameBytes(const TiledMotion& a, const TiledMotion& b, int frame) {
  const auto x = a.rotationsAt(frame), y = b.rotationsAt(frame);
  const auto s = a.translationsAt(frame), t = b.translationsAt(frame);
  return std::memcmp(x.data(), y.data(), x.size_bytes()) == 0 && s.size() == t.size() && std::memcmp(s.data(), t.data(), s.size_bytes()) == 0;
}

TEST(NudgeEase, IsOneAtTheKeyAndZeroAtTheEnds) {
  const NudgeFrames frames{100, 8, 4};
  EXPECT_EQ(easeWeight(frames, 100), 1);
  EXPECT_EQ(easeWeight(frames, 92), 0);
  EXPECT_EQ(easeWeight(frames, 104), 0);
  EXPECT_DOUBLE_EQ(easeWeight(frames, 96), 0.5);
  EXPECT_DOUBLE_EQ(easeWeight(frames, 102), 0.5);
  EXPECT_EQ(frames.first(), 93);
  EXPECT_EQ(frames.last(), 103);
  EXPECT_EQ((NudgeFrames{7, 0, 0}).first(), 7);
}

TEST(NudgeEase, KeepsItsTimeAtAnotherRate) {
  Nudge nudge;
  nudge.time = 2;
  EXPECT_EQ(nudgeFrames(nudge, {30, 1}), (NudgeFrames{60, 8, 8}));
  EXPECT_EQ(nudgeFrames(nudge, {120, 1}), (NudgeFrames{240, 32, 32}));
  EXPECT_EQ(nudgeFrames(nudge, {24, 1}), (NudgeFrames{48, 6, 6}));
}

// glTF 2.0, appendix C, interpolation cubic: v0 = 0, b0 = 1, v1 = 1, a1 = −1 over two seconds is 0.53125 at a quarter of them.
TEST(NudgeEase, TwoKeysWithSlopesAreACubicHermiteSpline) {
  const NudgeFrames first{0, 0, 8}, second{8, 8, 0};  // four frames a second
  const double perFrame = 0.25;
  const double value = easeWeight(second, 2) * 1 + slopeWeight(first, 2) * 1 * perFrame + slopeWeight(second, 2) * -1 * perFrame;
  EXPECT_NEAR(value, 0.53125, 1e-12);
  EXPECT_EQ(slopeWeight(first, 0), 0);
  EXPECT_EQ(slopeWeight(first, 8), 0);
  EXPECT_EQ(slopeWeight(first, -1), 0);
  EXPECT_DOUBLE_EQ(slopeWeight({100, 8, 8}, 96), -slopeWeight({100, 8, 8}, 104));
}

TEST(Nudge, ASlopeTurnsOnBothSidesOfItsKeyAndNotAtIt) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 200);
  Nudge nudge = *oneNudge(NudgeSpace::bone, {"arm", {}, {}})[0];
  nudge.slopes = {{"arm", {0, 0, 3}, {0, 0, 6}}};
  const TiledMotion out = applyNudges(figure, base, {Node<Nudge>(nudge)}, nullptr, nullptr);
  const auto turn = [&](int frame) { return logOf(normalised(conjugate(Quatd(base.rotationsAt(frame)[1])) * Quatd(out.rotationsAt(frame)[1]))).z; };
  EXPECT_NEAR(turn(100), 0, 1e-6);
  EXPECT_NEAR(turn(101), 6.0 / 30 * std::pow(1 - 1 / 8.0, 2), 1e-5);
  EXPECT_NEAR(turn(98), -2 * 3.0 / 30 * std::pow(1 - 2 / 8.0, 2), 1e-5);
  for (int f : {92, 108, 0, 199}) EXPECT_TRUE(sameBytes(base, out, f)) << f;
  // Half the weight, half the turn; and as a file says it.
  nudge.weight = 0.5;
  const TiledMotion half = applyNudges(figure, base, {Node<Nudge>(nudge)}, nullptr, nullptr);
  EXPECT_NEAR(logOf(normalised(conjugate(Quatd(base.rotationsAt(101)[1])) * Quatd(half.rotationsAt(101)[1]))).z, turn(101) / 2, 1e-5);
  const Reel reel{{Node<Take>(addNudge({}, nudge))}, 0, {}};
  const auto read = readReel(writeReel(reel, "a.reel"), "a.reel");
  ASSERT_TRUE(read) << read.error().text();
  EXPECT_EQ(*read->currentTake()->nudges, *reel.currentTake()->nudges);
}

TEST(Nudge, OutsideItsEaseEveryByteStays) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 300);
  for (const NudgeSpace space : {NudgeSpace::bone, NudgeSpace::parent, NudgeSpace::character, NudgeSpace::world, NudgeSpace::view}) {
    const TiledMotion out = applyNudges(figure, base, oneNudge(space, {"arm", {0.3, 0.2, -0.5}, {}}), nullptr, nullptr);
    for (int f = 0; f < 300; ++f) EXPECT_EQ(sameBytes(base, out, f), f <= 92 || f >= 108) << f;
    // Frames 92 … 108 lie in the tile of frames 64 … 127 only.
    EXPECT_EQ(out.sharedTiles(base), base.tiles() - 1);
  }
}

TEST(Nudge, TurnsInItsSpace) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 200);
  const Vec3d r{0.3, 0.2, -0.5};
  const Quatd before(base.rotationsAt(100)[1]);
  const TiledMotion bone = applyNudges(figure, base, oneNudge(NudgeSpace::bone, {"arm", r, {}}), nullptr, nullptr);
  EXPECT_NEAR(angleBetween(Quatd(bone.rotationsAt(100)[1]), before * expOf(r)), 0, 1e-6);
  EXPECT_NEAR(angleBetween(Quatd(bone.rotationsAt(96)[1]), Quatd(base.rotationsAt(96)[1]) * expOf(r * 0.5)), 0, 1e-6);
  const TiledMotion parent = applyNudges(figure, base, oneNudge(NudgeSpace::parent, {"arm", r, {}}), nullptr, nullptr);
  EXPECT_NEAR(angleBetween(Quatd(parent.rotationsAt(100)[1]), expOf(r) * before), 0, 1e-6);

  // World: whatever the parents carry (here a mirrored scale), the hand turns about the arm by exp(r) as seen in the stage.
  const TiledMotion world = applyNudges(figure, base, oneNudge(NudgeSpace::world, {"arm", r, {}}), nullptr, nullptr);
  const Affined toWorld = figure.space.toWorld();
  const auto old = worldAt(figure.skeleton, base, 100), now = worldAt(figure.skeleton, world, 100);
  const Vec3d armOld = apply(toWorld, old[1].translation), armNow = apply(toWorld, now[1].translation);
  EXPECT_NEAR(distance(armOld, armNow), 0, 1e-9);
  const Vec3d handOld = apply(toWorld, old[2].translation) - armOld, handNow = apply(toWorld, now[2].translation) - armNow;
  EXPECT_NEAR(distance(handNow, rotate(expOf(r), handOld)), 0, 1e-6);
  EXPECT_GT(distance(handNow, handOld), 0.01);
}

TEST(Nudge, CharacterSpaceFollowsTheHipsHeading) {
  Figure figure = chain(1);
  figure.space.worldFromFile = {};
  for (Trsd& rest : figure.skeleton.rest) rest.rotation = {}, rest.scale = {1, 1, 1};
  BoneMap map;
  map.character.at(Role::hips) = {{0}, 1, ""};
  RetargetReport report;
  report.characterReference.fileWorld = restWorld(figure.skeleton);
  Motion motion = restMotion(figure.skeleton, 200, {30, 1});
  const Quatd quarter = fromAxisAngle(Vec3d{0, 1, 0}, 1.5707963267948966);
  for (int f = 0; f < 200; ++f) motion.rotationsAt(f)[0] = Quatf(quarter);
  const TiledMotion base(std::make_shared<const Motion>(std::move(motion)));
  const TiledMotion out = applyNudges(figure, base, oneNudge(NudgeSpace::character, {"hand", {0, 0, 0.4}, {}}), &map, &report);
  // The character looks along +X now, so its own front axis (z) is the stage's x; below the hips that is the hand's z.
  EXPECT_NEAR(angleBetween(Quatd(out.rotationsAt(100)[2]), expOf(Vec3d{0, 0, 0.4})), 0, 1e-6);
}

TEST(Nudge, MovesInMetresWhateverTheFilesUnit) {
  const Figure figure = chain(0.01);
  const TiledMotion base = swinging(figure, 200);
  const Affined toWorld = figure.space.toWorld();
  for (const std::string joint : {"root", "arm"}) {
    const int j = *findJoint(figure.skeleton, joint);
    const TiledMotion out = applyNudges(figure, base, oneNudge(NudgeSpace::world, {joint, {}, {0.1, -0.05, 0.2}}), nullptr, nullptr);
    const Vec3d shift = apply(toWorld, worldAt(figure.skeleton, out, 100)[static_cast<std::size_t>(j)].translation) -
                        apply(toWorld, worldAt(figure.skeleton, base, 100)[static_cast<std::size_t>(j)].translation);
    EXPECT_NEAR(distance(shift, {0.1, -0.05, 0.2}), 0, 1e-6) << joint;
    EXPECT_EQ(distance(worldAt(figure.skeleton, out, 120)[2].translation, worldAt(figure.skeleton, base, 120)[2].translation), 0);
  }
}

TEST(Nudge, MutedWeightlessAndUnknownChangeNothing) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 200);
  Nudge nudge = *oneNudge(NudgeSpace::bone, {"arm", {1, 0, 0}, {}})[0];
  nudge.muted = true;
  Nudge weightless = nudge;
  weightless.muted = false;
  weightless.weight = 0;
  Nudge lost = nudge;
  lost.muted = false;
  lost.joints[0].joint = "tail";
  Issues issues;
  std::vector<int> joints;
  const TiledMotion out = applyNudges(figure, base, {Node<Nudge>(nudge), Node<Nudge>(weightless), Node<Nudge>(lost)}, nullptr, nullptr, &joints, &issues);
  EXPECT_EQ(out.sharedTiles(base), base.tiles());
  EXPECT_TRUE(joints.empty());
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].what.find("tail"), std::string::npos);
}

TEST(Nudge, AtTheClipsEndsIsCutOff) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 70);
  for (const double frame : {-5.0, 0.0, 69.0, 75.0, 1e9}) {
    const TiledMotion out = applyNudges(figure, base, oneNudge(NudgeSpace::world, {"arm", {1, 0, 0}, {}}, frame), nullptr, nullptr);
    EXPECT_EQ(out.frames(), 70);
    EXPECT_EQ(sameBytes(out, base, 35), true);
  }
}

TEST(TiledMotion, ViewsAndFlatCopiesAgree) {
  const Figure figure = chain();
  const TiledMotion base = swinging(figure, 200);
  const Motion flat = base.view(60, 80).flat();
  EXPECT_EQ(flat.frames, 80);
  for (int f = 0; f < 80; ++f) EXPECT_EQ(flat.rotationsAt(f)[2], base.rotationsAt(60 + f)[2]);
  EXPECT_EQ(base.flat(), base.view(0, 200).flat());
}

struct Loaded {
  TemporaryFolder folder;
  Take take;
  Sources sources;
};

std::unique_ptr<Loaded> load(const WalkOptions& walk = {}) {
  auto loaded = std::make_unique<Loaded>();
  writeFile(loaded->folder.file("walk.bvh"), makeWalkBvh(walk));
  writeFile(loaded->folder.file("stick.glb"), makeStickCharacterGlb());
  loaded->take = setCharacter(setPerformer({}, {.path = loaded->folder.file("walk.bvh")}), {.path = loaded->folder.file("stick.glb")});
  const auto sources = readSources(loaded->take);
  EXPECT_TRUE(sources.ok()) << (sources.ok() ? "" : sources.error().text());
  if (sources) loaded->sources = *sources;
  return loaded;
}

TEST(Evaluate, ANudgeDoesNotRunTheRetargetingAgain) {
  const auto loaded = load();
  EvaluationCache cache;
  const auto first = evaluate(loaded->take, loaded->sources, &cache);
  ASSERT_TRUE(first.ok()) << first.error().text();
  ASSERT_TRUE(first->complete()) << first->issues.back().text();
  Nudge nudge = nudgeAt(*first, 20);
  nudge.joints = {{"lowerarm_l", {0.4, 0, 0}, {}}};
  const Take nudged = addNudge(loaded->take, nudge);
  const auto second = evaluate(nudged, loaded->sources, &cache);
  ASSERT_TRUE(second.ok());
  EXPECT_EQ(cache.counts().retargeted, 1);
  EXPECT_EQ(cache.counts().sampled, 1);
  EXPECT_EQ(cache.counts().repaired, 2);
  EXPECT_FALSE(second->motion.flat() == first->motion.flat());
  EXPECT_TRUE(second->base.flat() == first->motion.flat());
  // A trim neither; and cached equals fresh.
  const auto trimmed = evaluate(setTrim(nudged, FrameRange{11, 40}, second->rate), loaded->sources, &cache);
  ASSERT_TRUE(trimmed.ok());
  EXPECT_EQ(cache.counts().retargeted, 1);
  EXPECT_EQ(trimmed->frames, 30);
  EXPECT_EQ(frameOf(*trimmed, *(*nudged.nudges)[0]), 10);
  const auto fresh = evaluate(setTrim(nudged, FrameRange{11, 40}, second->rate), loaded->sources);
  ASSERT_TRUE(fresh.ok());
  EXPECT_TRUE(fresh->motion.flat() == trimmed->motion.flat());
  // Undone, everything is as before.
  const auto undone = evaluate(removeNudge(nudged, 1), loaded->sources, &cache);
  ASSERT_TRUE(undone.ok());
  EXPECT_TRUE(undone->motion.flat() == first->motion.flat());
}

TEST(Evaluate, SaysWhatIsMissing) {
  const auto loaded = load();
  Sources half = loaded->sources;
  half.character = nullptr;
  const auto alone = evaluate(loaded->take, half);
  ASSERT_TRUE(alone.ok());
  EXPECT_EQ(alone->performer.frames(), 61);
  EXPECT_FALSE(alone->complete());
  ASSERT_FALSE(alone->issues.empty());
  const auto noClip = evaluate(setClip(loaded->take, 7), loaded->sources);
  ASSERT_FALSE(noClip.ok());
  EXPECT_EQ(noClip.error().fault, Fault::usage);
  const auto nothing = evaluate(setTrim(loaded->take, FrameRange{500, 600}, {60, 1}), loaded->sources);
  ASSERT_FALSE(nothing.ok());
  EXPECT_NE(nothing.error().what.find("1:61"), std::string::npos);
  // One role chosen by hand and no others: the map is incomplete, and the performer can still be shown.
  const auto incomplete = evaluate(setRole(loaded->take, MapSide::character, Role::hips, {"pelvis"}), loaded->sources);
  ASSERT_TRUE(incomplete.ok());
  EXPECT_FALSE(incomplete->complete());
  EXPECT_EQ(incomplete->performer.frames(), 61);
  EXPECT_EQ(incomplete->issues.back().fault, Fault::mapping);
}

TEST(Evaluate, BakedFilesHoldTheNudgeAndMeasureTrue) {
  const auto loaded = load();
  auto evaluated = evaluate(loaded->take, loaded->sources);
  ASSERT_TRUE(evaluated.ok());
  Nudge nudge = nudgeAt(*evaluated, 30);
  nudge.joints = {{"head", {0, 0.6, 0}, {}}};
  const Take take = addNudge(loaded->take, nudge);
  evaluated = evaluate(take, loaded->sources);
  ASSERT_TRUE(evaluated.ok());
  auto baked = bake(take, *loaded->sources.character, *evaluated);
  ASSERT_TRUE(baked.ok());
  for (const std::string name : {"out.glb", "out.gltf", "out.bvh"}) {
    const std::string path = loaded->folder.file(name);
    const Status written = handOver(*loaded->sources.character, baked->clip, path);
    ASSERT_TRUE(written.ok()) << written.error().text();
    const auto fidelity = measureFidelity(path, *loaded->sources.character, baked->clip);
    ASSERT_TRUE(fidelity.ok()) << fidelity.error().text();
    EXPECT_LT(fidelity->worstMillimetres, 0.1) << name;
    EXPECT_GT(fidelity->keys, 61U);
    EXPECT_EQ(fidelity->bytes, readFile(path).size());
    // Against the motion without the nudge the same check must see it: 3 cm from the joint turn by 0.6 rad.
    const Motion plain = evaluated->base.flat();
    BakedClip wrong = baked->clip;
    wrong.motion = &plain;
    const auto off = measureFidelity(path, *loaded->sources.character, wrong);
    ASSERT_TRUE(off.ok());
    EXPECT_NEAR(off->worstMillimetres, 2 * 30 * std::sin(0.3), 0.5) << name;
    EXPECT_EQ(off->worstFrame, 30);
    EXPECT_EQ(off->worstJoint, "head");
  }
}

TEST(Evaluate, ANudgeInALongClipIsQuick) {
  Figure figure;
  for (int j = 0; j < 70; ++j) figure.skeleton.add("bone" + std::to_string(j), j - 1, {{0, 0.05, 0}, {}, {1, 1, 1}}, j);
  const TiledMotion base(std::make_shared<const Motion>(restMotion(figure.skeleton, 36000, {30, 1}, {0})));
  const Nudges nudges = oneNudge(NudgeSpace::world, {"bone40", {0.1, 0, 0}, {}}, 18000);
  const auto milliseconds = [](const auto& work) {
    double best = 1e9;
    for (int i = 0; i < 20; ++i) {
      const auto begin = std::chrono::steady_clock::now();
      EXPECT_EQ(work(), 36000);
      best = std::min(best, std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count());
    }
    return best;
  };
  const double nudge = milliseconds([&] { return applyNudges(figure, base, nudges, nullptr, nullptr).frames(); });
  const double copy = milliseconds([&] { return base.flat().frames; });
  RecordProperty("milliseconds", std::to_string(nudge));
  // Against the machine's own speed and load: a copy of the whole clip would fail.
  EXPECT_LT(nudge, 0.5 * copy) << "ms";
  EXPECT_GE(applyNudges(figure, base, nudges, nullptr, nullptr).sharedTiles(base), base.tiles() - 3);
}

}  // namespace
}  // namespace understudy
