// The checker of exported files is itself checked: flaws of known size, put into a clean motion, must come back with that size.
#include <gtest/gtest.h>

#include <memory>
#include <nlohmann/json.hpp>

#include "core/io/read.h"
#include "core/io/write.h"
#include "core/repair/poser.h"
#include "tests/support/fixtures.h"
#include "tests/support/flaws.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
constexpr double degree = 3.14159265358979323846 / 180;

/// A stick person who stands with soft knees, sways a little at the head and holds both hands in front of the chest.
class Checker : public ::testing::Test {
 protected:
  static constexpr int frames = 121;
  void SetUp() override {
    writeFile(folder.file("stick.glb"), makeStickCharacterGlb({.armsDown = 0, .existingClip = false}));
    Result<Figure> figure = readFigure(folder.file("stick.glb"));
    ASSERT_TRUE(figure.ok());
    stick = std::make_shared<Figure>(std::move(*figure));
    map = std::make_shared<BoneMap>(BoneMap{mapRoles(*stick), mapRoles(*stick)});
    const auto context = repairContext(stick, map, {}, {30, 1}, frames);
    ASSERT_TRUE(context.ok()) << context.error().text();
    const RepairContext& body = **context;
    height = body.height;
    const int hips = body.joint(Role::hips);
    const TiledMotion rest(std::make_shared<const Motion>(restMotion(stick->skeleton, frames, {30, 1}, {hips})));
    TiledMotion posed = rest.writable(0, frames);
    Poser poser(body);
    for (int f = 0; f < frames; ++f) {
      poser.load(rest, f);
      Vec3d feet[2];
      for (int side = 0; side < 2; ++side) feet[side] = poser.position(body.legs[side].end);
      poser.moveBy(hips, {0, -0.06, 0});
      for (int side = 0; side < 2; ++side) {
        poser.solveLimb(body.legs[side], {.target = feet[side]});
        const double x = side == 0 ? 0.12 : -0.12;
        poser.solveLimb(body.arms[side], {.target = poser.position(body.joint(Role::chest)) + Vec3d{x, 0.1, 0.28}, .pole = Vec3d{x, -1, 0}});
      }
      poser.turn(body.joint(Role::head), fromAxisAngle(Vec3d{0, 1, 0}, 0.2 * std::sin(f * 0.1)));
      poser.store(posed, f);
    }
    clean = posed.flat();
    BakedClip baked = clip(clean);
    ASSERT_TRUE(writeBvh(*stick, baked, folder.file("performer.bvh")).ok());
    writeFile(folder.file("map.json"), writeMapFile(*map, *stick, *stick));
  }
  BakedClip clip(const Motion& motion) const {
    BakedClip baked;
    baked.motion = &motion;
    for (int j = 0; j < stick->skeleton.size(); ++j) baked.rotated.push_back(j);
    return baked;
  }
  Json judge(const Motion& motion, bool reference = false) {
    const BakedClip baked = clip(motion);
    EXPECT_TRUE(handOver(*stick, baked, folder.file("result.glb")).ok());
    std::vector<std::string> words{std::string(UNDERSTUDY_BINARY) + "/bin/understudy-checker", "--result", folder.file("result.glb"), "--performer",
                                   folder.file("performer.bvh"), "--map", folder.file("map.json"), "--frames"};
    if (reference) words.insert(words.end(), {"--reference", folder.file("clean.glb")});
    const ProgramRun run = runProgram(words);
    EXPECT_EQ(run.exitCode, 0) << run.err;
    return Json::parse(run.out);
  }
  Json judge(const Flaw& flaw) {
    double reached = 0;
    const Motion flawed = withFlaw(*stick, map->character, clean, flaw, &reached);
    EXPECT_NEAR(reached, flaw.size, 1e-3 * flaw.size);
    return judge(flawed);
  }
  /// The checker's millimetres are those of a body of 1.7 m.
  double mm(double metres) const { return metres * 1700 / height; }

  TemporaryFolder folder;
  std::shared_ptr<Figure> stick;
  std::shared_ptr<const BoneMap> map;
  Motion clean;
  double height = 0;
};

TEST_F(Checker, FindsNothingInACleanMotion) {
  const Json r = judge(clean);
  EXPECT_EQ(r["frames"], frames);
  EXPECT_NEAR(r["height"].get<double>(), height, 0.02);
  EXPECT_TRUE(r["finite"]);
  EXPECT_LT(r["directions"]["arms"]["max"].get<double>(), 0.01);
  EXPECT_LT(r["directions"]["legs"]["max"].get<double>(), 0.01);
  EXPECT_EQ(r["feet"]["stances"], 2);
  EXPECT_LT(r["feet"]["slipTotal"]["max"].get<double>(), 0.02);
  EXPECT_LT(r["feet"]["offGround"]["max"].get<double>(), 0.02);
  ASSERT_EQ(r["hands"]["spans"].size(), 1U);
  EXPECT_LT(r["hands"]["drift"]["max"].get<double>(), 0.02);
  EXPECT_EQ(r["armDepth"]["depth"]["max"], 0);
  EXPECT_EQ(r["jumps"]["pops"], 0);
  EXPECT_EQ(r["jumps"]["flips"], 0);
}

TEST_F(Checker, MeasuresASlide) {
  const Json r = judge({FlawKind::slide, Role::leftFoot, 40, 60, 0.02, {0.6, 0, 0.8}});
  EXPECT_NEAR(r["feet"]["slipTotal"]["max"].get<double>(), mm(0.02), 0.05);
  // The steepest part of the smooth step is 1.5 times its mean slope.
  EXPECT_NEAR(r["feet"]["slipFrame"]["max"].get<double>(), mm(0.02) / 8, mm(0.02) * 0.09);
  EXPECT_LT(r["feet"]["offGround"]["max"].get<double>(), 0.05);
  EXPECT_GT(r["legAcceleration"]["result"]["peakAtEdges"].get<double>() + r["legAcceleration"]["result"]["peakElsewhere"].get<double>(), 0.1);
}

TEST_F(Checker, MeasuresFloatAndSink) {
  for (const auto& [kind, size] : {std::pair{FlawKind::floating, 0.012}, std::pair{FlawKind::sink, 0.009}}) {
    const Json r = judge({kind, Role::rightFoot, 50, 70, size, {}});
    const double sign = kind == FlawKind::floating ? 1 : -1;
    const Json& rows = r["feet"]["list"][1]["height"];
    const int begin = r["feet"]["list"][1]["judged"][0].get<int>() - 1;
    EXPECT_EQ(r["feet"]["list"][1]["side"], "right");
    EXPECT_NEAR(rows[60 - begin].get<double>(), sign * mm(size), 0.05);
    EXPECT_NEAR(rows[40 - begin].get<double>(), 0, 0.02);
    EXPECT_NEAR(r["feet"]["offGround"]["max"].get<double>(), mm(size), 0.05);
  }
}

TEST_F(Checker, SeesPopsFlipsAndTwists) {
  const Json pop = judge({FlawKind::pop, Role::head, 61, 61, 15 * degree, {}});
  ASSERT_EQ(pop["jumps"]["newPops"], 2) << "to and fro";
  EXPECT_EQ(pop["jumps"]["newList"][0]["role"], "head");
  EXPECT_EQ(pop["jumps"]["newList"][0]["frame"], 62);
  EXPECT_NEAR(pop["jumps"]["newList"][0]["step"].get<double>(), 15, 0.5);
  const Json flip = judge({FlawKind::flip, Role::leftLowerArm, 30, 44, 180 * degree, {}});
  EXPECT_GE(flip["jumps"]["flips"].get<int>(), 2);
  const double before = judge(clean)["jumps"]["twist"]["rightLowerArm"]["max"];
  const Json twist = judge({FlawKind::twist, Role::rightLowerArm, 30, 60, 150 * degree, {}});
  EXPECT_NEAR(std::abs(twist["jumps"]["twist"]["rightLowerArm"]["max"].get<double>()), 150, before + 1);
  EXPECT_GT(twist["jumps"]["twist"]["rightLowerArm"]["framesBeyond120"].get<int>() + (before > 20 ? 1 : 0), 0);
  EXPECT_EQ(twist["jumps"]["flips"], 0);
}

TEST_F(Checker, SeesAnArmInTheTrunkOnlyWhereItIs) {
  const Json r = judge({FlawKind::depth, Role::leftHand, 40, 80, 0.25, {}});
  const Json& depth = r["armDepth"]["mm"];
  // The hand's box comes within a few centimetres of the trunk's axis; the trunk is 9 cm thick.
  EXPECT_GT(depth[60].get<double>(), mm(0.02));
  for (int f : {0, 30, 38, 82, 120}) EXPECT_EQ(depth[static_cast<std::size_t>(f)], 0) << f;
  ASSERT_EQ(r["armDepth"]["spansOver10"].size(), 1U);
  EXPECT_GT(r["armDepth"]["spansOver10"][0][0], 40);
  EXPECT_LT(r["armDepth"]["spansOver10"][0][1], 82);
}

TEST_F(Checker, MeasuresDriftOfTheHands) {
  const Json r = judge({FlawKind::gripDrift, Role::leftHand, 45, 75, 0.022, {1, 0, 0}});
  EXPECT_NEAR(r["hands"]["drift"]["max"].get<double>(), mm(0.022), 0.2);
  EXPECT_LT(r["hands"]["within2mm"].get<double>(), 0.85);
}

TEST_F(Checker, ComparesWithAnotherExport) {
  const BakedClip baked = clip(clean);
  ASSERT_TRUE(handOver(*stick, baked, folder.file("clean.glb")).ok());
  const Json same = judge(clean, true);
  EXPECT_EQ(same["moved"]["farthest"], 0);
  EXPECT_TRUE(same["moved"]["bones"].empty());
  const Motion flawed = withFlaw(*stick, map->character, clean, {FlawKind::twist, Role::leftHand, 20, 60, 30 * degree, {}});
  const Json other = judge(flawed, true);
  ASSERT_EQ(other["moved"]["bones"].size(), 0U) << "a hand turned about itself moves no other bone";
  EXPECT_NEAR(other["moved"]["boneFramesOver0.2deg"].get<double>(), 40.0 / (frames * stick->skeleton.size()), 0.0015);
}

TEST(Flaws, AreDrawnTheSameForASeedAndKeepApart) {
  SkeletonMap map;
  map.at(Role::leftLowerArm).joints = {0};
  map.at(Role::rightLowerArm).joints = {1};
  Motion motion;
  motion.rate = {30, 1};
  motion.frames = 1000;
  const auto a = drawFlaws(FlawKind::twist, 20, map, motion, {}, 0.5, 2, 5), b = drawFlaws(FlawKind::twist, 20, map, motion, {}, 0.5, 2, 5);
  EXPECT_EQ(a, b);
  EXPECT_NE(a, drawFlaws(FlawKind::twist, 20, map, motion, {}, 0.5, 2, 6));
  ASSERT_GE(a.size(), 10U);
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_GE(a[i].size, 0.5);
    EXPECT_LE(a[i].size, 2);
    EXPECT_LT(a[i].last, 1000);
    for (std::size_t k = i + 1; k < a.size(); ++k)
      if (a[i].role == a[k].role) {
        EXPECT_GT(std::max(a[k].first - a[i].last, a[i].first - a[k].last), 15);
      }
  }
}

}  // namespace
}  // namespace understudy
