// The stage of touches, judged from world transforms worked out here from the result's local curves.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/evaluate/props.h"
#include "core/inspect/marks.h"
#include "core/repair/grip.h"
#include "core/repair/poser.h"
#include "core/repair/touch.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

constexpr double degree = 3.14159265358979 / 180;

const test::Stand& stand() {
  static const test::Stand s = test::walkingStick(150, 3);
  return s;
}

/// World rotations and positions of a frame, from the file's own transforms.
struct Posed {
  std::vector<Affined> world;
  Affined toStage;
  Posed(const test::Stand& s, const TiledMotion& motion, int frame)
      : world(worldAt(s.context->figure->skeleton, motion, frame)), toStage(worldFromFile(*s.context->figure, s.context->body.pose)) {}
  [[nodiscard]] Vec3d at(int joint) const { return apply(toStage, world[static_cast<std::size_t>(joint)].translation); }
  /// A point of the joint's rigid frame.
  [[nodiscard]] Vec3d point(int joint, const Vec3d& local) const {
    const Quatd q = polarParts(toStage * world[static_cast<std::size_t>(joint)]).rotation;
    return at(joint) + rotate(q, local);
  }
  [[nodiscard]] Quatd turn(int joint) const { return polarParts(toStage * world[static_cast<std::size_t>(joint)]).rotation; }
};

Repair touchOver(int first, int last, TouchRepair touch) {
  Repair repair;
  repair.id = 5;
  const double rate = stand().context->rate.hertz();
  repair.span = TimeRange{first / rate, last / rate};
  repair.easeBefore = repair.easeAfter = 0.2;
  repair.action = std::move(touch);
  return repair;
}

struct Applied {
  TiledMotion motion;
  std::vector<Residual> residuals;
  Issues issues;
};
Applied applied(const test::Stand& s, const std::vector<Repair>& repairs) {
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  Applied out;
  const RepairLayerPtr layer = makeTouchLayer(s.context, list, out.issues);
  if (!layer) {
    out.motion = s.motion;
    return out;
  }
  test::LayerRun run = test::runLayer(*layer, s.motion);
  out.motion = run.motion;
  out.residuals = run.residuals;
  for (unsigned seed : {1U, 2U}) {
    EXPECT_EQ(test::brokenPromises(*layer, s.motion, seed), "");
  }
  return out;
}

int hand(int side) { return stand().context->arms[static_cast<std::size_t>(side)].end; }
int hips() { return stand().context->joint(Role::hips); }
const Vec3d tip{0.02, 0.05, 0.01};

/// Where a hand's point is, in the middle of a span, moved a little.
Vec3d nearHand(int side, int frame, const Vec3d& by) { return Posed(stand(), stand().motion, frame).point(hand(side), tip) + by; }

TEST(Touch, RestsAtAPoint) {
  TouchRepair t;
  t.bone = "@rightHand";
  t.point = tip;
  t.place = nearHand(1, 60, {0.03, 0.08, 0.04});
  const Applied a = applied(stand(), {touchOver(57, 63, t)});
  ASSERT_TRUE(a.issues.empty());
  for (int f = 57; f <= 63; ++f) {
    const Posed p(stand(), a.motion, f), q(stand(), stand().motion, f);
    EXPECT_LT(distance(p.point(hand(1), tip), t.place), 2e-5) << f;
    EXPECT_LT(angleBetween(p.turn(hand(1)), q.turn(hand(1))), 1e-4);
    EXPECT_EQ(distance(p.at(hips()), q.at(hips())), 0);
    EXPECT_LT(distance(p.at(hand(0)), q.at(hand(0))), 1e-6);
    EXPECT_LT(a.residuals[0].values[static_cast<std::size_t>(f - a.residuals[0].first)].metres, 2e-5F);
  }
}

TEST(Touch, MeetsInOneFrameAndComesInSmoothly) {
  TouchRepair t;
  t.kind = TouchKind::meet;
  t.bone = "@leftHand";
  t.point = tip;
  t.place = nearHand(0, 70, {0.02, 0.10, 0.05});
  const Applied a = applied(stand(), {touchOver(70, 70, t)});
  EXPECT_LT(distance(Posed(stand(), a.motion, 70).point(hand(0), tip), t.place), 2e-5);
  // The change alone, from frame to frame: no step larger than the kernel's steepest, 1.5 / ease frames.
  const double ease = 0.2 * stand().context->rate.hertz(), change = distance(nearHand(0, 70, {}), t.place);
  for (int f = 40; f < 100; ++f) {
    const auto moved = [&](int k) { return Posed(stand(), a.motion, k).at(hand(0)) - Posed(stand(), stand().motion, k).at(hand(0)); };
    EXPECT_LE(distance(moved(f), moved(f + 1)), 1.7 * change / ease) << f;
  }
}

TEST(Touch, GlidesOnAPlane) {
  TouchRepair t;
  t.kind = TouchKind::glide;
  t.target = TouchTarget::plane;
  t.bone = "@rightHand";
  t.point = tip;
  t.normal = normalised(Vec3d{-1, 0, 0.2});
  t.place = nearHand(1, 60, {0.05, 0, 0});
  t.gap = 0.01;
  const Applied a = applied(stand(), {touchOver(50, 75, t)});
  double path = 0, plain = 0;
  const auto across = [&](const Vec3d& v) { return v - t.normal * dot(v, t.normal); };
  for (int f = 50; f <= 75; ++f) {
    const Posed p(stand(), a.motion, f), q(stand(), stand().motion, f);
    EXPECT_NEAR(dot(p.point(hand(1), tip) - t.place, t.normal), 0.01, 2e-5);
    if (f == 50) continue;
    path += length(across(p.point(hand(1), tip) - Posed(stand(), a.motion, f - 1).point(hand(1), tip)));
    plain += length(across(q.point(hand(1), tip) - Posed(stand(), stand().motion, f - 1).point(hand(1), tip)));
  }
  EXPECT_GT(plain, 0.05);
  EXPECT_GE(path, 0.95 * plain);
}

TEST(Touch, GlidesOnTheSet) {
  test::Stand s = stand();
  RepairContext context = *s.context;
  SetItem ball;
  ball.id = 3;
  ball.name = "globe";
  ball.kind = SetKind::ball;
  ball.size.x = 0.25;
  ball.place.position = nearHand(1, 62, {0.02, 0.29, 0.05});
  context.set.push_back(ball);
  auto shared = std::make_shared<RepairContext>(context);
  shared->body.map = &shared->map->character;
  shared->body.figure = shared->figure.get();
  s.context = shared;
  TouchRepair t;
  t.kind = TouchKind::glide;
  t.target = TouchTarget::set;
  t.on = "globe";
  t.bone = "@rightHand";
  t.point = tip;
  const Applied a = applied(s, {touchOver(59, 65, t)});
  for (int f = 59; f <= 65; ++f) EXPECT_NEAR(distance(Posed(s, a.motion, f).point(hand(1), tip), ball.place.position), 0.25, 2e-5);
}

TEST(Touch, HandsMeetHalfWay) {
  TouchRepair t;
  t.target = TouchTarget::hand;
  t.bone = "@leftHand";
  t.on = "@rightHand";
  t.point = t.place = tip;
  const Applied a = applied(stand(), {touchOver(60, 66, t)});
  for (int f = 60; f <= 66; ++f) {
    const Posed p(stand(), a.motion, f), q(stand(), stand().motion, f);
    EXPECT_LT(distance(p.point(hand(0), tip), p.point(hand(1), tip)), 1e-4) << f;
    const double left = distance(p.at(hand(0)), q.at(hand(0))), right = distance(p.at(hand(1)), q.at(hand(1)));
    EXPECT_NEAR(left / (left + right), 0.5, 0.15);
  }
  t.share = 0;
  const Applied b = applied(stand(), {touchOver(60, 66, t)});
  for (int f = 60; f <= 66; ++f) EXPECT_LT(distance(Posed(stand(), b.motion, f).at(hand(1)), Posed(stand(), stand().motion, f).at(hand(1))), 1e-6);
}

TEST(Touch, ALockedHandIsComeTo) {
  for (int locked = 0; locked < 2; ++locked) {
    test::Stand s = stand();
    auto context = std::make_shared<RepairContext>(*s.context);
    context->body.map = &context->map->character;
    context->body.figure = context->figure.get();
    context->locks.push_back({{hand(locked)}, {0, context->frames - 1}});
    s.context = context;
    TouchRepair t;
    t.target = TouchTarget::hand;
    t.bone = "@leftHand";
    t.on = "@rightHand";
    t.point = tip;
    // A place beside the right hand, 50 mm from where the left one is.
    const Posed q(s, s.motion, 63);
    t.place = rotate(conjugate(q.turn(hand(1))), q.point(hand(0), tip) + Vec3d{0, 0.04, 0.03} - q.at(hand(1)));
    const Applied a = applied(s, {touchOver(63, 63, t)});
    const Posed p(s, a.motion, 63);
    EXPECT_LT(distance(p.at(hand(locked)), q.at(hand(locked))), 1e-6);
    EXPECT_GT(distance(p.at(hand(1 - locked)), q.at(hand(1 - locked))), 0.04);
    EXPECT_LT(distance(p.point(hand(0), tip), p.point(hand(1), t.place)), 1e-4);
  }
}

TEST(Touch, GoesWithAPathOverTheBody) {
  TouchRepair t;
  t.target = TouchTarget::body;
  t.kind = TouchKind::glide;
  t.bone = "@rightHand";
  const double rate = stand().context->rate.hertz();
  // Down the front of the chest.
  for (int k = 0; k <= 4; ++k) t.path.push_back({(55 + 5 * k) / rate, "@chest", {0.02 * k - 0.05, 0.20 - 0.04 * k, 0.22}, {0, 0, 1}, tip});
  const Applied a = applied(stand(), {touchOver(55, 75, t)});
  ASSERT_TRUE(a.issues.empty()) << a.issues[0].text();
  const int chest = stand().context->joint(Role::chest);
  double path = 0;
  Vec3d before{};
  for (int f = 55; f <= 75; ++f) {
    const Posed p(stand(), a.motion, f);
    const Vec3d local = rotate(conjugate(p.turn(chest)), p.point(hand(1), tip) - p.at(chest));
    EXPECT_NEAR(local.z, 0.22, 1e-4);
    if (f > 55) path += distance(local, before);
    before = local;
    if ((f - 55) % 5 == 0) {
      EXPECT_LT(distance(local, t.path[static_cast<std::size_t>((f - 55) / 5)].place), 1e-4);
    }
  }
  EXPECT_NEAR(path, 4 * std::hypot(0.02, 0.04), 0.01);
}

TEST(Touch, CollarboneAndSpineHelpAShortArm) {
  const RepairContext& c = *stand().context;
  const Posed rest(stand(), stand().motion, 60);
  const Vec3d shoulder = rest.at(c.arms[1].root), ahead = normalised(Vec3d{-0.5, 0.3, 1});
  TouchRepair t;
  t.bone = "@rightHand";
  t.place = shoulder + ahead * (c.arms[1].full() * 1.03);
  const Applied a = applied(stand(), {touchOver(60, 60, t)});
  const Posed p(stand(), a.motion, 60);
  EXPECT_LT(distance(p.at(hand(1)), t.place), 2e-4);
  EXPECT_LT(distance(p.at(hand(0)), rest.at(hand(0))), 1e-5);
  EXPECT_LT(angleBetween(p.turn(c.joint(Role::head)), rest.turn(c.joint(Role::head))), 1e-4);
  EXPECT_EQ(distance(p.at(hips()), rest.at(hips())), 0);
  // Without the spine it falls short, and says by how much.
  t.spine = false;
  t.place = shoulder + ahead * (c.arms[1].full() * 1.6);
  const Applied b = applied(stand(), {touchOver(60, 60, t)});
  const double miss = distance(Posed(stand(), b.motion, 60).at(hand(1)), t.place);
  EXPECT_GT(miss, 0.1);
  EXPECT_NEAR(b.residuals[0].values[static_cast<std::size_t>(60 - b.residuals[0].first)].metres, miss, 1e-4);
}

TEST(Touch, AStraightArmStaysStraightWhereTheSpineTurns) {
  // The left arm is straight, within the capture's noise bent to either side; the right one needs the spine for its touch.
  const RepairContext& c = *stand().context;
  TiledMotion motion = stand().motion.writable(0, stand().motion.frames());
  Poser poser(c);
  const LimbRig& left = c.arms[0];
  for (int f = 0; f < motion.frames(); ++f) {
    poser.load(stand().motion, 60);
    const Vec3d hinge = rotate(poser.rotation(left.root), left.hinge), upper = poser.position(left.mid) - poser.position(left.root);
    const Vec3d wanted = rotate(fromAxisAngle(hinge, 3 * degree * std::cos(0.3 * f)), normalised(upper));
    poser.turn(left.mid, rotationBetween(normalised(poser.position(left.end) - poser.position(left.mid)), wanted));
    poser.store(motion, f);
  }
  TouchRepair t;
  t.bone = "@rightHand";
  t.place = Posed(stand(), motion, 60).at(c.arms[1].root) + normalised(Vec3d{0.3, -0.7, 1}) * (c.arms[1].full() * 1.08);
  const Repair repair = touchOver(60, 60, t);
  Issues issues;
  const RepairLayerPtr layer = makeTouchLayer(stand().context, {&repair}, issues);
  ASSERT_TRUE(layer);
  const TiledMotion out = test::runLayer(*layer, motion).motion;
  double spine = 0;
  for (int f = 1; f < out.frames(); ++f) {
    const auto step = [&](const TiledMotion& m) {
      poser.load(m, f - 1);
      const Quatd before = poser.local(left.mid);
      poser.load(m, f);
      return angleBetween(before, poser.local(left.mid));
    };
    EXPECT_LT(step(out), step(motion) + 1 * degree) << f;
    poser.load(out, f);
    spine = std::max(spine, distance(poser.position(left.root), Posed(stand(), motion, f).at(left.root)));
  }
  EXPECT_GT(spine, 0.005) << "the spine was not needed";
}

TEST(Touch, AnArmOnItsWayBackStaysWhereTheSpineTurnsForTheOther) {
  // The left hand is on its way back from its touch as that of the right one sets in, which needs the spine.
  const RepairContext& c = *stand().context;
  TouchRepair first;
  first.bone = "@leftHand";
  first.point = tip;
  first.place = nearHand(0, 50, {0.05, 0.25, 0.15});
  Repair before = touchOver(45, 50, first);
  before.easeAfter = 0.6;
  TouchRepair second;
  second.bone = "@rightHand";
  second.place = Posed(stand(), stand().motion, 60).at(c.arms[1].root) + normalised(Vec3d{0.3, -0.7, 1}) * (c.arms[1].full() * 1.08);
  Repair after = touchOver(60, 66, second);
  after.id = 6;
  after.easeBefore = 0.3;
  Issues issues;
  const RepairLayerPtr both = makeTouchLayer(stand().context, {&before, &after}, issues), alone = makeTouchLayer(stand().context, {&before}, issues);
  ASSERT_TRUE(both && alone);
  const TiledMotion out = test::runLayer(*both, stand().motion).motion, own = test::runLayer(*alone, stand().motion).motion;
  double spine = 0;
  for (int f = 51; f < 75; ++f) {
    const Posed is(stand(), out, f), was(stand(), own, f);
    EXPECT_LT(distance(is.at(hand(0)), was.at(hand(0))), 0.002) << f;
    spine = std::max(spine, distance(is.at(c.arms[0].root), was.at(c.arms[0].root)));
  }
  EXPECT_GT(spine, 0.005) << "the spine was not needed";
}

TEST(Touch, NeighboursShareTheWayBetweenThem) {
  TouchRepair t;
  t.target = TouchTarget::body;
  t.on = "@chest";
  t.bone = "@rightHand";
  t.point = tip;
  t.place = {-0.10, 0.10, 0.20};
  t.normal = {0, 0, 1};
  TouchRepair u = t;
  u.place = {0.05, 0.15, 0.20};
  const int chest = stand().context->joint(Role::chest);
  const Applied a = applied(stand(), {touchOver(56, 60, t), touchOver(66, 70, u)});
  const auto local = [&](int f) {
    const Posed p(stand(), a.motion, f);
    return rotate(conjugate(p.turn(chest)), p.point(hand(1), tip) - p.at(chest));
  };
  for (int f = 56; f <= 60; ++f) EXPECT_LT(distance(local(f), t.place), 2e-5);
  for (int f = 66; f <= 70; ++f) EXPECT_LT(distance(local(f), u.place), 2e-5);
  // From one to the other it never goes much farther from both than they lie apart, nor in leaps.
  for (int f = 60; f < 66; ++f) {
    EXPECT_LT(std::min(distance(local(f), t.place), distance(local(f), u.place)), 0.35);
    EXPECT_LT(distance(local(f), local(f + 1)), 0.15);
  }
}

TEST(Touch, TellsWhatItCannotDo) {
  const auto refused = [&](const TouchRepair& t) {
    Issues issues;
    const Repair r = touchOver(50, 60, t);
    const RepairLayerPtr layer = makeTouchLayer(stand().context, {&r}, issues);
    EXPECT_EQ(layer, nullptr);
    return issues.empty() ? std::string() : issues[0].text();
  };
  TouchRepair t;
  t.bone = "@head";
  EXPECT_NE(refused(t).find("no hand"), std::string::npos);
  t.bone = "nobody";
  EXPECT_NE(refused(t), "");
  t.bone = "@leftHand";
  t.place.x = std::numeric_limits<double>::quiet_NaN();
  EXPECT_NE(refused(t).find("finite"), std::string::npos);
  t.place.x = 0;
  t.target = TouchTarget::set;
  t.on = "bench";
  EXPECT_NE(refused(t).find("bench"), std::string::npos);
  t.target = TouchTarget::hand;
  t.on = "@leftHand";
  EXPECT_NE(refused(t), "");
  t.target = TouchTarget::body;
  t.on = "@chest";
  t.path = {{1, "@chest", {}, {0, 0, 1}, {}}, {0.5, "@chest", {}, {0, 0, 1}, {}}};
  EXPECT_NE(refused(t).find("order"), std::string::npos);
  t.path.clear();
  t.prop = 9;
  EXPECT_NE(refused(t).find("prop 9"), std::string::npos);
}

TEST(Touch, APropsPointGoesWithTheGripThatHoldsIt) {
  const test::Stand plain = test::walkingStick(90, 3);
  auto context = std::make_shared<RepairContext>(*plain.context);
  PropItem shaft;
  shaft.id = 4;
  shaft.length = 1.2;
  const Result<PropItem> made = makeProp(shaft, nullptr, context->height);
  ASSERT_TRUE(made.ok());
  context->props = {*made};
  Repair held;
  held.id = 2;
  GripRepair grip;
  grip.prop = 4;
  grip.leadLeft = true;
  grip.support = false;
  held.action = grip;
  const Result<GripRepair> anchored = anchorGrip(*context, plain.motion, held);
  ASSERT_TRUE(anchored.ok()) << anchored.error().text();
  held.action = *anchored;
  const test::Stand s{context, plain.motion};
  const std::vector<Rigid> before = propPath(*context, s.motion, *made, {&held}, {0, 89});
  const Vec3d end = *made->end, target = apply(before[45], end) + Vec3d{0.04, 0.05, -0.03};
  TouchRepair touch;
  touch.bone = "@rightHand";  // the grip knows better which hand leads
  touch.prop = 4;
  touch.point = end;
  touch.place = target;
  const Repair repair = touchOver(40, 50, touch);
  Issues issues;
  const RepairLayerPtr layer = makeTouchLayer(context, {&held, &repair}, issues);
  ASSERT_TRUE(layer);
  EXPECT_TRUE(issues.empty());
  EXPECT_EQ(test::brokenPromises(*layer, s.motion, 11), "");
  const TiledMotion after = test::runLayer(*layer, s.motion).motion;
  const std::vector<Rigid> path = propPath(*context, after, *made, {&held}, {0, 89});
  for (int f = 40; f <= 50; ++f) EXPECT_LT(distance(apply(path[static_cast<std::size_t>(f)], end), target), 5e-4) << f;
  const std::vector<const Repair*> grips{&held};
  for (const TouchMiss& miss : touchMisses(*context, after, repair, grips)) EXPECT_LT(miss.gap, 5e-4);
  // It passes the place once before and once after.
  const std::vector<MarkPass> passes = markPasses(*context, propPointWay(*context, after, *made, end, grips), target);
  ASSERT_FALSE(passes.empty());
  EXPECT_TRUE(std::any_of(passes.begin(), passes.end(), [](const MarkPass& p) { return p.frame >= 40 && p.frame <= 50 && p.miss < 5e-4; }));
}

TEST(Marks, EachStrokeIsOnePass) {
  const RepairContext& context = *stand().context;
  const double rate = context.rate.hertz();
  // Three strokes across a mark, the second one beside it; then a rest far away.
  std::vector<Vec3d> way;
  for (int f = 0; f < static_cast<int>(6 * rate); ++f) {
    const double t = f / rate;
    way.push_back({0.6 * std::cos(3.14159265358979 * t), 0, t > 1 && t < 2 ? 0.05 : 0.001});
  }
  const std::vector<MarkPass> passes = markPasses(context, {way.begin(), way.begin() + static_cast<std::ptrdiff_t>(3 * rate)}, Vec3d{});
  ASSERT_EQ(passes.size(), 3u);
  for (std::size_t k = 0; k < 3; ++k) {
    EXPECT_NEAR(passes[k].frame, (0.5 + static_cast<double>(k)) * rate, 1);
    EXPECT_NEAR(passes[k].miss, k == 1 ? 0.05 : 0.001, 0.035);
  }
  EXPECT_TRUE(markPasses(context, way, Vec3d{0, 3, 0}).empty());
  SetItem stone;
  stone.kind = SetKind::box;
  stone.size = {0.1, 0.02, 0.1};
  stone.place.position = {1, 0.5, 2};
  ASSERT_TRUE(markOf(context, stone).has_value());
  EXPECT_LT(distance(markOf(context, stone)->place, Vec3d{1, 0.52, 2}), 1e-12);
  stone.size.x = 4;
  EXPECT_FALSE(markOf(context, stone).has_value());
}

TEST(Touch, TurnsArmsNoMoreThanTheWayAsks) {
  TouchRepair t;
  t.bone = "@rightHand";
  t.point = tip;
  t.place = nearHand(1, 60, {0.005, 0.01, 0.0});
  const Applied a = applied(stand(), {touchOver(60, 60, t)});
  const LimbRig& arm = stand().context->arms[1];
  for (const int j : {arm.root, arm.mid})
    EXPECT_LT(angleBetween(Posed(stand(), a.motion, 60).turn(j), Posed(stand(), stand().motion, 60).turn(j)), 8 * degree);
}

}  // namespace
}  // namespace understudy
