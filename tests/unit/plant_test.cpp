#include "core/repair/plant.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/body/soles.h"
#include "core/io/read.h"
#include "core/retarget/retarget.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

/// A stick character (box feet with a toe joint) that walks after an invented performer whose feet slide and float.
struct Walk {
  Figure character;
  SkeletonMap map;
  Motion motion;
  Affined world;
  std::array<Sole, 2> soles;

  explicit Walk(const StickOptions& options = {}, int frames = 91) {
    TemporaryFolder folder;
    WalkOptions walk;
    walk.frames = frames;
    writeFile(folder.file("walk.bvh"), makeWalkBvh(walk));
    writeFile(folder.file("stick.glb"), makeStickCharacterGlb(options));
    Result<Figure> performer = readFigure(folder.file("walk.bvh")), stick = readFigure(folder.file("stick.glb"));
    EXPECT_TRUE(performer.ok() && stick.ok());
    character = std::move(*stick);
    const BoneMap both{mapRoles(*performer), mapRoles(character)};
    map = both.character;
    Result<Motion> clip = sample(performer->clips[0], performer->skeleton);
    EXPECT_TRUE(clip.ok());
    Result<Retargeted> result = retarget(*performer, *clip, character, both);
    EXPECT_TRUE(result.ok());
    motion = std::move(result->motion);
    world = worldFromFile(character, result->report.characterReference);
    soles = findSoles(character, map, result->report.characterReference.fileWorld, rotate(conjugate(character.space.worldFromFile), Vec3d{0, 1, 0}));
  }

  /// Sole points of a foot at a frame, world metres, from the local curves alone.
  [[nodiscard]] std::vector<Vec3d> sole(const Motion& m, int side, int frame) const {
    const auto pose = worldAt(character.skeleton, m, frame);
    std::vector<Vec3d> points;
    for (const JointPoint& p : soles[static_cast<std::size_t>(side)].points) points.push_back(apply(world, apply(pose[static_cast<std::size_t>(p.joint)], p.local)));
    return points;
  }
};

double lowest(const std::vector<Vec3d>& points) {
  return std::min_element(points.begin(), points.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y;
}

/// Heel 8, flat 14, ball 8 frames from `first`.
Plant step(int side, int first) {
  Plant plant;
  plant.side = side;
  plant.first = first;
  plant.last = first + 29;
  for (int f = 0; f < 30; ++f) plant.phases.push_back(f < 8 ? PlantPhase::heel : f < 22 ? PlantPhase::flat : PlantPhase::ball);
  return plant;
}

TEST(Plant, PointsOnTheGroundStayWhereTheyAre) {
  const Walk walk;
  PlantSettings settings;
  settings.pelvisLimit = 0.3;  // the made walk floats and slides; all of it is to be reached here
  settings.release = 0;
  const Plant plant = step(0, 16);
  const Result<Planted> result = plantFeet(walk.character, walk.map, walk.motion, {plant}, settings);
  ASSERT_TRUE(result.ok()) << result.error().text();
  double before = 0, tilted = 0;
  for (int f = plant.first; f <= plant.last; ++f) {
    const auto points = walk.sole(result->motion, 0, f);
    EXPECT_NEAR(lowest(points), 0, 1e-4) << "frame " << f + 1;
    EXPECT_LT(result->residual[0][static_cast<std::size_t>(f)], 1e-5) << "frame " << f + 1;
    before = std::max(before, std::abs(lowest(walk.sole(walk.motion, 0, f))));
    tilted = std::max(tilted, std::max_element(points.begin(), points.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y);
    if (f == plant.first) continue;
    const auto earlier = walk.sole(result->motion, 0, f - 1);
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (points[i].y < 2e-4 && earlier[i].y < 2e-4) {
        EXPECT_LT(distance(points[i], earlier[i]), 1e-4) << "frame " << f + 1;
      }
    }
  }
  EXPECT_GT(before, 5e-3) << "the walk must need its plant";
  const auto level = walk.sole(result->motion, 0, 24);
  const double top = std::max_element(level.begin(), level.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y;
  EXPECT_GT(tilted, top + 5e-3) << "the foot must roll";
  // Flat: nothing of the foot moves at all.
  const auto flat = walk.sole(result->motion, 0, 24);
  for (int f = 25; f < 38; ++f)
    for (std::size_t i = 0; i < flat.size(); ++i) EXPECT_LT(distance(flat[i], walk.sole(result->motion, 0, f)[i]), 1e-4);
}

TEST(Plant, StandingMovesEveryFrameByOneHeight) {
  const Walk walk;
  Plant plant = step(0, 16);
  plant.ground = 0.05;
  const Result<Motion> stood = standOnPlants(walk.character, walk.map, walk.motion, {plant});
  ASSERT_TRUE(stood.ok());
  std::vector<double> flat;
  for (int f = 24; f < 38; ++f) flat.push_back(lowest(walk.sole(*stood, 0, f)));
  std::sort(flat.begin(), flat.end());
  EXPECT_NEAR(flat[7], 0.05, 1e-5);
  const double by = lowest(walk.sole(walk.motion, 0, 0)) - lowest(walk.sole(*stood, 0, 0));
  EXPECT_GT(std::abs(by), 0.01);
  for (int f = 0; f < walk.motion.frames; f += 7) EXPECT_NEAR(lowest(walk.sole(walk.motion, 1, f)) - lowest(walk.sole(*stood, 1, f)), by, 1e-5);
}

TEST(Plant, OutsideItsEaseEveryByteStays) {
  const Walk walk;
  const Plant plant = step(1, 46);
  const Result<Planted> result = plantFeet(walk.character, walk.map, walk.motion, {plant});
  ASSERT_TRUE(result.ok()) << result.error().text();
  ASSERT_EQ(result->motion.movedJoints, walk.motion.movedJoints);
  const auto same = [&](int f) {
    return std::ranges::equal(walk.motion.rotationsAt(f), result->motion.rotationsAt(f)) && std::ranges::equal(walk.motion.translationsAt(f), result->motion.translationsAt(f));
  };
  for (int f = 0; f < walk.motion.frames; ++f) {
    if (f < plant.first - 12 || f > plant.last + 12) {
      EXPECT_TRUE(same(f)) << "frame " << f + 1;
    }
  }
  EXPECT_FALSE(same(plant.first - 6));
  EXPECT_FALSE(same(plant.first));
}

TEST(Plant, TheOtherFootStaysWhereItWas) {
  const Walk walk;
  const Result<Planted> result = plantFeet(walk.character, walk.map, walk.motion, {step(0, 16)});
  ASSERT_TRUE(result.ok()) << result.error().text();
  EXPECT_GT(*std::max_element(result->pelvisDrop.begin(), result->pelvisDrop.end()), 1e-4);
  for (int f = 0; f < walk.motion.frames; ++f) {
    const auto a = walk.sole(walk.motion, 1, f), b = walk.sole(result->motion, 1, f);
    for (std::size_t i = 0; i < a.size(); ++i) EXPECT_LT(distance(a[i], b[i]), 1e-4) << "frame " << f + 1;
  }
}

TEST(Plant, ThePelvisSinksNoFurtherThanItMayAndTheRestIsTold) {
  const Walk walk;
  Plant far = step(0, 16);
  const Result<Planted> near = plantFeet(walk.character, walk.map, walk.motion, {far});
  ASSERT_TRUE(near.ok());
  far.anchor = near->plants[0].anchor;
  far.anchor->foot.z += 2;
  const Result<Planted> result = plantFeet(walk.character, walk.map, walk.motion, {far});
  ASSERT_TRUE(result.ok());
  const int thigh = walk.map.joint(Role::leftUpperLeg), shank = walk.map.joint(Role::leftLowerLeg), foot = walk.map.joint(Role::leftFoot);
  const auto pose = restWorld(walk.character.skeleton);
  const double leg = distance(pose[thigh].translation, pose[shank].translation) + distance(pose[shank].translation, pose[foot].translation);
  EXPECT_LE(*std::max_element(result->pelvisDrop.begin(), result->pelvisDrop.end()), 0.04 * leg * 1.0001);
  EXPECT_GT(result->residual[0][30], 0.5);
  ASSERT_FALSE(result->issues.empty());
  EXPECT_NE(result->issues.back().what.find("left leg is too short"), std::string::npos);
  for (const Quatf& q : result->motion.rotations) ASSERT_TRUE(isFinite(q));
}

TEST(Plant, AFootOnItsBallRollsOnWhereItsLegIsTooShort) {
  const Walk walk;
  PlantSettings settings;
  settings.pelvisLimit = 0;
  settings.release = 0;
  Plant plant = step(0, 16);
  const Result<Planted> at = plantFeet(walk.character, walk.map, walk.motion, {plant}, settings);
  ASSERT_TRUE(at.ok());
  plant.anchor = at->plants[0].anchor;
  plant.anchor->foot.z -= 0.06;  // further behind than the leg reaches at the end
  const Result<Planted> result = plantFeet(walk.character, walk.map, walk.motion, {plant}, settings);
  ASSERT_TRUE(result.ok());
  const auto pitch = [&](const Motion& m, int f) {
    const auto pose = worldAt(walk.character.skeleton, m, f);
    const Vec3d way = pose[walk.map.joint(Role::leftToes)].translation - pose[walk.map.joint(Role::leftFoot)].translation;
    return std::asin(normalised(way).y);
  };
  double most = 0;
  for (int f = 38; f <= 45; ++f) most = std::max(most, pitch(at->motion, f) - pitch(result->motion, f));
  EXPECT_GT(most, 0.02);
  EXPECT_LT(most, 0.36);
}

TEST(Plant, TheFilesUnitMakesNoDifference) {
  StickOptions inches;
  inches.scale = 0.0254;
  const Walk a, b(inches);
  const Result<Planted> ra = plantFeet(a.character, a.map, a.motion, {step(0, 16)}), rb = plantFeet(b.character, b.map, b.motion, {step(0, 16)});
  ASSERT_TRUE(ra.ok() && rb.ok());
  const double unit = b.character.space.metresPerUnit / 0.0254;  // a glTF file states metres: the character is a giant there
  for (const int f : {10, 16, 31, 44, 50}) {
    const auto pa = a.sole(ra->motion, 0, f), pb = b.sole(rb->motion, 0, f);
    EXPECT_NEAR(lowest(pa) * unit, lowest(pb), 1e-3 * unit);
  }
}

TEST(Plant, BadPlantsAreRefused) {
  const Walk walk({}, 31);
  const auto message = [&](const Plant& p, int copies = 1) {
    const Result<Planted> r = plantFeet(walk.character, walk.map, walk.motion, std::vector<Plant>(static_cast<std::size_t>(copies), p));
    return r.ok() ? std::string() : r.error().text();
  };
  Plant good;
  good.first = 3;
  good.last = 9;
  EXPECT_EQ(message(good), "");
  EXPECT_NE(message(good, 2).find("overlaps"), std::string::npos);
  Plant bad = good;
  bad.last = 31;
  EXPECT_NE(message(bad).find("the motion has 31"), std::string::npos);
  bad = good;
  bad.phases = {PlantPhase::heel};
  EXPECT_NE(message(bad).find("1 phases for 7 frames"), std::string::npos);
  bad = good;
  bad.side = 2;
  EXPECT_NE(message(bad).find("neither foot"), std::string::npos);
  bad = good;
  bad.ground = std::nan("");
  EXPECT_NE(message(bad).find("not finite"), std::string::npos);
  SkeletonMap without = walk.map;
  without.at(Role::leftFoot) = {};
  EXPECT_EQ(plantFeet(walk.character, without, walk.motion, {good}).ok(), false);
}

}  // namespace
}  // namespace understudy
