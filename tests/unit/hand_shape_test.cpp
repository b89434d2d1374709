// The stage of hands, and grips proposed, carried out and followed by their prop.
#include "core/repair/hand_shape.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "core/evaluate/props.h"
#include "core/inspect/grips.h"
#include "core/inspect/prop_sinks.h"
#include "core/repair/poser.h"
#include "core/repair/prop_floor.h"
#include "tests/support/sample_scene.h"

namespace understudy {
namespace {

struct Scene {
  std::shared_ptr<const RepairContext> context;
  TiledMotion motion;
  std::vector<HandsTogether> holds;
  FrameRate rate;
};

const Scene& sweeping() {
  static const Scene scene = [] {
    Scene out;
    const SampleScene plain = sampleScene();
    if (!plain.context) return out;
    const Result<BodyContacts> contacts = findBodyContacts(*plain.performer, plain.map->performer, plain.clip);
    if (!contacts) return out;
    // A broom of the keeper's size.
    PropItem broom;
    broom.id = 3;
    broom.path = std::string(UNDERSTUDY_SOURCE) + "/samples/broom.glb";
    broom.scale = plain.context->height / 1.78;
    const Result<PropItem> made = makeProp(broom, nullptr, plain.context->height);
    if (!made) return out;
    auto with = std::make_shared<RepairContext>(*plain.context);
    with->props.push_back(*made);
    out.context = with;
    out.motion = plain.motion;
    out.holds = contacts->together;
    out.rate = plain.clip.rate;
    return out;
  }();
  return scene;
}

TiledMotion applied(const Scene& scene, const RepairLayer& layer, const TiledMotion& in) {
  TiledMotion out = in.writable(0, in.frames());
  std::vector<Residual> residuals(layer.repairs().size());
  layer.apply(in, {0, in.frames() - 1}, out, residuals);
  static_cast<void>(scene);
  return out;
}

Repair shapeOver(int first, int last, std::string shape, bool left, double amount = 1) {
  Repair repair;
  repair.id = 9;
  repair.span = TimeRange{first / 30.0, last / 30.0};
  HandShapeRepair action;
  action.shape = std::move(shape);
  action.left = left;
  action.amount = amount;
  repair.action = action;
  return repair;
}

TEST(HandShape, AFistClosesOneHandOverItsSpanAndNothingElse) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = shapeOver(100, 140, "fist", true);
  Issues issues;
  const RepairLayerPtr layer = makeHandLayer(scene.context, {&repair}, issues);
  EXPECT_TRUE(issues.empty());
  const TiledMotion out = applied(scene, *layer, scene.motion);
  std::vector<char> finger(static_cast<std::size_t>(scene.motion.joints()), 0);
  for (const Finger& f : handsOf(*scene.context)[0].fingers)
    for (const FingerBone& b : f.bones) finger[static_cast<std::size_t>(b.joint)] = 1;
  const FrameSpan extent = layer->extent(0);
  for (int f = 0; f < scene.motion.frames(); ++f)
    for (int j = 0; j < scene.motion.joints(); ++j) {
      const auto k = static_cast<std::size_t>(j);
      const bool same = scene.motion.rotationsAt(f)[k] == out.rotationsAt(f)[k];
      if (!finger[k] || !extent.holds(f)) {
        EXPECT_TRUE(same) << f << " " << j;
      } else if (f >= 100 && f <= 140) {
        EXPECT_FALSE(same) << f << " " << j;
      }
    }
}

TEST(HandShape, AmountGoesPartOfTheWay) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const auto j = static_cast<std::size_t>(handsOf(*scene.context)[0].fingers[1].bones[0].joint);
  const auto turned = [&](double amount) {
    const Repair repair = shapeOver(100, 140, "fist", true, amount);
    Issues issues;
    const TiledMotion out = applied(scene, *makeHandLayer(scene.context, {&repair}, issues), scene.motion);
    return angleBetween(Quatd(scene.motion.rotationsAt(120)[j]), Quatd(out.rotationsAt(120)[j]));
  };
  EXPECT_GT(turned(1), 0.5);
  EXPECT_NEAR(turned(0.5), turned(1) / 2, 0.02);
  EXPECT_EQ(turned(0), 0);
}

TEST(HandShape, UnknownShapesAreTold) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = shapeOver(100, 140, "paw", true);
  Issues issues;
  const RepairLayerPtr layer = makeHandLayer(scene.context, {&repair}, issues);
  ASSERT_EQ(issues.size(), 1u);
  EXPECT_NE(issues[0].todo.find("fist"), std::string::npos);
  const TiledMotion out = applied(scene, *layer, scene.motion);
  EXPECT_TRUE(std::equal(out.rotationsAt(120).begin(), out.rotationsAt(120).end(), scene.motion.rotationsAt(120).begin()));
}

TEST(GripProposals, TheBroomIsFoundHeldAndStaysInBothHands) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  ASSERT_EQ(scene.holds.size(), 1u);
  for (const std::uint64_t prop : {0, 3}) {
    GripProposalSettings settings;
    settings.prop = prop;
    settings.onFloor = false;  // held where its handle is held by default
    Issues issues;
    std::vector<Repair> repairs = proposeGrips(*scene.context, scene.motion, scene.holds, scene.rate, settings, issues);
    EXPECT_TRUE(issues.empty());
    ASSERT_EQ(repairs.size(), 1u);
    repairs[0].id = 1;
    const GripRepair& grip = std::get<GripRepair>(repairs[0].action);
    EXPECT_FALSE(grip.leadLeft);
    const FrameSpan span = repairFrames(repairs[0], scene.rate, scene.motion.frames()).span;
    // Held from frame 157 to 385 by the samples' truth file.
    EXPECT_NEAR(span.first, 157, 8);
    EXPECT_NEAR(span.last, 385, 8);
    EXPECT_GT(gripDrift(*scene.context, scene.motion, repairs[0]).worstMetres, 0.01);
    const RepairLayerPtr layer = makeGripLayer(scene.context, {&repairs[0]}, issues);
    const TiledMotion out = applied(scene, *layer, scene.motion);
    const GripDrift left = gripDrift(*scene.context, out, repairs[0]);
    EXPECT_LT(left.worstMetres, 1e-4);
    EXPECT_LT(left.worstRadians, 1e-3);
  }
}

/// What is proposed for the broom, with a number.
std::vector<Repair> broomGrips(const Scene& scene, Issues& issues) {
  GripProposalSettings settings;
  settings.prop = 3;
  std::vector<Repair> repairs = proposeGrips(*scene.context, scene.motion, scene.holds, scene.rate, settings, issues);
  if (!repairs.empty()) repairs[0].id = 1;
  return repairs;
}

TEST(GripProposals, TheBroomRunsThroughBothPalmsWithItsBristlesDown) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Issues issues;
  std::vector<Repair> repairs = broomGrips(scene, issues);
  ASSERT_EQ(repairs.size(), 1u);
  const GripRepair& grip = std::get<GripRepair>(repairs[0].action);
  const PropItem& broom = scene.context->props[0];
  const TiledMotion held = applied(scene, *makeGripLayer(scene.context, {&repairs[0]}, issues), scene.motion);
  const FrameSpan span = repairFrames(repairs[0], scene.rate, scene.motion.frames()).span;
  const std::vector<Rigid> path = propPath(*scene.context, held, broom, {&repairs[0]}, {0, held.frames() - 1});
  ASSERT_EQ(path.size(), static_cast<std::size_t>(held.frames()));
  Poser poser(*scene.context);
  for (int f = span.first; f <= span.last; f += 10) {
    poser.load(held, f);
    const Rigid& at = path[static_cast<std::size_t>(f)];
    for (const bool lead : {true, false}) {
      const LimbRig& arm = scene.context->arms[lead == grip.leadLeft ? 0 : 1];
      const Rigid palm = Rigid{poser.rotation(arm.end), poser.position(arm.end)} * rigidOf(lead ? grip.leadPalm : grip.supportPalm);
      // The handle's axis passes in front of the palm, one radius off its skin.
      const Vec3d hold = apply(palm, Vec3d{0, 0, broom.radius}), inProp = apply(inverse(at), hold);
      EXPECT_LT(std::hypot(inProp.x, inProp.z), 0.003) << "frame " << f << (lead ? " lead" : " support");
      EXPECT_GT(inProp.y, 0.2);
    }
    EXPECT_LT(apply(at, Vec3d{}).y, apply(at, Vec3d{0, 1, 0}).y);
  }
  // Outside the grip it stays where the hand had it.
  EXPECT_EQ(path.front(), path[static_cast<std::size_t>(span.first - 1)]);
  EXPECT_LT(distance(path.front().at, path[static_cast<std::size_t>(span.first)].at), 1e-12);
  EXPECT_EQ(path.back(), path[static_cast<std::size_t>(span.last + 1)]);

  // Fingers close on it.
  const TiledMotion closed = applied(scene, *makeHandLayer(scene.context, {&repairs[0]}, issues), held);
  for (const bool lead : {true, false}) {
    const std::optional<HandleInPalm> handle = handleOf(*scene.context, grip, lead);
    ASSERT_TRUE(handle.has_value());
    const Hand& hand = handsOf(*scene.context)[lead == grip.leadLeft ? 0 : 1];
    const HandClosing closing = handPose(hand, HandPose::grip, *handle);
    for (std::size_t k = 0; k < closing.gaps.size(); ++k)
      if (!hand.fingers[k].thumb) {
        EXPECT_LT(std::abs(closing.gaps[k]), 0.004) << (lead ? "lead" : "support") << " finger " << k;
      }
    const auto j = static_cast<std::size_t>(hand.fingers[1].bones[0].joint);
    EXPECT_FALSE(closed.rotationsAt(250)[j] == held.rotationsAt(250)[j]);
  }
}

double lowestOf(const PropItem& prop, const Rigid& place) {
  double low = 1e300;
  for (const Vec3d& p : prop.outline) low = std::min(low, apply(place, p).y);
  return low;
}

TEST(GripProposals, BothHandsTiltTheBroomThatWouldGoThroughTheFloor) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Issues issues;
  std::vector<Repair> repairs = broomGrips(scene, issues);
  ASSERT_EQ(repairs.size(), 1u);
  const PropItem& broom = scene.context->props[0];
  const FrameSpan span = repairFrames(repairs[0], scene.rate, scene.motion.frames()).span;
  double lowest[2] = {0, 0};
  for (const bool floor : {false, true}) {
    std::get<GripRepair>(repairs[0].action).floor = floor;
    const TiledMotion held = applied(scene, *makeGripLayer(scene.context, {&repairs[0]}, issues), scene.motion);
    for (const Rigid& place : propPath(*scene.context, held, broom, {&repairs[0]}, span)) lowest[floor] = std::min(lowest[floor], lowestOf(broom, place));
    EXPECT_LT(gripDrift(*scene.context, held, repairs[0]).worstMetres, 1e-4);
  }
  EXPECT_LT(lowest[0], -0.01);
  EXPECT_GE(lowest[1], -1e-4);
  // What a touch asks of the broom goes first.
  Repair touch;
  touch.id = 2;
  touch.span = TimeRange{scene.rate.seconds(200), scene.rate.seconds(260)};
  touch.action = TouchRepair{.prop = 3};
  const TiledMotion held = applied(scene, *makeGripLayer(scene.context, {&repairs[0], &touch}, issues), scene.motion);
  std::get<GripRepair>(repairs[0].action).floor = false;
  const TiledMotion plain = applied(scene, *makeGripLayer(scene.context, {&repairs[0]}, issues), scene.motion);
  for (const int f : {200, 230, 260}) EXPECT_TRUE(std::equal(held.rotationsAt(f).begin(), held.rotationsAt(f).end(), plain.rotationsAt(f).begin())) << f;
}

TEST(PropSinks, AHandThatLeadsTheBroomIntoTheFloorLetsItRunUp) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  auto context = std::make_shared<RepairContext>(*scene.context);
  PropItem& broom = context->props[0];
  broom = carriedByLead(*context, broom, {}, false);
  ASSERT_EQ(broom.holders.size(), 1u);
  const Findings found = propSinks(*context, scene.motion, {}, 0.002);
  ASSERT_FALSE(found.empty());
  std::vector<Repair> grips;
  for (const Finding& finding : found) {
    EXPECT_EQ(finding.kind, FindingKind::sink);
    EXPECT_EQ(finding.bones, std::vector<std::string>{"@rightHand"});
    EXPECT_NE(finding.sentence.find("broom"), std::string::npos);
    EXPECT_GT(finding.measure, 2);
    ASSERT_EQ(finding.proposal.size(), 1u);
    grips.push_back(finding.proposal.front());
  }
  std::vector<const Repair*> repairs;
  for (const Repair& grip : grips) repairs.push_back(&grip);
  EXPECT_TRUE(propSinks(*context, scene.motion, repairs, 0.002).empty());
  const std::vector<Rigid> before = propPath(*context, scene.motion, broom, {}, {0, scene.motion.frames() - 1}), after = propPath(*context, scene.motion, broom, repairs, {0, scene.motion.frames() - 1});
  for (std::size_t f = 0; f < before.size(); ++f) {
    EXPECT_GE(lowestOf(broom, after[f]), -0.002) << f;
    EXPECT_LT(angleBetween(before[f].turn, after[f].turn), 1e-9) << f;
    if (lowestOf(broom, before[f]) > 0.002) {
      EXPECT_LT(distance(before[f].at, after[f].at), 1e-9) << f;
    }
  }
  // Without the keeping above the ground the cause is told, and nothing more is proposed.
  std::get<GripRepair>(grips[0].action).floor = false;
  const Findings left = propSinks(*context, scene.motion, repairs, 0.002);
  ASSERT_EQ(left.size(), 1u);
  EXPECT_TRUE(left[0].proposal.empty());
  EXPECT_NE(left[0].cause.find("does not keep it above the ground"), std::string::npos);
}

TEST(PropPath, HoldersTakeTurns) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  PropItem item = scene.context->props[0];
  item.holders = {{0, "", {{1, 2, 3}, {}}}, {10, "@head", {{0, 0.3, 0}, {}}}};
  const std::vector<Rigid> path = propPath(*scene.context, scene.motion, item, {}, {0, scene.motion.frames() - 1});
  EXPECT_EQ(path[299].at, (Vec3d{1, 2, 3}));
  Poser poser(*scene.context);
  poser.load(scene.motion, 300);
  const int head = scene.context->joint(Role::head);
  EXPECT_LT(distance(path[300].at, poser.toWorld(head, {0, 0.3, 0})), 1e-9);
}

TEST(PropSinks, ThePropGoesWithTheHolderThatThePathHasThere) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  RepairContext context = *scene.context;
  PropItem& item = context.props[0];
  // Two holders within one frame, the later one first in the list; a third whose bone is not there.
  const double frame = 1 / context.rate.hertz();
  item.holders = {{0, "", {{0, 5, 0}, {}}}, {100.2 * frame, "@head", {{0, 0.3, 0}, {}}}, {99.9 * frame, "@rightHand", {{0, 0.1, 0}, {}}}, {150 * frame, "no such bone", {}}};
  // However a hand turns it, it reaches into the ground.
  item.outline = {{5, 0, 0}, {-5, 0, 0}, {0, 5, 0}, {0, -5, 0}, {0, 0, 5}, {0, 0, -5}};
  const std::vector<HolderFrom> holders = holdersOf(context, item);
  ASSERT_EQ(holders.size(), 3u);
  EXPECT_EQ(holderAt(holders, -1), nullptr);
  EXPECT_EQ(holderAt(holders, 99)->joint, -1);
  EXPECT_EQ(holderAt(holders, 100)->joint, context.joint(Role::rightHand));
  EXPECT_EQ(holderAt(holders, 200)->joint, context.joint(Role::rightHand));
  const std::vector<Rigid> path = propPath(context, scene.motion, item, {}, {0, scene.motion.frames() - 1});
  const Findings found = propSinks(context, scene.motion, {}, 0.005);
  ASSERT_FALSE(found.empty());
  for (const Finding& finding : found) {
    EXPECT_EQ(finding.bones, std::vector<std::string>{"@rightHand"});
    EXPECT_GE(finding.span.first, 100);
    EXPECT_NEAR(finding.measure, -1000 * lowestHeight(propSurface(item), path[static_cast<std::size_t>(finding.worst)]), 1e-6);
  }
}

}  // namespace
}  // namespace understudy
