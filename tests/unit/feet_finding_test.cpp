// What the feet of a motion keep of their plants.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/inspect/feet.h"
#include "core/repair/plant_leg.h"
#include "core/repair/poser.h"
#include "core/repair/skin_frames.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

/// How a left foot keeps a plant that stands flat for 40 frames while the whole body turns by `turn` radians about a point under the middle
/// of its sole, where the skin has a vertex, and goes `across` metres. `soft`: weight of the shank on the sole.
PlantKept keptTurning(double turn, double across, float soft) {
  const test::Stand stand = test::walkingStick(40);
  RepairContext made = *stand.context;
  made.parts = std::make_shared<ContextParts>();
  std::vector<SoleVertex>& skin = made.soles[0].skin;
  for (SoleVertex& v : skin) v.toes = 0, v.other = soft;
  const Quatd level = PlantLeg(made, 0).level;
  const auto heightOf = [&](const SoleVertex& v) { return rotate(level, SkinFrames(made).local(made.legs[0].end, v.position)).y; };
  double low = 1e300, down = 0;
  for (const SoleVertex& v : skin) low = std::min(low, heightOf(v));
  Vec3d middle;
  for (const SoleVertex& v : skin)
    if (heightOf(v) < low + 1e-4) middle += v.position, ++down;
  middle = middle / down;
  skin.push_back({middle, 0, soft});
  const RepairContext context = std::move(made);
  const LimbRig& leg = context.legs[0];
  const int hips = context.joint(Role::hips);
  TiledMotion motion = stand.motion.writable(0, 40);
  Poser poser(context);
  PlantRepair plant;
  for (int f = 0; f < 40; ++f) {
    std::ranges::copy(stand.motion.rotationsAt(0), motion.rotationsToWrite(f).begin());
    std::ranges::copy(stand.motion.translationsAt(0), motion.translationsToWrite(f).begin());
    poser.load(motion, f);
    poser.setRotation(leg.end, level);
    const Vec3d about = poser.toWorld(leg.end, SkinFrames(context).local(leg.end, middle)), arm = poser.position(hips) - about;
    plant.ground = about.y;
    const Quatd turned = fromAxisAngle({0, 1, 0}, turn * f / 39);
    poser.turn(hips, turned);
    poser.moveBy(hips, rotate(turned, arm) - arm + Vec3d{across * f / 39, 0, 0});
    poser.store(motion, f);
  }
  Repair repair;
  repair.span = TimeRange{0, context.rate.seconds(39)};
  plant.part = PlantPart::leftFoot;
  repair.action = plant;
  return plantKept(context, motion, repair).value();
}

TEST(PlantKept, ASoftSoleThatTurnsAboutAPointOfItDoesNotSlide) {
  const PlantKept kept = keptTurning(0.3, 0, 0.006F);
  EXPECT_GT(kept.soft, 0.005);
  EXPECT_LT(kept.above, 0.001);
  EXPECT_LT(kept.slide, 5e-4);
  EXPECT_LT(kept.below, 0.001);
}

TEST(PlantKept, ASoftSoleThatGoesAcrossTheGroundSlides) { EXPECT_NEAR(keptTurning(0, 0.02, 0.006F).slide, 0.02, 1e-3); }

}  // namespace
}  // namespace understudy
