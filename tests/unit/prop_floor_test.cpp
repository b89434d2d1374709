// Props kept above the ground: one handle, tilted about a hand and run through it.
#include "core/repair/prop_floor.h"

#include <gtest/gtest.h>

#include <cmath>

#include "core/repair/grip.h"

namespace understudy {
namespace {

constexpr double degree = 3.14159265358979 / 180;

/// A shaft of 1.5 m held 1.2 m from its end.
PropItem shaft() {
  PropItem prop;
  prop.id = 1;
  prop.end = Vec3d{};
  prop.foot = Vec3d{};
  prop.gripped = true;
  return prop;
}
GripRepair held(bool floor = true) {
  GripRepair grip;
  grip.prop = 1;
  grip.support = false;
  grip.floor = floor;
  grip.leadGrip.position = {0, 1.2, 0};
  grip.anchored = true;
  return grip;
}
/// The hand at a height, the shaft leaning forwards by an angle.
Rigid leaning(double height, double angle) {
  const Quatd turn = fromAxisAngle(Vec3d{1, 0, 0}, -angle);
  return {turn, Vec3d{0.2, height, 0.1} - rotate(turn, Vec3d{0, 1.2, 0})};
}
constexpr Vec3d hand{0, 1.2, 0};

TEST(PropFloor, IsOnlyThereWhereAGripAsksForIt) {
  EXPECT_FALSE(PropFloor::of(shaft(), held(false), 1.7));
  EXPECT_TRUE(PropFloor::of(shaft(), held(), 1.7));
  PropItem unknown = shaft();
  unknown.end.reset();
  EXPECT_FALSE(PropFloor::of(unknown, held(), 1.7));
}

TEST(PropFloor, AboveTheGroundNothingMoves) {
  const PropFloor floor = *PropFloor::of(shaft(), held(), 1.7);
  const Rigid place = leaning(1.2, 40 * degree);
  ASSERT_GT(floor.lowest(place), 0.1);
  EXPECT_EQ(floor.tilt(place, apply(place, hand)), Quatd{});
  EXPECT_EQ(floor.run(place), 0);
  EXPECT_EQ(floor.above(place, 1), place);
}

TEST(PropFloor, ATiltLiftsTheEndToTheGroundAndComesAndGoesSmoothly) {
  const PropFloor floor = *PropFloor::of(shaft(), held(), 1.7);
  double before = 0, step = 0.0005;
  for (double height = 1.0; height > 0.7; height -= step) {
    const Rigid place = leaning(height, 45 * degree);
    const Vec3d pivot = apply(place, hand);
    const Quatd turn = floor.tilt(place, pivot);
    const Rigid tilted = Rigid{turn, pivot - rotate(turn, pivot)} * place;
    EXPECT_GT(floor.lowest(tilted), 0) << height;
    if (floor.lowest(place) < -0.01) {
      EXPECT_LT(floor.lowest(tilted), 0.004) << height;
    }
    EXPECT_LT(distance(apply(tilted, hand), pivot), 1e-9);
    const double angle = angleBetween(turn, Quatd{});
    EXPECT_LT(std::abs(angle - before), 3 * step) << height;
    before = angle;
  }
  EXPECT_GT(before, 5 * degree);
  // A handle that stands upright is not thrown about.
  EXPECT_EQ(floor.tilt(leaning(1.0, 2 * degree), apply(leaning(1.0, 2 * degree), hand)), Quatd{});
}

TEST(PropFloor, ARunGoesAlongTheHandleAsFarAsItReaches) {
  const PropFloor floor = *PropFloor::of(shaft(), held(), 1.7);
  for (const double angle : {0.0, 20.0, 50.0}) {
    double before = 0, step = 0.0005;
    for (double height = 1.3; height > 0.45; height -= step) {
      const Rigid place = leaning(height, angle * degree), above = floor.above(place, 1);
      EXPECT_EQ(above.turn, place.turn);
      EXPECT_GE(floor.lowest(above), -1e-9) << angle << " " << height;
      if (floor.lowest(place) < -0.01) {
        EXPECT_LT(floor.lowest(above), 0.001) << angle << " " << height;
      }
      EXPECT_LT(length(cross(above.at - place.at, rotate(place.turn, Vec3d{0, 1, 0}))), 1e-9);
      EXPECT_LT(std::abs(floor.run(place) - before), 2 * step) << angle << " " << height;
      before = floor.run(place);
    }
  }
  // No further than the palm stays on the handle, and not at all along one that lies level.
  EXPECT_NEAR(floor.run(leaning(-0.5, 0)), 1.2 - 0.025 * 1.7, 1e-9);
  EXPECT_EQ(floor.run(leaning(-0.1, 89 * degree)), 0);
}

}  // namespace
}  // namespace understudy
