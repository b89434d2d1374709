// Repairs of curves on open clips and characters.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "core/io/read.h"
#include "core/repair/hold.h"
#include "core/repair/poser.h"
#include "core/repair/smooth.h"
#include "core/repair/untwist.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

test::Stand pairOf(const std::string& performerFile, const std::string& characterFile) {
  const std::string corpus = UNDERSTUDY_CORPUS;
  const Result<Figure> performer = readFigure(corpus + "/motion/" + performerFile);
  const Result<Figure> character = readFigure(corpus + "/characters/" + characterFile);
  if (!performer || !character) return {};
  const auto map = std::make_shared<const BoneMap>(BoneMap{mapRoles(*performer), mapRoles(*character)});
  const Result<Motion> clip = sample(performer->clips.at(0), performer->skeleton);
  Result<Retargeted> carried = retarget(*performer, *clip, *character, *map);
  if (!carried) return {};
  const auto context = repairContext(std::make_shared<const Figure>(*character), map, {}, clip->rate, clip->frames);
  if (!context) return {};
  return {*context, TiledMotion(std::make_shared<const Motion>(std::move(carried->motion)))};
}

class CurveRepairs : public ::testing::TestWithParam<std::tuple<const char*, const char*>> {};

TEST_P(CurveRepairs, KeepPlacesHandsAndPromises) {
  const auto [performer, character] = GetParam();
  if (!std::filesystem::exists(std::string(UNDERSTUDY_CORPUS) + "/motion/" + performer)) GTEST_SKIP() << "no open corpus beside the project";
  const test::Stand stand = pairOf(performer, character);
  ASSERT_TRUE(stand.context);
  const RepairContext& c = *stand.context;

  Repair share;
  share.action = UntwistRepair{{}, false, 1, 1};
  Issues issues;
  const auto untwist = makeUntwistLayer(stand.context, {&share}, issues);
  const TiledMotion base = stand.motion.withMoved(c.figure->skeleton, untwist->movedJoints());
  const TiledMotion out = test::runLayer(*untwist, stand.motion).motion;
  Poser before(c), after(c);
  double moved = 0, turned = 0;
  int changed = 0;
  for (int f = 0; f < base.frames(); ++f) {
    if (test::sameFrame(base, out, f)) continue;
    ++changed;
    before.load(base, f);
    after.load(out, f);
    for (const RoleJoints& role : c.roles().roles)
      for (const int j : role.joints) moved = std::max(moved, distance(before.position(j), after.position(j)));
    for (const Role role : {Role::leftHand, Role::rightHand, Role::leftFoot, Role::rightFoot})
      if (const int j = c.joint(role); j >= 0) turned = std::max(turned, angleBetween(before.rotation(j), after.rotation(j)));
  }
  EXPECT_LT(moved, 1e-5 * c.height);
  EXPECT_LT(turned, 1e-4);

  // Twists, flips, smoothing and bridges on a piece of the clip, all their promises.
  const int frames = std::min(base.frames(), 240);
  test::Stand piece = stand;
  auto shorter = std::make_shared<RepairContext>(c);
  shorter->body.figure = shorter->figure.get();
  shorter->body.map = &shorter->map->character;
  shorter->frames = frames;
  piece.context = shorter;
  piece.motion = TiledMotion(std::make_shared<const Motion>(stand.motion.view(0, frames).flat()));
  Repair flips, smooth, bridge;
  flips.action = UntwistRepair{{}, true, 0.5, 1};
  smooth.action = SmoothRepair{{"@leftLowerArm", "@hips"}, 6, true};
  bridge.action = BridgeRepair{};
  const double hertz = c.rate.hertz();
  flips.span = smooth.span = bridge.span = TimeRange{60 / hertz, 100 / hertz};
  EXPECT_EQ(test::brokenPromises(*makeUntwistLayer(shorter, {&flips}, issues), piece.motion, 71), "");
  EXPECT_EQ(test::brokenPromises(*makeSmoothLayer(shorter, {&smooth}, issues), piece.motion, 72), "");
  EXPECT_EQ(test::brokenPromises(*makeHoldLayer(shorter, {&bridge}, issues), piece.motion, 73), "");
  RecordProperty("sharedFrames", changed);
}

std::string pairName(const ::testing::TestParamInfo<std::tuple<const char*, const char*>>& info) {
  std::string name = std::string(std::get<0>(info.param)) + "_on_" + std::get<1>(info.param);
  for (char& letter : name)
    if (!std::isalnum(static_cast<unsigned char>(letter))) letter = '_';
  return name;
}

INSTANTIATE_TEST_SUITE_P(Corpus, CurveRepairs,
                         ::testing::Combine(::testing::Values("cmu_02_07_swordplay.bvh", "child_dab_zup.bvh", "boxing_toes.bvh", "arms_crossed_keyframed.fbx"),
                                            ::testing::Values("CesiumMan.gltf", "KayKit_Knight.glb", "Quaternius_Alien.fbx", "RobotExpressive.glb")),
                         pairName);

// A thumb of this capture turns over for three frames.
TEST(CurveRepairsCorpus, AFlipOfTheCaptureIsTakenOut) {
  if (!std::filesystem::exists(std::string(UNDERSTUDY_CORPUS) + "/motion")) GTEST_SKIP() << "no open corpus beside the project";
  const test::Stand stand = pairOf("cmu_02_07_swordplay.bvh", "Quaternius_Alien.fbx");
  ASSERT_TRUE(stand.context);
  Repair repair;
  repair.action = UntwistRepair{};
  Issues issues;
  const TiledMotion out = test::runLayer(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion).motion;
  const auto largest = [&](const TiledMotion& motion) {
    double most = 0;
    for (int f = 1; f < motion.frames(); ++f)
      for (int j = 0; j < motion.joints(); ++j)
        most = std::max(most, angleBetween(Quatd(motion.rotationsAt(f - 1)[static_cast<std::size_t>(j)]), Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(j)])));
    return most;
  };
  EXPECT_GT(largest(stand.motion), 2.5);
  EXPECT_LT(largest(out), 1);
}

}  // namespace
}  // namespace understudy
