#include "core/repair/plant.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "core/inspect/plants.h"
#include "core/io/read.h"
#include "core/repair/plant_leg.h"
#include "core/retarget/retarget.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

/// Shoes whose tips are off the ground when they stand flat, as a shoe's are.
void raiseTips(Mesh& mesh) {
  float low = 1e9F, ahead = -1e9F;
  for (const Vec3f& p : mesh.positions) low = std::min(low, p.y);
  for (const Vec3f& p : mesh.positions)
    if (p.y < low + 1e-4F) ahead = std::max(ahead, p.z);
  for (Vec3f& p : mesh.positions)
    if (p.y < low + 1e-4F && p.z > ahead - 1e-4F) p.y += 0.015F;
}

/// A stick character (box feet with a toe joint) that walks after an invented performer whose feet slide and float.
struct Walk {
  std::shared_ptr<const Figure> character;
  std::shared_ptr<const BoneMap> map;
  std::shared_ptr<const RepairContext> context;
  TiledMotion motion;
  std::shared_ptr<const Figure> performer;
  Motion clip;

  explicit Walk(const StickOptions& options = {}, int frames = 121, bool oneBoneFeet = false) {
    TemporaryFolder folder;
    WalkOptions walk;
    walk.frames = frames;
    writeFile(folder.file("walk.bvh"), makeWalkBvh(walk));
    writeFile(folder.file("stick.glb"), makeStickCharacterGlb(options));
    performer = std::make_shared<const Figure>(std::move(readFigure(folder.file("walk.bvh")).value()));
    Figure stick = std::move(readFigure(folder.file("stick.glb")).value());
    if (oneBoneFeet)
      for (Mesh& mesh : stick.meshes) raiseTips(mesh);
    character = std::make_shared<const Figure>(std::move(stick));
    BoneMap roles{mapRoles(*performer), mapRoles(*character)};
    if (oneBoneFeet) roles.character.at(Role::leftToes) = roles.character.at(Role::rightToes) = {};
    map = std::make_shared<const BoneMap>(std::move(roles));
    clip = sample(performer->clips[0], performer->skeleton).value();
    Retargeted result = retarget(*performer, clip, *character, *map).value();
    context = repairContext(character, map, {}, clip.rate, clip.frames).value();
    motion = TiledMotion(std::make_shared<const Motion>(std::move(result.motion)));
  }

  /// Sole points of a foot at a frame, world metres, from the local curves alone: all vertices that foot or toes carry.
  [[nodiscard]] std::vector<Vec3d> sole(const TiledMotion& m, int side, int frame) const {
    const auto pose = worldAt(character->skeleton, m, frame);
    const ReferencePose& reference = context->body.pose;
    const Affined world = worldFromFile(*character, reference);
    const auto foot = static_cast<std::size_t>(map->character.joint(side == 0 ? Role::leftFoot : Role::rightFoot));
    const int toes = map->character.joint(side == 0 ? Role::leftToes : Role::rightToes);
    std::vector<Vec3d> points;
    for (const SoleVertex& v : context->soles[static_cast<std::size_t>(side)].skin) {
      const std::size_t joint = v.toes > 0.5F ? static_cast<std::size_t>(toes) : foot;
      points.push_back(apply(world * pose[joint] * inverse(reference.fileWorld[joint]), v.position));
    }
    return points;
  }
};

double lowest(const std::vector<Vec3d>& points) {
  return std::min_element(points.begin(), points.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y;
}

/// Heel 8, flat 14, ball 8 frames from `first`, at 60 frames/s.
Repair step(int side, int first) {
  Repair repair;
  repair.id = 7;
  repair.span = TimeRange{first / 60.0, (first + 29) / 60.0};
  PlantRepair plant;
  plant.part = side == 0 ? PlantPart::leftFoot : PlantPart::rightFoot;
  plant.marks = {{first / 60.0, PlantPhase::heel}, {(first + 8) / 60.0, PlantPhase::flat}, {(first + 22) / 60.0, PlantPhase::ball}};
  repair.action = plant;
  return repair;
}
PlantRepair& plantOf(Repair& r) { return std::get<PlantRepair>(r.action); }

struct Planted {
  TiledMotion motion;
  std::vector<Residual> residuals;
  RepairLayerPtr layer;
  Issues issues;
  [[nodiscard]] double miss(int frame, std::size_t repair = 0) const {
    const int k = frame - residuals[repair].first;
    return k < 0 || k >= static_cast<int>(residuals[repair].values.size()) ? 0 : static_cast<double>(residuals[repair].values[static_cast<std::size_t>(k)].metres);
  }
};

Planted run(const Walk& walk, const std::vector<Repair>& repairs, std::vector<FrameSpan> parts = {}) {
  Planted out;
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  out.layer = makePlantLayer(walk.context, list, out.issues);
  const int frames = walk.motion.frames();
  out.motion = walk.motion.withMoved(walk.character->skeleton, out.layer->movedJoints()).writable(0, frames);
  for (std::size_t i = 0; i < list.size(); ++i) {
    const FrameSpan extent = out.layer->extent(i);
    out.residuals.push_back({list[i]->id, extent.first, std::vector<Miss>(static_cast<std::size_t>(extent.count()))});
  }
  if (parts.empty()) parts = {{0, frames - 1}};
  for (const FrameSpan& part : parts) out.layer->apply(walk.motion, part, out.motion, out.residuals);
  return out;
}

bool same(const TiledMotion& a, const TiledMotion& b, int f) {
  return std::ranges::equal(a.rotationsAt(f), b.rotationsAt(f)) && std::ranges::equal(a.translationsAt(f), b.translationsAt(f));
}

TEST(Plant, PointsOnTheGroundStayWhereTheyAre) {
  const Walk walk;
  const Repair repair = anchoredPlant(step(0, 40), *walk.context, walk.motion);
  ASSERT_TRUE(std::get<PlantRepair>(repair.action).anchored);
  const Planted result = run(walk, {repair});
  double before = 0, tilted = 0;
  for (int f = 40; f <= 69; ++f) {
    const auto points = walk.sole(result.motion, 0, f);
    EXPECT_NEAR(lowest(points), 0, 1e-4) << "frame " << f + 1;
    EXPECT_LT(result.miss(f), 1e-5) << "frame " << f + 1;
    before = std::max(before, std::abs(lowest(walk.sole(walk.motion, 0, f))));
    tilted = std::max(tilted, std::max_element(points.begin(), points.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y);
    if (f == 40) continue;
    const auto earlier = walk.sole(result.motion, 0, f - 1);
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (points[i].y < 2e-4 && earlier[i].y < 2e-4) {
      EXPECT_LT(distance(points[i], earlier[i]), 1e-4) << "frame " << f + 1;
    }
    }
  }
  EXPECT_GT(before, 5e-3) << "the walk must need its plant";
  const auto flat = walk.sole(result.motion, 0, 48);
  EXPECT_GT(tilted, std::max_element(flat.begin(), flat.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y + 5e-3) << "the foot must roll";
  // Flat: nothing of the foot moves at all.
  for (int f = 49; f < 62; ++f)
    for (std::size_t i = 0; i < flat.size(); ++i) EXPECT_LT(distance(flat[i], walk.sole(result.motion, 0, f)[i]), 1e-4);
}

TEST(Plant, AnyPartOfTheFramesGivesTheSameBytes) {
  const Walk walk;
  std::vector<Repair> repairs{step(0, 10), step(1, 30), step(0, 55), step(1, 80)};
  for (Repair& r : repairs) r = anchoredPlant(std::move(r), *walk.context, walk.motion);
  const Planted whole = run(walk, repairs), parts = run(walk, repairs, {{90, 120}, {0, 20}, {21, 21}, {22, 63}, {64, 89}});
  for (int f = 0; f < walk.motion.frames(); ++f) EXPECT_TRUE(same(whole.motion, parts.motion, f)) << "frame " << f + 1;
  EXPECT_EQ(whole.residuals, parts.residuals);
}

TEST(Plant, OutsideItsExtentEveryByteStays) {
  const Walk walk;
  const Repair repair = anchoredPlant(step(1, 46), *walk.context, walk.motion);
  const Planted result = run(walk, {repair});
  const FrameSpan extent = result.layer->extent(0);
  EXPECT_GT(extent.first, 0);
  EXPECT_LT(extent.last, walk.motion.frames() - 1);
  for (int f = 0; f < walk.motion.frames(); ++f) {
    if (!extent.holds(f)) {
      EXPECT_TRUE(same(walk.motion, result.motion, f)) << "frame " << f + 1;
    }
  }
  EXPECT_FALSE(same(walk.motion, result.motion, 46));
  EXPECT_FALSE(same(walk.motion, result.motion, 40));
}

TEST(Plant, AChangeOfTheInputReachesNoFurtherThanItSays) {
  const Walk walk;
  std::vector<Repair> repairs{step(0, 10), step(1, 30), step(0, 75)};
  for (Repair& r : repairs) r = anchoredPlant(std::move(r), *walk.context, walk.motion);
  const Planted before = run(walk, repairs);
  for (const int at : {2, 33, 70, 119}) {
    Walk other = walk;
    Motion changed = walk.motion.flat();
    for (Quatf& q : changed.rotationsAt(at)) q = Quatf(normalised(Quatd(q) * fromAxisAngle(Vec3d{1, 0, 0}, 0.02)));
    other.motion = TiledMotion(std::make_shared<const Motion>(std::move(changed)));
    const Planted after = run(other, repairs);
    const FrameSpan affected = before.layer->affected({at, at});
    for (int f = 0; f < walk.motion.frames(); ++f) {
      if (!affected.holds(f)) {
      EXPECT_TRUE(same(before.motion, after.motion, f)) << "frame " << f + 1 << " after a change at " << at + 1;
    }
    }
  }
}

TEST(Plant, TheOtherFootStaysWhereItWas) {
  const Walk walk;
  const Repair repair = anchoredPlant(step(0, 40), *walk.context, walk.motion);
  const Planted result = run(walk, {repair});
  const int hips = walk.context->joint(Role::hips);
  double moved = 0;
  for (int f = 0; f < walk.motion.frames(); ++f) {
    moved = std::max(moved, distance(worldAt(walk.character->skeleton, walk.motion, f)[static_cast<std::size_t>(hips)].translation,
                                     worldAt(walk.character->skeleton, result.motion, f)[static_cast<std::size_t>(hips)].translation));
    const auto a = walk.sole(walk.motion, 1, f), b = walk.sole(result.motion, 1, f);
    for (std::size_t i = 0; i < a.size(); ++i) EXPECT_LT(distance(a[i], b[i]), 2e-3) << "frame " << f + 1;
  }
  EXPECT_GT(moved, 1e-3);
}

// What raises or lowers all that stands does the same to a foot far from its own stays, but not into the ground.
TEST(Plant, AFootFarFromItsStaysGoesWithWhatLiftsTheOthers) {
  const Walk walk;
  for (const double lift : {0.03, -0.03}) {
    Repair left = anchoredPlant(step(0, 70), *walk.context, walk.motion), right = anchoredPlant(step(1, 0), *walk.context, walk.motion);
    left.easeBefore = left.easeAfter = right.easeBefore = right.easeAfter = 0.1;
    plantOf(left).lift = lift;
    plantOf(left).anchor.y += lift;
    plantOf(left).ground = lift;
    const Planted result = run(walk, {left, right});
    const std::size_t hips = static_cast<std::size_t>(walk.context->joint(Role::hips));
    for (int f = 75; f < 90; ++f) {
      const double own = lowest(walk.sole(walk.motion, 1, f)), now = lowest(walk.sole(result.motion, 1, f));
      const double raised = worldAt(walk.character->skeleton, result.motion, f)[hips].translation.y - worldAt(walk.character->skeleton, walk.motion, f)[hips].translation.y;
      EXPECT_GT(now, std::min(own, 0.0) - 1e-3) << "frame " << f + 1;
      if (lift > 0) EXPECT_GT(now - own, 0.5 * raised) << "frame " << f + 1;
      else EXPECT_LT(now - own, 0.3 * std::max(raised, -std::max(own, 0.0)) + 1e-3) << "frame " << f + 1;
    }
  }
}

// Off a tread or onto one: what the foot has to keep off does not change at a stroke half-way.
TEST(Plant, AFootGoesFromGroundToGroundOfAnotherHeightWithoutAJerk) {
  const Walk walk;
  for (const bool down : {true, false}) {
    Repair first = step(0, 20), second = step(0, 62);
    plantOf(first).ground = down ? 0.12 : 0.0;
    plantOf(second).ground = down ? 0.0 : 0.12;
    const Planted result = run(walk, {anchoredPlant(std::move(first), *walk.context, walk.motion), anchoredPlant(std::move(second), *walk.context, walk.motion)});
    const auto foot = static_cast<std::size_t>(walk.context->legs[0].end);
    const auto at = [&](int f) { return worldAt(walk.character->skeleton, result.motion, f)[foot].translation.y; };
    double jerk = 0;
    for (int f = 49; f <= 62; ++f) jerk = std::max(jerk, std::abs(at(f - 1) - 2 * at(f) + at(f + 1)));
    EXPECT_LT(jerk, 0.014) << (down ? "down" : "up");  // 0.016 and more at a stroke
  }
}

// Its own motion takes the toes of the foot on its way from stay to stay well into the ground.
TEST(Plant, AFootOnItsWayIsKeptOffTheGround) {
  Walk walk;
  Motion dips = walk.motion.flat();
  const auto foot = static_cast<std::size_t>(walk.context->joint(Role::leftFoot));
  for (int f = 41; f < 54; ++f) {
    const double down = 1.1 * std::sin(std::numbers::pi * (f - 40) / 14);
    Quatf& local = dips.rotationsAt(f)[foot];
    local = Quatf(normalised(Quatd(local) * fromAxisAngle({1, 0, 0}, down)));
  }
  walk.motion = TiledMotion(std::make_shared<const Motion>(std::move(dips)));
  std::vector<Repair> repairs{step(0, 10), step(0, 55)};
  for (Repair& r : repairs) r = anchoredPlant(std::move(r), *walk.context, walk.motion);
  const Planted result = run(walk, repairs);
  double own = 0, turned = 0;
  for (int f = 40; f < 55; ++f) {
    own = std::min(own, lowest(walk.sole(walk.motion, 0, f)));
    EXPECT_GT(lowest(walk.sole(result.motion, 0, f)), -2.2e-3) << "frame " << f + 1;
    turned = std::max(turned, angleBetween(Quatd(walk.motion.rotationsAt(f)[foot]), Quatd(result.motion.rotationsAt(f)[foot])));
  }
  EXPECT_LT(own, -0.03);
  EXPECT_GT(turned, 0.1) << "its ankle does its part";
}

TEST(Plant, ALegThatWasStraightStandsAlmostStraight) {
  Walk walk;
  Motion still = walk.motion.flat();
  for (int f = 0; f < still.frames; ++f) {
    std::ranges::copy(walk.motion.translationsAt(0), still.translationsAt(f).begin());
    for (std::size_t j = 0; j < still.rotationsAt(f).size(); ++j) still.rotationsAt(f)[j] = Quatf(walk.character->skeleton.rest[j].rotation);
  }
  walk.motion = TiledMotion(std::make_shared<const Motion>(std::move(still)));
  std::vector<Repair> repairs{step(0, 40), step(1, 40)};
  for (Repair& r : repairs) {
    plantOf(r).marks = {{40 / 60.0, PlantPhase::flat}};
    r = anchoredPlant(std::move(r), *walk.context, walk.motion);
  }
  const Planted result = run(walk, repairs);
  const auto bend = [&](const TiledMotion& motion, int f) {
    const auto pose = worldAt(walk.character->skeleton, motion, f);
    const auto at = [&](Role role) { return pose[static_cast<std::size_t>(walk.context->joint(role))].translation; };
    return angleBetween(at(Role::leftLowerLeg) - at(Role::leftUpperLeg), at(Role::leftFoot) - at(Role::leftLowerLeg)) * 180 / std::numbers::pi;
  };
  ASSERT_LT(bend(walk.motion, 50), 4);
  for (int f = 42; f < 68; ++f) {
    EXPECT_LT(bend(result.motion, f), 10) << "frame " << f + 1;
    EXPECT_LT(result.miss(f), 1e-4) << "frame " << f + 1;
  }
}

// As the heel rises the leg is near the end of its reach: a knee that came there at a stroke would stop there at a stroke.
TEST(Plant, KneesOfLegsThatAreAboutToLeaveAreNotStretchedAtAStroke) {
  const Walk walk;
  std::vector<Repair> repairs{step(0, 10), step(1, 38), step(0, 66)};
  for (Repair& r : repairs) {
    plantOf(r).release = r.span->last - 4 / 60.0;
    r = anchoredPlant(std::move(r), *walk.context, walk.motion);
  }
  const Planted result = run(walk, repairs);
  double jerk = 0;
  for (std::size_t i = 0; i < repairs.size(); ++i) {
    const auto shank = static_cast<std::size_t>(walk.context->legs[i % 2].mid);
    const auto turn = [&](int f) { return logOf(normalised(conjugate(Quatd(result.motion.rotationsAt(f - 1)[shank])) * Quatd(result.motion.rotationsAt(f)[shank]))); };
    for (int f = 10 + 28 * static_cast<int>(i) + 20; f <= 10 + 28 * static_cast<int>(i) + 32; ++f) jerk = std::max(jerk, length(turn(f + 1) - turn(f)));
  }
  EXPECT_LT(jerk, 0.032);  // 0.035 where feet roll once, before the pelvis has settled
}

TEST(Plant, ThePelvisSinksNoFurtherThanItMayAndTheRestIsTold) {
  const Walk walk;
  Repair repair = anchoredPlant(step(0, 40), *walk.context, walk.motion);
  plantOf(repair).anchor.z += 2;
  plantOf(repair).lift = 0;
  const Planted result = run(walk, {repair});
  const int hips = walk.context->joint(Role::hips);
  for (int f = 0; f < walk.motion.frames(); ++f) {
    const double sunk = worldAt(walk.character->skeleton, walk.motion, f)[static_cast<std::size_t>(hips)].translation.y -
                        worldAt(walk.character->skeleton, result.motion, f)[static_cast<std::size_t>(hips)].translation.y;
    EXPECT_LE(sunk, plantSettings().pelvisLimit * walk.context->leg * 1.0001);
  }
  EXPECT_GT(result.miss(55), 0.5);
  for (const Quatf& q : result.motion.flat().rotations) ASSERT_TRUE(isFinite(q));
}

TEST(Plant, SlopesAndStepsAreStoodOn) {
  const Walk walk;
  Repair repair = step(0, 40);
  plantOf(repair).ground = 0.03;
  plantOf(repair).normal = normalised(Vec3d{0.05, 1, -0.1});
  repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
  const Planted result = run(walk, {repair});
  const PlantRepair& plant = plantOf(repair);
  for (int f = 40; f <= 69; ++f) {
    if (result.miss(f) > 1e-5) continue;
    double low = 1e9;
    int bearing = 0;
    for (const Vec3d& p : walk.sole(result.motion, 0, f)) {
      const double h = dot(p - Vec3d{plant.anchor.x, 0.03, plant.anchor.z}, plant.normal) - 0;
      low = std::min(low, h);
      bearing += h < 0.02;
    }
    // The anchor stands over the ground along the normal, so the plane passes a little beside the point below it.
    EXPECT_NEAR(low, 0, 0.015) << "frame " << f + 1;
    if (f >= 48 && f < 62) {
      EXPECT_GE(bearing, 3);
    }
  }
}

TEST(Plant, AStepOfTheSetIsStoodOn) {
  Walk walk;
  const Repair onFloor = anchoredPlant(step(0, 40), *walk.context, walk.motion);
  RepairContext context = *walk.context;
  SetItem box;
  box.kind = SetKind::box;
  const PlantRepair& floor = std::get<PlantRepair>(onFloor.action);
  // Its top is where the made walk's floating foot is, nearer than the floor.
  const double sole = floor.anchor.y - floor.lift - context.standing->legs[0].height;
  ASSERT_GT(std::abs(sole), 5e-3);
  box.place.position = {floor.anchor.x, sole - 0.5, floor.anchor.z};
  box.size = {1, 0.5, 1};
  context.set = {box};
  const Repair onBox = anchoredPlant(step(0, 40), context, walk.motion);
  EXPECT_NEAR(std::get<PlantRepair>(onBox.action).ground, sole, 2e-3);
  EXPECT_EQ(floor.ground, 0);
}

/// A foot that spins after `before`: heading, the stillest point of the sole, and whether that lies behind the foot's joint.
void expectSpin(PlantPhase before, bool behind) {
  const Walk walk;
  Repair repair = step(0, 40);
  plantOf(repair).marks = {{40 / 60.0, PlantPhase::flat}, {47 / 60.0, before}, {48 / 60.0, PlantPhase::spin}, {60 / 60.0, PlantPhase::flat}};
  repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
  plantOf(repair).turn = 0.6;
  const Planted result = run(walk, {repair});
  const auto heading = [&](int f) {
    const auto pose = worldAt(walk.character->skeleton, result.motion, f);
    const Vec3d way = pose[static_cast<std::size_t>(walk.context->joint(Role::leftToes))].translation - pose[static_cast<std::size_t>(walk.context->joint(Role::leftFoot))].translation;
    return std::atan2(way.x, way.z);
  };
  EXPECT_NEAR(heading(64) - heading(44), 0.6, 1e-3);
  // In no frame much more than its share of it.
  for (int f = 45; f <= 64; ++f) EXPECT_LT(std::abs(heading(f) - heading(f - 1)), 1.55 * 0.6 / 12) << "frame " << f + 1;
  // Some point of the sole stays where it is.
  double stillest = 1e9;
  Vec3d stays;
  const auto first = walk.sole(result.motion, 0, 44);
  for (std::size_t i = 0; i < first.size(); ++i) {
    double worst = 0;
    for (int f = 44; f <= 64; ++f) worst = std::max(worst, distance(first[i], walk.sole(result.motion, 0, f)[i]));
    if (worst < stillest) stillest = worst, stays = first[i];
  }
  EXPECT_LT(stillest, 5e-4);
  const Vec3d joint = worldAt(walk.character->skeleton, result.motion, 44)[static_cast<std::size_t>(walk.context->joint(Role::leftFoot))].translation;
  const double ahead = dot(stays - joint, Vec3d{std::sin(heading(44)), 0, std::cos(heading(44))});
  EXPECT_EQ(ahead < 0, behind) << ahead << " m ahead of the joint";
}

TEST(Plant, ASpinTurnsAboutTheBall) { expectSpin(PlantPhase::flat, false); }

TEST(Plant, ASpinAfterAHeelPhaseTurnsAboutTheHeel) { expectSpin(PlantPhase::heel, true); }

TEST(Plant, SpinsGoTheirOwnWaysRound) {
  const Walk walk;
  Repair repair = step(0, 40);
  plantOf(repair).marks = {{40 / 60.0, PlantPhase::flat}, {46 / 60.0, PlantPhase::spin}, {54 / 60.0, PlantPhase::flat}, {58 / 60.0, PlantPhase::spin}, {64 / 60.0, PlantPhase::flat}};
  repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
  ASSERT_TRUE(plantOf(repair).marks[1].turn && plantOf(repair).marks[3].turn);
  EXPECT_NEAR(*plantOf(repair).marks[1].turn + *plantOf(repair).marks[3].turn, plantOf(repair).turn, 1e-12);
  plantOf(repair).marks[1].turn = 0.5;
  plantOf(repair).marks[3].turn = -0.5;
  plantOf(repair).turn = 0;
  const Planted result = run(walk, {repair});
  const auto heading = [&](int f) {
    const auto pose = worldAt(walk.character->skeleton, result.motion, f);
    const Vec3d way = pose[static_cast<std::size_t>(walk.context->joint(Role::leftToes))].translation - pose[static_cast<std::size_t>(walk.context->joint(Role::leftFoot))].translation;
    return std::atan2(way.x, way.z);
  };
  EXPECT_NEAR(heading(56) - heading(44), 0.5, 1e-3);
  EXPECT_NEAR(heading(66) - heading(44), 0, 1e-3);
}

TEST(Plant, ASpinOnARaisedHeelTurnsAboutWhatIsDown) {
  const Walk walk({}, 121, true);
  Repair repair = step(0, 40);
  plantOf(repair).marks = {{40 / 60.0, PlantPhase::heel}, {48 / 60.0, PlantPhase::flat}, {56 / 60.0, PlantPhase::ball}, {62 / 60.0, PlantPhase::spin}};
  repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
  plantOf(repair).turn = 0.8;
  const Planted result = run(walk, {repair});
  double heelUp = 0, turned = 0;
  int judged = 0;  // frames in which something stays down
  for (int f = 57; f <= 69; ++f) {
    const auto before = walk.sole(result.motion, 0, f - 1), now = walk.sole(result.motion, 0, f);
    const double was = lowest(before), is = lowest(now);
    double least = 1e9, most = 0, highest = 0;
    for (std::size_t i = 0; i < now.size(); ++i) {
      highest = std::max(highest, now[i].y);
      most = std::max(most, std::hypot(now[i].x - before[i].x, now[i].z - before[i].z));
      if (now[i].y < is + 1e-3 && before[i].y < was + 1e-3) least = std::min(least, std::hypot(now[i].x - before[i].x, now[i].z - before[i].z));
    }
    if (least < 1e8) {
      EXPECT_LT(least, 1e-4) << "frame " << f + 1;
      ++judged;
    }
    if (f >= 62) heelUp = std::max(heelUp, highest), turned = std::max(turned, most);
  }
  const auto flat = walk.sole(result.motion, 0, 50);
  EXPECT_GT(heelUp, std::max_element(flat.begin(), flat.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y + 0.01) << "the heel must be up";
  EXPECT_GT(turned, 0.01) << "the foot must turn";
  EXPECT_GE(judged, 10);
}

TEST(Plant, AFootThatGoesFromHeelToBallPassesThroughFlat) {
  Walk walk;
  const auto foot = static_cast<std::size_t>(walk.map->character.joint(Role::leftFoot));
  walk.motion = walk.motion.writable(0, 121);
  // Toes up while the heel bears: most in frame 49, slowly.
  for (int f = 30; f <= 68; ++f) {
    Quatf& q = walk.motion.rotationsToWrite(f)[foot];
    q = Quatf(Quatd(q) * fromAxisAngle(Vec3d{1, 0, 0}, -1.0 * std::pow(std::cos((f - 49) / 40.0 * 3.14159), 2)));
  }
  Repair repair = step(0, 40);
  plantOf(repair).marks = {{40 / 60.0, PlantPhase::heel}, {50 / 60.0, PlantPhase::ball}};
  repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
  const Planted result = run(walk, {repair});
  const auto turn = [&](const TiledMotion& m, int f) { return toQuat(worldAt(walk.character->skeleton, m, f)[foot].linear); };
  double was = 0, is = 0, turned = 0;
  for (int f = 41; f <= 68; ++f) {
    was = std::max(was, angleBetween(turn(walk.motion, f - 1), turn(walk.motion, f)));
    is = std::max(is, angleBetween(turn(result.motion, f - 1), turn(result.motion, f)));
    turned = std::max(turned, angleBetween(turn(result.motion, 40), turn(result.motion, f)));
  }
  EXPECT_GT(turned, 0.1) << "the foot must roll";
  EXPECT_LT(is, 2 * was);
}

TEST(Plant, HalfTheWeightGoesHalfTheWay) {
  const Walk walk;
  Repair repair = anchoredPlant(step(0, 40), *walk.context, walk.motion);
  const Planted full = run(walk, {repair});
  repair.weight = 0.5;
  const Planted half = run(walk, {repair});
  const auto foot = [&](const TiledMotion& m) { return worldAt(walk.character->skeleton, m, 55)[static_cast<std::size_t>(walk.context->joint(Role::leftFoot))].translation; };
  EXPECT_NEAR(distance(foot(half.motion), (foot(walk.motion) + foot(full.motion)) * 0.5), 0, 2e-3);
  EXPECT_GT(distance(foot(walk.motion), foot(full.motion)), 5e-3);
}

TEST(Plant, HandsKneesAndSeatStayToo) {
  const Walk walk;
  const auto place = [&](const TiledMotion& m, Role role, int f) {
    return apply(worldFromFile(*walk.character, walk.context->body.pose),
                 worldAt(walk.character->skeleton, m, f)[static_cast<std::size_t>(walk.context->joint(role))].translation);
  };
  for (const auto& [part, role] : {std::pair{PlantPart::leftHand, Role::leftHand}, std::pair{PlantPart::rightKnee, Role::rightLowerLeg}, std::pair{PlantPart::seat, Role::hips}}) {
    Repair repair = step(0, 40);
    plantOf(repair).part = part;
    plantOf(repair).marks.clear();
    // Held near where it is: its ground is put under it.
    plantOf(repair).ground = place(walk.motion, role, 55).y - 0.1;
    repair = anchoredPlant(std::move(repair), *walk.context, walk.motion);
    ASSERT_TRUE(plantOf(repair).anchored);
    const Planted result = run(walk, {repair});
    ASSERT_TRUE(result.issues.empty());
    double moved = 0, before = 0;
    for (int f = 41; f <= 69; ++f) {
      if (result.miss(f) > 1e-4 || result.miss(f - 1) > 1e-4) continue;
      moved = std::max(moved, distance(place(result.motion, role, f), place(result.motion, role, f - 1)));
      before = std::max(before, distance(place(walk.motion, role, f), place(walk.motion, role, f - 1)));
    }
    if (role != Role::rightLowerLeg) {
      EXPECT_LT(moved, 1e-4) << roleName(role);
      EXPECT_GT(before, 2e-3) << roleName(role);
      EXPECT_LT(result.miss(55), 1e-3) << roleName(role);
    }
    const FrameSpan extent = result.layer->extent(0);
    for (int f = 0; f < walk.motion.frames(); ++f) {
      if (!extent.holds(f)) {
        EXPECT_TRUE(same(walk.motion, result.motion, f)) << roleName(role) << " frame " << f + 1;
      }
    }
    EXPECT_FALSE(same(walk.motion, result.motion, 55)) << roleName(role);
  }
}

TEST(Plant, OverlapsAndMissingLegsAreTold) {
  const Walk walk;
  const std::vector<Repair> repairs{step(0, 40), step(0, 60), step(1, 60)};
  const Planted result = run(walk, repairs);
  ASSERT_EQ(result.issues.size(), 1U);
  EXPECT_NE(result.issues[0].what.find("overlaps"), std::string::npos);
  auto map = std::make_shared<BoneMap>(*walk.map);
  Repair outside = step(0, 4000);
  EXPECT_EQ(anchoredPlant(outside, *walk.context, walk.motion), outside);
}

/// A foot that stands all the time, its joints' phases and paths as given.
std::vector<PlantMark> proposedMarks(const std::vector<FootPhase>& phases, const std::function<void(int, Vec3d& heel, Vec3d& ball)>& path) {
  Contacts contacts;
  contacts.leg = 0.9;
  FootContact& foot = contacts.feet[0];
  foot.phases = phases;
  for (int f = 0; f < static_cast<int>(phases.size()); ++f) {
    foot.heel.push_back({0, 0, 0});
    foot.ball.push_back({0, 0.03, 0.2});
    path(f, foot.heel.back(), foot.ball.back());
  }
  ContactSpan span;
  span.last = static_cast<int>(phases.size()) - 1;
  foot.spans = {span};
  const std::vector<Repair> found = proposePlants(contacts, {120, 1});
  return found.size() == 1 ? std::get<PlantRepair>(found[0].action).marks : std::vector<PlantMark>{};
}
std::vector<PlantPhase> phasesOf(const std::vector<PlantMark>& marks) {
  std::vector<PlantPhase> out;
  for (const PlantMark& m : marks) out.push_back(m.phase);
  return out;
}

TEST(PlantProposal, HeelsThatFlickerStayDown) {
  std::vector<FootPhase> phases(120, FootPhase::flat);
  for (const int f : {30, 31, 36, 37, 38, 70}) phases[static_cast<std::size_t>(f)] = FootPhase::ball;
  for (std::size_t f = 90; f < 120; ++f) phases[f] = FootPhase::ball;
  EXPECT_EQ(phasesOf(proposedMarks(phases, [](int f, Vec3d& heel, Vec3d&) { heel.y = f < 90 ? 0 : 0.01 * (f - 89); })), (std::vector<PlantPhase>{PlantPhase::flat, PlantPhase::ball}));
}

TEST(PlantProposal, SpinsAreOnWhatStays) {
  const std::vector<FootPhase> phases(120, FootPhase::flat);
  const auto turned = [](int f) { return 0.02 * std::clamp(f - 40, 0, 40); };
  const auto ball = phasesOf(proposedMarks(phases, [&](int f, Vec3d& heel, Vec3d&) { heel = {-0.2 * std::sin(turned(f)), 0, 0.2 - 0.2 * std::cos(turned(f))}; }));
  EXPECT_EQ(ball, (std::vector<PlantPhase>{PlantPhase::flat, PlantPhase::spin, PlantPhase::flat}));
  const auto heel = phasesOf(proposedMarks(phases, [&](int f, Vec3d&, Vec3d& at) { at = {0.2 * std::sin(turned(f)), 0.03, 0.2 * std::cos(turned(f))}; }));
  EXPECT_EQ(heel, (std::vector<PlantPhase>{PlantPhase::flat, PlantPhase::heel, PlantPhase::spin, PlantPhase::flat}));
}

TEST(PlantProposal, StandsOnEachStayInTime) {
  Contacts contacts;
  contacts.leg = 0.9;
  FootContact& foot = contacts.feet[0];
  for (int f = 0; f < 120; ++f) {
    foot.phases.push_back(f < 20 || f > 79 ? FootPhase::none : f < 30 ? FootPhase::heel : f < 60 ? FootPhase::flat : FootPhase::ball);
    foot.heel.push_back({0, f < 60 ? 0 : 0.01 * (f - 59), 0});
    foot.ball.push_back({0, f < 75 ? 0.03 : 0.03 + 0.01 * (f - 74), 0.2});
  }
  ContactSpan span;
  span.first = 20;
  span.last = 79;
  span.landingSeen = span.leavingSeen = true;
  foot.spans = {span};
  const std::vector<Repair> found = proposePlants(contacts, {120, 1});
  ASSERT_EQ(found.size(), 1U);
  const PlantRepair& plant = std::get<PlantRepair>(found[0].action);
  EXPECT_EQ(plant.part, PlantPart::leftFoot);
  EXPECT_NEAR(found[0].span->first, 20 / 120.0, 1e-9);
  EXPECT_NEAR(found[0].span->last, 79 / 120.0, 1e-9);
  ASSERT_TRUE(plant.release.has_value());
  EXPECT_GE((*plant.release - 20 / 120.0) / (59 / 120.0), 0.85);
  std::vector<PlantPhase> order;
  for (const PlantMark& m : plant.marks) order.push_back(m.phase);
  EXPECT_EQ(order, (std::vector<PlantPhase>{PlantPhase::heel, PlantPhase::flat, PlantPhase::ball, PlantPhase::toe}));
  EXPECT_EQ(plant.ground, 0);
}

}  // namespace
}  // namespace understudy
