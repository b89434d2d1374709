#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "core/repair/poser.h"
#include "core/repair/untwist.h"
#include "tests/support/layer_checks.h"
#include "tests/support/sketch.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

Repair untwist(UntwistRepair action = {}, std::optional<FrameSpan> span = std::nullopt) {
  Repair repair;
  repair.id = 2;
  if (span) repair.span = TimeRange{span->first / 30.0, span->last / 30.0};
  repair.action = std::move(action);
  return repair;
}

/// A character whose forearms hold twist bones: on the way to the hand (left) and beside it (right).
test::Stand twistBones(int frames, double degrees, unsigned seed) {
  test::Sketch s = test::sketch("twist bones", "L", "R", R"(
hips - 0 1 0 hips
spine hips 0 1.1 0 spine
chest spine 0 1.3 0 chest
neck chest 0 1.5 0 neck
head neck 0 1.6 0 head
@shoulder chest .05 1.45 0 leftShoulder
@upper @shoulder .2 1.45 0 leftUpperArm
@lower @upper .5 1.45 .01 leftLowerArm
@thigh hips .1 .95 0 leftUpperLeg
@shank @thigh .1 .5 .01 leftLowerLeg
@foot @shank .1 .1 0 leftFoot
@toes @foot .1 .02 .12 leftToes
)");
  Skeleton& sk = s.figure.skeleton;
  const auto joint = [&](const std::string& name) { return *findJoint(sk, name); };
  const auto add = [&](const std::string& name, int parent, Vec3d at) {
    Trsd rest;
    rest.translation = at;
    return sk.add(name, parent, rest, sk.size());
  };
  const int leftTwist = add("leftTwist", joint("Llower"), {.15, 0, -.005}), leftHand = add("leftHand", leftTwist, {.1, 0, -.0033333333});
  const int rightTwist = add("rightTwist", joint("Rlower"), {-.15, 0, -.005}), rightHand = add("rightHand", joint("Rlower"), {-.25, 0, -.0083333333});
  add("leftTip", leftHand, {.15, 0, 0});
  // A thumb beside the hand instead of on it.
  const int rightThumb = add("rightThumb", joint("Rlower"), {-.24, .02, .03});
  BoneMap map;
  for (const auto& [role, index] : s.truth) map.character.at(role) = {{index}, 1, ""};
  map.character.at(Role::leftHand) = {{leftHand}, 1, ""};
  map.character.at(Role::rightHand) = {{rightHand}, 1, ""};
  map.character.at(Role::rightThumbMetacarpal) = {{rightThumb}, 1, ""};
  map.character.at(Role::leftLowerArm).joints.push_back(leftTwist);
  map.character.at(Role::rightLowerArm).joints.push_back(rightTwist);
  test::Stand stand = test::swinging(std::make_shared<const Figure>(std::move(s.figure)), std::make_shared<const BoneMap>(std::move(map)), frames, degrees, seed);
  // Twist bones twist, but do not bend.
  stand.motion = stand.motion.writable(0, frames);
  for (int f = 0; f < frames; ++f)
    for (const int j : {leftTwist, rightTwist}) stand.motion.rotationsToWrite(f)[static_cast<std::size_t>(j)] = Quatf(fromAxisAngle(normalised(Vec3d{j == leftTwist ? 15.0 : -15.0, 0, -.5}), 0.02 * f));
  return stand;
}

Poser posed(const test::Stand& stand, const TiledMotion& motion, int frame) {
  Poser poser(*stand.context);
  poser.load(motion, frame);
  return poser;
}

/// Turns a limb's end about the bone before it by angles(frame).
template <class Angles>
void twistEnd(test::Stand& stand, const LimbRig& limb, const Angles& angles) {
  const int frames = stand.motion.frames();
  stand.motion = stand.motion.writable(0, frames);
  for (int f = 0; f < frames; ++f) {
    Poser poser = posed(stand, stand.motion, f);
    poser.turn(limb.end, fromAxisAngle(normalised(poser.position(limb.end) - poser.position(limb.mid)), angles(f)));
    poser.store(stand.motion, f);
  }
}

double twistOf(const test::Stand& stand, const Poser& pose, int base, int end, double last = 0) {
  const auto ref = [&](int j) { return stand.context->body.rotation[static_cast<std::size_t>(j)]; };
  const Vec3d line = stand.context->body.position[static_cast<std::size_t>(end)] - stand.context->body.position[static_cast<std::size_t>(base)];
  const Quatd change = conjugate(pose.rotation(base)) * pose.rotation(end) * conjugate(conjugate(ref(base)) * ref(end));
  return followedTwist(change, rotate(conjugate(ref(base)), normalised(line)), last);
}

TEST(Twist, IsFollowedPastHalfATurnAndKeptWhereItMeansNothing) {
  const Vec3d axis = normalised(Vec3d{1, -2, 0.5});
  const Vec3d side = anyPerpendicular(axis);
  double last = 0;
  for (int k = 0; k <= 100; ++k) {
    const double angle = 0.1 * k;
    last = followedTwist(fromAxisAngle(side, 0.8) * fromAxisAngle(axis, angle), axis, last);
    EXPECT_NEAR(last, angle, 1e-9);
  }
  EXPECT_EQ(followedTwist(fromAxisAngle(side, 175 * degree) * fromAxisAngle(axis, 2.0), axis, 0.7), 0.7);
  EXPECT_NEAR(followedTwist(fromAxisAngle(side, 165 * degree) * fromAxisAngle(axis, 2.0), axis, 0.7), 2.0, 1e-9);
}

TEST(Twist, ExcessStartsGentlyAndNeverLeavesMoreThanTheLimit) {
  const double limit = 90 * degree;
  EXPECT_EQ(excessTwist(79 * degree, limit), 0);
  EXPECT_NEAR(excessTwist(150 * degree, limit), 60 * degree, 1e-12);
  EXPECT_NEAR(excessTwist(-150 * degree, limit), -60 * degree, 1e-12);
  EXPECT_LE(excessTwist(1 * degree, 0), 1 * degree);
  double slope = 0;
  for (double a = 70; a < 130; a += 0.5) {
    const double e = excessTwist(a * degree, limit), next = excessTwist((a + 0.5) * degree, limit);
    EXPECT_LE(a * degree - e, limit + 1e-12);
    const double now = (next - e) / (0.5 * degree);
    EXPECT_LT(std::abs(now - slope), 0.03) << a;
    slope = now;
  }
}

TEST(Untwist, SharesExcessTwistAndKeepsPlacesAndHands) {
  for (const bool left : {true, false}) {
    test::Stand stand = twistBones(120, 12, 4);
    const RepairContext& c = *stand.context;
    const LimbRig& arm = c.arms[left ? 0 : 1];
    ASSERT_TRUE(arm.complete());
    twistEnd(stand, arm, [](int f) { return 170 * degree * std::sin(0.05 * f); });
    for (const double share : {0.5, 1.0}) {
      const Repair repair = untwist({{}, true, share, 90 * degree});
      Issues issues;
      const TiledMotion out = test::runLayer(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion).motion;
      const int twistBone = c.roles().at(left ? Role::leftLowerArm : Role::rightLowerArm).joints[1];
      double most = 0, before = 0, after = 0;
      for (int f = 0; f < 120; ++f) {
        const Poser a = posed(stand, stand.motion, f), b = posed(stand, out, f);
        const int thumb = c.joint(Role::rightThumbMetacarpal);
        EXPECT_NEAR(angleBetween(a.rotation(thumb), b.rotation(thumb)), 0, 1e-5);
        for (const int j : {arm.root, arm.mid, arm.end, twistBone, thumb, c.joint(Role::head)}) EXPECT_NEAR(distance(a.position(j), b.position(j)), 0, 2e-6) << f << ' ' << j;
        EXPECT_NEAR(angleBetween(a.rotation(arm.end), b.rotation(arm.end)), 0, 1e-5);
        before = twistOf(stand, a, arm.mid, arm.end, before);
        after = twistOf(stand, b, arm.mid, arm.end, after);
        EXPECT_NEAR(after, before - share * excessTwist(before, 90 * degree), 1e-5) << f;
        most = std::max(most, std::abs(before));
        // The twist bone lies between the two, by its place.
        const Vec3d line = normalised(a.position(arm.end) - a.position(arm.mid));
        const double base = dot(logOf(b.rotation(arm.mid) * conjugate(a.rotation(arm.mid))), line);
        const double bone = dot(logOf(b.rotation(twistBone) * conjugate(a.rotation(twistBone))), line);
        EXPECT_NEAR(bone, base * 0.4, 1e-4) << f;
      }
      EXPECT_GT(most, 150 * degree);
    }
  }
}

TEST(Untwist, CountsTwistOnPastHalfATurn) {
  test::Stand stand = test::walkingStick(200, 0);
  const LimbRig& arm = stand.context->arms[0];
  twistEnd(stand, arm, [](int f) { return 220 * degree * (0.5 - 0.5 * std::cos(M_PI * f / 100)); });
  const Repair repair = untwist();
  Issues issues;
  const TiledMotion out = test::runLayer(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion).motion;
  double step = 0;
  for (int f = 1; f < 200; ++f)
    step = std::max(step, angleBetween(Quatd(out.rotationsAt(f - 1)[static_cast<std::size_t>(arm.mid)]), Quatd(out.rotationsAt(f)[static_cast<std::size_t>(arm.mid)])));
  // Wrapped at half a turn the forearm would jump by half of a whole turn.
  EXPECT_LT(step, 8 * degree);
}

TEST(Untwist, TakesFlipsOutThatComeAndGo) {
  const test::Stand clean = test::walkingStick(150);
  const auto j = static_cast<std::size_t>(clean.context->joint(Role::leftLowerArm));
  for (const bool inParent : {false, true})
    for (const FrameSpan flipped : {FrameSpan{60, 60}, FrameSpan{60, 61}, FrameSpan{50, 90}}) {
      test::Stand stand = clean;
      stand.motion = stand.motion.writable(0, 150);
      const Quatd turn = fromAxisAngle(normalised(Vec3d{1, 0.3, 0}), 175 * degree);
      for (int f = flipped.first; f <= flipped.last; ++f) {
        Quatf& q = stand.motion.rotationsToWrite(f)[j];
        q = Quatf(inParent ? turn * Quatd(q) : Quatd(q) * turn);
      }
      const Repair repair = untwist();
      Issues issues;
      const auto layer = makeUntwistLayer(stand.context, {&repair}, issues);
      const auto run = test::runLayer(*layer, stand.motion);
      for (int f = 0; f < 150; ++f) {
        EXPECT_LT(angleBetween(Quatd(run.motion.rotationsAt(f)[j]), Quatd(clean.motion.rotationsAt(f)[j])), 4 * degree) << f;
        EXPECT_EQ(run.residuals[0].values[static_cast<std::size_t>(f)], Miss{});
      }
      EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 41), "");
    }
}

TEST(Untwist, LeavesFastTurnsAndOneWayFlipsAlone) {
  test::Stand stand = test::walkingStick(120, 0);
  const auto j = static_cast<std::size_t>(stand.context->joint(Role::head));
  stand.motion = stand.motion.writable(0, 120);
  for (int f = 0; f < 120; ++f) {
    // A fast spin of 100° a frame for a while, and one flip that stays.
    const double angle = f >= 40 && f < 60 ? 100 * degree * (f - 40) : f >= 60 ? 100 * degree * 19 : 0;
    stand.motion.rotationsToWrite(f)[j] = Quatf(expOf(Vec3d{0, angle, 0}) * fromAxisAngle(Vec3d{1, 0, 0}, f >= 90 ? 170 * degree : 0.0));
  }
  const Repair repair = untwist();
  Issues issues;
  const auto run = test::runLayer(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion);
  EXPECT_EQ(test::firstDifference(run.motion, stand.motion), -1);
  EXPECT_NEAR(run.residuals[0].values[90].radians, 170 * degree, 1e-3);
}

TEST(Untwist, HingesTakeTheirTwistFromTheEdges) {
  for (const bool left : {true, false}) {
    const test::Stand clean = twistBones(120, 6, 4);
    const RepairContext& c = *clean.context;
    const LimbRig& arm = c.arms[left ? 0 : 1];
    const int twistBone = c.roles().at(left ? Role::leftLowerArm : Role::rightLowerArm).joints[1];
    test::Stand stand = clean;
    stand.motion = stand.motion.writable(0, 120);
    // The forearm spins and comes back; the hand and the twist bone by its place do not go along.
    for (int f = 40; f < 80; ++f) {
      Poser poser = posed(stand, stand.motion, f);
      const Vec3d line = normalised(poser.position(arm.end) - poser.position(arm.mid));
      const Quatd hand = poser.rotation(arm.end), bone = poser.rotation(twistBone);
      const double angle = 140 * degree * std::sin(M_PI * (f - 39) / 41);
      poser.turn(arm.mid, fromAxisAngle(line, angle));
      poser.setRotation(twistBone, fromAxisAngle(line, 0.4 * angle) * bone);
      poser.setRotation(arm.end, hand);
      poser.store(stand.motion, f);
    }
    UntwistRepair action;
    action.bones = {boneName(c, arm.mid)};
    action.share = 0;
    action.hinges = true;
    Repair repair = untwist(action, FrameSpan{40, 79});
    repair.easeBefore = repair.easeAfter = 0;
    Issues issues;
    const auto layer = makeUntwistLayer(stand.context, {&repair}, issues);
    EXPECT_EQ(layer->extent(0), (FrameSpan{40, 79}));
    const TiledMotion out = test::runLayer(*layer, stand.motion).motion;
    for (int f = 0; f < 120; ++f) {
      const Poser a = posed(clean, clean.motion, f), b = posed(stand, out, f);
      for (const int j : {arm.mid, twistBone}) EXPECT_LT(angleBetween(a.rotation(j), b.rotation(j)), 10 * degree) << f;
      EXPECT_LT(angleBetween(a.rotation(arm.end), b.rotation(arm.end)), 1e-5) << f;
      EXPECT_LT(distance(a.position(arm.end), b.position(arm.end)), 2e-6) << f;
    }
    EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 61), "");
    repair.weight = 0.5;
    repair.span = TimeRange{0, 2};
    repair.easeAfter = 0.4;
    EXPECT_EQ(test::brokenPromises(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion, 62), "");
    EXPECT_TRUE(issues.empty());
    repair.span.reset();
    static_cast<void>(makeUntwistLayer(stand.context, {&repair}, issues));
    EXPECT_EQ(issues.size(), 1U);
  }
}

TEST(Untwist, KeepsItsPromises) {
  test::Stand stand = twistBones(140, 10, 9);
  twistEnd(stand, stand.context->arms[0], [](int f) { return 160 * degree * std::sin(0.04 * f); });
  twistEnd(stand, stand.context->arms[1], [](int f) { return -150 * degree * std::sin(0.06 * f); });
  const std::vector<Repair> repairs{untwist({{"@leftLowerArm"}, true, 0.5, 1}, FrameSpan{20, 60}), untwist({{}, true, 0.5, 0.8}, FrameSpan{50, 100}), untwist({{"@rightHand"}, false, 1, 1.2}, FrameSpan{0, 30})};
  Issues issues;
  const auto layer = makeUntwistLayer(stand.context, {&repairs[0], &repairs[1], &repairs[2]}, issues);
  EXPECT_EQ(test::brokenPromises(*layer, stand.motion, 51), "");
  EXPECT_GE(test::firstDifference(test::runLayer(*layer, stand.motion).motion, stand.motion), 0);
  for (const Repair& repair : repairs) EXPECT_EQ(test::brokenPromises(*makeUntwistLayer(stand.context, {&repair}, issues), stand.motion, 52), "");
  EXPECT_TRUE(issues.empty());
  // The same layer is asked about another input, and about the first one again.
  const TiledMotion first = test::runLayer(*layer, stand.motion).motion;
  const test::Stand other = twistBones(140, 30, 10);
  static_cast<void>(test::runLayer(*layer, other.motion));
  EXPECT_EQ(test::firstDifference(first, test::runLayer(*layer, stand.motion).motion), -1);
}

TEST(Untwist, BadInputIsToldAndLeftOut) {
  const test::Stand stand = test::walkingStick(60);
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const std::vector<Repair> repairs{untwist({{}, true, nan, 1}), untwist({{}, true, 1, nan}), untwist({{"tail"}, true, 1, 1}), untwist({}, FrameSpan{90, 99}), untwist({}, FrameSpan{30, 10})};
  Issues issues;
  std::vector<const Repair*> list;
  for (const Repair& r : repairs) list.push_back(&r);
  const auto layer = makeUntwistLayer(stand.context, list, issues);
  EXPECT_EQ(issues.size(), 5U);
  EXPECT_EQ(test::firstDifference(test::runLayer(*layer, stand.motion).motion, stand.motion), -1);
}

}  // namespace
}  // namespace understudy
