#include <gtest/gtest.h>

#include <cmath>

#include "core/io/read.h"
#include "core/repair/mirror.h"
#include "core/repair/offset.h"
#include "core/repair/poser.h"
#include "core/repair/transform.h"
#include "tests/support/fixtures.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

Repair of(RepairAction action) {
  Repair repair;
  repair.id = 8;
  repair.span = TimeRange{1, 2};
  repair.action = std::move(action);
  return repair;
}

Poser after(const test::Stand& stand, const Repair& repair, int frame) {
  Issues issues;
  const TiledMotion out = test::runLayer(*makeOffsetLayer(stand.context, {&repair}, {}, issues), stand.motion).motion;
  EXPECT_TRUE(issues.empty());
  Poser poser(*stand.context);
  poser.load(out, frame);
  return poser;
}

/// The reference pose, turned about up and moved.
test::Stand standingAt(const Vec3d& place, double heading) {
  const test::Stand walk = test::walkingStick(2, 0);
  test::Stand stand = test::swinging(walk.context->figure, walk.context->map, 90, 0, 1);
  stand.motion = stand.motion.writable(0, 90);
  const int hips = stand.context->joint(Role::hips);
  for (int f = 0; f < 90; ++f) {
    Poser poser(*stand.context);
    poser.load(stand.motion, f);
    poser.turn(hips, fromAxisAngle(Vec3d{0, 1, 0}, heading));
    poser.moveBy(hips, place - poser.position(hips));
    poser.store(stand.motion, f);
  }
  return stand;
}

TEST(Mirrored, OffsetsHaveTheMirrorsEffectInEverySpace) {
  const test::Stand stand = standingAt({2, 1, -3}, 0.7);
  const SagittalPlane plane = sagittalPlane(*stand.context, stand.motion, 45);
  EXPECT_NEAR(plane.heading, 0.7, 1e-5);
  EXPECT_NEAR(distance(plane.point, {2, 1, -3}), 0, 1e-5);
  const auto image = [&](const Vec3d& p) {
    const Quatd turn = fromAxisAngle(Vec3d{0, 1, 0}, plane.heading);
    return plane.point + rotate(turn, mirroredPlace(rotate(conjugate(turn), p - plane.point)));
  };
  for (const NudgeSpace space : {NudgeSpace::bone, NudgeSpace::parent, NudgeSpace::character, NudgeSpace::world, NudgeSpace::view, NudgeSpace::ground}) {
    const Repair repair = of(OffsetRepair{{{"@leftUpperArm", {0.3, -0.2, 0.4}, {0.03, 0.02, -0.04}}, {"@leftLowerArm", {0.2, 0.5, 0}, {}}, {"@chest", {0.1, 0.2, 0.3}, {}}}, space, false});
    Issues issues;
    const Repair other = mirrored(repair, *stand.context, plane, issues);
    EXPECT_TRUE(issues.empty());
    const Poser a = after(stand, repair, 45), b = after(stand, other, 45);
    for (const auto& [left, right] : {std::pair{Role::leftHand, Role::rightHand}, {Role::rightHand, Role::leftHand}, {Role::head, Role::head}})
      EXPECT_NEAR(distance(image(a.position(stand.context->joint(left))), b.position(stand.context->joint(right))), 0, 2e-6) << nudgeSpaceName(space);
    // And back again.
    const Repair back = mirrored(other, *stand.context, plane, issues);
    const auto& x = std::get<OffsetRepair>(repair.action).bones;
    const auto& y = std::get<OffsetRepair>(back.action).bones;
    for (std::size_t i = 0; i < x.size(); ++i) {
      EXPECT_EQ(x[i].joint, y[i].joint);
      EXPECT_NEAR(distance(x[i].rotation, y[i].rotation) + distance(x[i].translation, y[i].translation), 0, 1e-6);
    }
  }
}

TEST(Mirrored, PlantsTouchesAndGripsChangeSides) {
  const test::Stand stand = standingAt({0, 1, 0}, 0.5);
  const RepairContext& c = *stand.context;
  const SagittalPlane plane{{0, 1, 0}, 0.5};
  Issues issues;
  PlantRepair plant;
  plant.part = PlantPart::leftFoot;
  plant.anchored = true;
  const Quatd facing = fromAxisAngle(Vec3d{0, 1, 0}, 0.5);
  plant.anchor = rotate(facing, Vec3d{0.1, 0.05, 0.3});
  plant.yaw = 0.7;
  plant.turn = 0.1;
  const PlantRepair foot = std::get<PlantRepair>(mirrored(of(plant), c, plane, issues).action);
  EXPECT_EQ(foot.part, PlantPart::rightFoot);
  EXPECT_NEAR(distance(foot.anchor, rotate(facing, Vec3d{-0.1, 0.05, 0.3})), 0, 1e-12);
  EXPECT_NEAR(foot.yaw, 0.3, 1e-12);
  EXPECT_EQ(foot.turn, -0.1);

  TouchRepair touch;
  touch.target = TouchTarget::body;
  touch.on = "@leftUpperLeg";
  touch.point = {0.05, 0.01, 0.02};
  touch.place = {0.02, -0.1, 0.03};
  touch.path = {{1.5, "@leftUpperLeg", {0.02, -0.1, 0.03}, {0, 0, 1}, {0.05, 0.01, 0.02}}};
  const TouchRepair hand = std::get<TouchRepair>(mirrored(of(touch), c, plane, issues).action);
  EXPECT_EQ(hand.bone, "@rightHand");
  EXPECT_EQ(hand.on, "@rightUpperLeg");
  EXPECT_EQ(hand.path[0].on, "@rightUpperLeg");
  const auto world = [&](Role role, const Vec3d& p) {
    const auto j = static_cast<std::size_t>(c.joint(role));
    return c.body.position[j] + rotate(c.body.rotation[j], p);
  };
  EXPECT_NEAR(distance(world(Role::rightHand, hand.point), mirroredPlace(world(Role::leftHand, touch.point))), 0, 1e-6);
  EXPECT_NEAR(distance(world(Role::rightUpperLeg, hand.place), mirroredPlace(world(Role::leftUpperLeg, touch.place))), 0, 1e-6);
  EXPECT_NEAR(distance(hand.path[0].point, hand.point), 0, 1e-12);

  GripRepair grip;
  grip.leadLeft = true;
  grip.leadPalm = {{0.08, 0.01, 0}, fromAxisAngle(normalised(Vec3d{1, 2, 3}), 0.8)};
  const GripRepair other = std::get<GripRepair>(mirrored(of(grip), c, plane, issues).action);
  EXPECT_FALSE(other.leadLeft);
  // The palm's y and z axes are mirrored, its x axis follows from them.
  const auto palmAxis = [&](Role role, const Placement& p, const Vec3d& axis) { return rotate(c.body.rotation[static_cast<std::size_t>(c.joint(role))] * p.rotation, axis); };
  for (const Vec3d& axis : {Vec3d{0, 1, 0}, Vec3d{0, 0, 1}})
    EXPECT_NEAR(distance(palmAxis(Role::rightHand, other.leadPalm, axis), mirroredPlace(palmAxis(Role::leftHand, grip.leadPalm, axis))), 0, 1e-9);

  EXPECT_EQ(std::get<HandShapeRepair>(mirrored(of(HandShapeRepair{}), c, plane, issues).action).left, false);
  EXPECT_EQ(std::get<SmoothRepair>(mirrored(of(SmoothRepair{{"@leftHand", "@head"}, 6, true}), c, plane, issues).action).bones, (std::vector<std::string>{"@rightHand", "@head"}));
  EXPECT_TRUE(issues.empty());
  EXPECT_EQ(std::get<SmoothRepair>(mirrored(of(SmoothRepair{{"tail"}, 6, true}), c, plane, issues).action).bones, std::vector<std::string>{"tail"});
  EXPECT_EQ(issues.size(), 1U);
}

TEST(MovedInTime, TakesEveryTimeAlong) {
  PlantRepair plant;
  plant.marks = {{1, PlantPhase::heel}, {1.5, PlantPhase::flat}};
  plant.release = 1.9;
  const Repair moved = movedInTime(of(plant), 0.5);
  EXPECT_EQ(moved.span, (TimeRange{1.5, 2.5}));
  EXPECT_EQ(std::get<PlantRepair>(moved.action).marks[1].time, 2);
  EXPECT_EQ(std::get<PlantRepair>(moved.action).release, 2.4);
  EXPECT_EQ(std::get<StillRepair>(movedInTime(of(StillRepair{{}, 1.25, true}), -0.25).action).time, 1.0);
  TouchRepair touch;
  touch.path.resize(1);
  EXPECT_EQ(std::get<TouchRepair>(movedInTime(of(touch), 0.5).action).path[0].time, 0.5);
  Repair whole = of(SmoothRepair{});
  whole.span.reset();
  EXPECT_EQ(movedInTime(whole, 3), whole);
}

std::shared_ptr<const RepairContext> stickContext(const StickOptions& options) {
  const TemporaryFolder folder;
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb(options));
  const auto figure = std::make_shared<const Figure>(*readFigure(folder.file("stick.glb")));
  const auto map = std::make_shared<const BoneMap>(BoneMap{{}, mapRoles(*figure)});
  return *repairContext(figure, map, {}, {30, 1}, 40);
}

TEST(CarriedOver, TurnsMeanTheSameOnAnotherCharacter) {
  const auto a = stickContext({.armsDown = 0}), b = stickContext({.scale = 0.01, .armsDown = 60, .legLength = 1.1});
  const Vec3d along = normalised(a->body.position[static_cast<std::size_t>(a->joint(Role::leftLowerArm))] - a->body.position[static_cast<std::size_t>(a->joint(Role::leftUpperArm))]);
  // A turn of the upper arm about its own length, named by bone and by role.
  const Vec3d r = rotate(conjugate(a->body.rotation[static_cast<std::size_t>(a->joint(Role::leftUpperArm))]), along * 0.6);
  for (const std::string name : {"@leftUpperArm", "upperarm_l"}) {
    Issues issues;
    const auto carried = carriedOver(of(OffsetRepair{{{name, r, {0.1, 0, 0}}}, NudgeSpace::bone, false}), *a, *b, issues);
    ASSERT_TRUE(carried.ok()) << carried.error().text();
    const JointNudge& part = std::get<OffsetRepair>(carried->action).bones[0];
    const Vec3d lower = b->body.position[static_cast<std::size_t>(b->joint(Role::leftLowerArm))], upper = b->body.position[static_cast<std::size_t>(b->joint(Role::leftUpperArm))];
    EXPECT_NEAR(distance(rotate(b->body.rotation[static_cast<std::size_t>(b->joint(Role::leftUpperArm))], part.rotation), normalised(lower - upper) * 0.6), 0, 1e-6);
    EXPECT_NEAR(length(part.translation), 0.1 * b->height / a->height, 1e-9);
  }
}

TEST(CarriedOver, SaysWhatIsLost) {
  const auto a = stickContext({});
  auto b = std::make_shared<RepairContext>(*a);
  auto map = std::make_shared<BoneMap>(*a->map);
  map->character.at(Role::leftToes) = {};
  b->map = map;
  Issues issues;
  const auto partly = carriedOver(of(SmoothRepair{{"@leftToes", "@head"}, 6, true}), *a, *b, issues);
  ASSERT_TRUE(partly.ok());
  EXPECT_EQ(std::get<SmoothRepair>(partly->action).bones, std::vector<std::string>{"@head"});
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].text().find("@leftToes"), std::string::npos);
  // Never "all bones" because none is left.
  EXPECT_FALSE(carriedOver(of(SmoothRepair{{"@leftToes"}, 6, true}), *a, *b, issues).ok());
  EXPECT_TRUE(carriedOver(of(SmoothRepair{}), *a, *b, issues).ok());
  PlantRepair plant;
  plant.anchored = true;
  const auto planted = carriedOver(of(plant), *a, *b, issues);
  ASSERT_TRUE(planted.ok());
  EXPECT_FALSE(std::get<PlantRepair>(planted->action).anchored);
  Nudge nudge;
  nudge.joints = {{"@leftToes", {1, 0, 0}, {}}};
  EXPECT_FALSE(carriedOver(nudge, *a, *b, issues).ok());
}

}  // namespace
}  // namespace understudy
