// Arms kept out of the body, judged with the exact inside test on the skin.
#include <gtest/gtest.h>

#include <cstring>
#include <numbers>

#include "core/body/body_model.h"
#include "core/inspect/grips.h"
#include "core/inspect/touches.h"
#include "core/math/smooth_step.h"
#include "core/repair/arm_clearance.h"
#include "core/repair/clearance.h"
#include "core/repair/clearance_tasks.h"
#include "core/repair/grip.h"
#include "core/repair/poser.h"
#include "core/repair/touch.h"
#include "core/repair/touch_skin.h"
#include "core/repair/wrist.h"
#include "tests/support/posed_skin.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

struct Stage {
  std::shared_ptr<Figure> figure;
  std::shared_ptr<const RepairContext> context;
  TiledMotion motion;
  Issues issues;
};

Stage stage(const test::PuppetOptions& options, std::shared_ptr<Motion> (*make)(const Figure&) = nullptr, FrameRate rate = {60, 1}, int frames = 90) {
  Stage s;
  s.figure = test::puppet(options);
  s.context = test::puppetContext(s.figure, rate, frames);
  s.motion = TiledMotion(make ? make(*s.figure) : test::puppetWalk(*s.figure, frames, rate));
  return s;
}

TiledMotion cleared(const Stage& s, const std::vector<const Repair*>& repairs, ClearedHands hands = ClearedHands::free, FrameSpan frames = {0, -1}) {
  Issues issues;
  const RepairLayerPtr layer = makeClearanceLayer(s.context, repairs, hands, issues);
  EXPECT_TRUE(layer);
  if (frames.empty()) frames = {0, s.motion.frames() - 1};
  TiledMotion out = s.motion.writable(frames.first, frames.count());
  std::vector<Residual> residuals(repairs.size());
  for (std::size_t r = 0; r < repairs.size(); ++r) residuals[r] = {repairs[r]->id, 0, std::vector<Miss>(static_cast<std::size_t>(s.motion.frames()))};
  layer->apply(s.motion, frames, out, residuals);
  return out;
}

/// Deepest point of forearms and hands in the torso, and of elbow's half of the upper arms, metres, exactly; and how near the arms come.
double depthAt(const Stage& s, const TiledMotion& motion, int frame, double* gap = nullptr) {
  const test::PosedSkin skin(*s.context, motion, frame);
  const TriangleTree torso = skin.solid(BodyPart::torso);
  double worst = 0, least = 1e9;
  for (int v = 0; v < skin.surface().vertices(); ++v) {
    const BodyPart part = skin.surface().parts[static_cast<std::size_t>(v)];
    if (part < BodyPart::leftUpperArm) continue;
    const double out = std::abs(skin.surface().positions[static_cast<std::size_t>(v)].x) / s.context->height * 1.7;
    if (out < 0.22 + 0.5 * 0.28) continue;
    const Vec3d p = skin.at(v);
    const double d = torso.nearest(p).distance;
    if (torso.inside(p)) worst = std::max(worst, d);
    else least = std::min(least, d);
  }
  if (gap) *gap = least;
  return worst;
}

Repair clearance() {
  Repair r;
  r.id = 1;
  r.action = ClearanceRepair{};
  return r;
}

/// A touch of the left (0) or right (1) hand, of nothing yet.
Repair handTouch(int side) {
  Repair r;
  r.id = 2u + static_cast<unsigned>(side);
  TouchRepair touch;
  touch.bone = side == 0 ? "@leftHand" : "@rightHand";
  r.action = touch;
  return r;
}

class Puppets : public testing::TestWithParam<test::PuppetOptions> {};

TEST_P(Puppets, ArmsEndOutsideAndNear) {
  const Stage s = stage(GetParam());
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r});
  const double mm = s.context->height / 1.7 / 1000;
  double before = 0, after = 0, gap = 0;
  for (int f = 0; f < s.motion.frames(); f += 3) {
    double least;
    before = std::max(before, depthAt(s, s.motion, f));
    after = std::max(after, depthAt(s, out, f, &least));
    gap = std::max(gap, least);
  }
  EXPECT_GT(before, 20 * mm);
  EXPECT_LE(after, 2 * mm);
  EXPECT_LE(gap, 12 * mm);
}

TEST_P(Puppets, MovesAsSteadilyAsBefore) {
  const Stage s = stage(GetParam());
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r});
  for (const LimbRig& arm : s.context->arms)
    for (const int j : {arm.root, arm.mid}) {
      double most = 0;
      for (int f = 2; f < out.frames(); ++f) {
        const auto step = [&](int k) { return logOf(conjugate(Quatd(out.rotationsAt(k - 1)[static_cast<std::size_t>(j)])) * Quatd(out.rotationsAt(k)[static_cast<std::size_t>(j)])); };
        most = std::max(most, length(step(f) - step(f - 1)));
      }
      EXPECT_LT(most * 180 / M_PI, 1.5) << s.figure->skeleton.names[static_cast<std::size_t>(j)];
    }
}

INSTANTIATE_TEST_SUITE_P(Clearance, Puppets,
                         testing::Values(test::PuppetOptions{0.26, 1, false, false}, test::PuppetOptions{0.32, 1.5, false, false}, test::PuppetOptions{0.28, 1, true, false},
                                         test::PuppetOptions{0.3, 0.5, false, true}));

TEST(Clearance, HandsGoAlongWithForearmsThatTurnFarAndKeepTheirDirectionOtherwise) {
  const Stage s = stage({});
  constexpr double degree = std::numbers::pi / 180;
  const LimbRig& limb = s.context->arms[0];
  ArmClearer arm(*s.context, bodyModelOf(*s.context), 0, {});
  ASSERT_TRUE(arm.able() && !arm.byWrist());
  struct Bent {
    double wrist, hand;  // radians: of the hand against the forearm, and in the stage
  };
  const auto after = [&](double aside, double roll, double elbow) {
    Poser poser(*s.context);
    poser.load(s.motion, 0);
    ArmClearer::Pose pose;
    arm.read(poser, pose);
    arm.load(pose);
    const Quatd mid = poser.rotation(limb.mid), hand = poser.rotation(limb.end);
    const Vec3d upper = normalised(poser.position(limb.mid) - poser.position(limb.root));
    const Vec3d turn = rotate(conjugate(pose.frame), normalised(cross(upper, Vec3d{0, 0, 1})) * aside + upper * roll);
    arm.write(poser, ArmChange{{elbow, 0, 0, turn.x, turn.y, turn.z}});
    const Quatd wrist = conjugate(poser.rotation(limb.mid)) * poser.rotation(limb.end) * conjugate(conjugate(mid) * hand);
    return Bent{length(logOf(wrist)), length(logOf(poser.rotation(limb.end) * conjugate(hand)))};
  };
  for (const double aside : {-1.5, -0.9, 0.9, 1.5}) {
    EXPECT_LE(after(aside, 0, 0).wrist, 51 * degree) << aside;
    EXPECT_GT(after(aside, 0, 0).wrist, 35 * degree) << aside;
  }
  EXPECT_LE(after(1.0, 0, 0.8).wrist, 60 * degree);
  EXPECT_NEAR(after(0.4, 0, 0).hand, 0, 1e-9);
  EXPECT_NEAR(after(0, 0.9, 0).hand, 0, 5 * degree);
}

TEST(Clearance, WhatAChangeCostsIsTheSameAllOverTheStage) {
  const Stage s = stage({});
  ArmClearer arm(*s.context, bodyModelOf(*s.context), 0, {});
  Poser poser(*s.context);
  poser.load(s.motion, 0);
  ArmClearer::Pose pose;
  arm.read(poser, pose);
  const ArmChange change{{0.3, 0.1, 0, 0.9, 0.4, -0.2}};
  arm.load(pose);
  const ArmClearer::Likeness here = arm.likeness(change, arm.carry(change));
  const Vec3d away{7, 0, -4};
  for (Affined& turned : pose.turned) turned.translation += away;
  for (Vec3d* p : {&pose.girdle, &pose.root, &pose.mid, &pose.end}) *p += away;
  arm.load(pose);
  const ArmClearer::Likeness there = arm.likeness(change, arm.carry(change));
  for (std::size_t k = 0; k < here.size(); ++k) EXPECT_NEAR(there[k], here[k], 1e-9) << k;
}

TEST(Wrist, SharesNothingOfSmallTurnsAndMostOfLargeOnes) {
  constexpr double degree = std::numbers::pi / 180;
  EXPECT_EQ(handShare(0), 0);
  EXPECT_NEAR(handShare(24 * degree), 0, 1e-12);
  double left = 0;
  for (double turn = 1 * degree; turn < 300 * degree; turn += 1 * degree) {
    const double now = turn * (1 - handShare(turn));
    EXPECT_LE(now - left, 1.001 * degree);  // neither leaps nor turns back
    EXPECT_GE(now, left - 1e-12);
    EXPECT_LE(now, 50 * degree);
    left = now;
  }
  EXPECT_GT(left, 49 * degree);
}

TEST(Clearance, TakesBothHandsOfAGripOutTogether) {
  Stage s = stage({0.28, 1, false, false});
  Repair grip;
  grip.id = 2;
  GripRepair together;
  together.share = 0.4;
  grip.action = together;
  const Result<GripRepair> ready = anchorGrip(*s.context, s.motion, grip);
  ASSERT_TRUE(ready.ok());
  grip.action = *ready;
  const RepairLayerPtr holding = makeGripLayer(s.context, {&grip}, s.issues);
  TiledMotion held = s.motion.writable(0, s.motion.frames());
  std::vector<Residual> residuals{{2, 0, std::vector<Miss>(static_cast<std::size_t>(held.frames()))}};
  holding->apply(s.motion, {0, held.frames() - 1}, held, residuals);
  s.motion = held;
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r, &grip}, ClearedHands::stay);
  double before = 0, after = 0;
  for (int f = 0; f < out.frames(); f += 3) before = std::max(before, depthAt(s, held, f)), after = std::max(after, depthAt(s, out, f));
  EXPECT_GT(before, 0.02);
  EXPECT_LE(after, 0.002);
  EXPECT_LE(gripDrift(*s.context, out, grip).worstMetres, 1e-4);
  EXPECT_LE(gripDrift(*s.context, out, grip).worstRadians, 1e-3);
}

TEST(Clearance, KeepsTheHeldShaftOutWhereAsked) {
  Stage s = stage({0.24, 1, false, false});
  auto context = std::make_shared<RepairContext>(*s.context);
  PropItem shaft;
  shaft.id = 1;
  shaft.length = 0.4;
  shaft.gripped = true;
  context->props = {shaft};
  s.context = context;
  // Out of the right palm, towards the body and up.
  Repair grip;
  grip.id = 2;
  GripRepair hold;
  hold.prop = 1;
  hold.support = false;
  hold.anchored = true;
  hold.leadPalm = placementOf(handsOf(*context)[1].palm);
  hold.leadGrip = {{0, 0.05, 0}, rotationBetween(normalised(Vec3d{1, 0, 1}), Vec3d{0, 1, 0})};
  grip.action = hold;
  const std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  const auto deepest = [&](const TiledMotion& motion) {
    const std::vector<Rigid> path = propPath(*context, motion, shaft, {&grip}, {0, motion.frames() - 1});
    Poser poser(*context);
    double worst = 0;
    for (int f = 0; f < motion.frames(); f += 3) {
      poser.load(motion, f);
      std::vector<Quatd> rotation;
      std::vector<Vec3d> position;
      for (int j = 0; j < s.figure->skeleton.size(); ++j) rotation.push_back(poser.rotation(j)), position.push_back(poser.position(j));
      const std::vector<Affined> turned = turnedFrames(model->reference(), {rotation, position});
      const PartMesh mesh = partMesh(model->surface, BodyPart::torso);
      std::vector<Vec3d> own(mesh.vertices.size());
      pointsOf(model->surface, turned, mesh.vertices, own);
      const TriangleTree torso(mesh.withRims(own), mesh.indices);
      for (double at = 0; at <= shaft.length; at += 0.02)
        if (const Vec3d p = apply(path[static_cast<std::size_t>(f)], Vec3d{0, at, 0}); torso.inside(p)) worst = std::max(worst, torso.nearest(p).distance);
    }
    return worst;
  };
  Repair r = clearance();
  const TiledMotion armOnly = cleared(s, {&r, &grip});
  r.action = ClearanceRepair{{}, {}, 0.002, true};
  const TiledMotion both = cleared(s, {&r, &grip});
  EXPECT_GT(deepest(armOnly), 0.05);
  EXPECT_LE(deepest(both), 0.002);
}

TEST(Clearance, KeepsEveryByteWhereNothingIsInTheWay) {
  const Stage s = stage({0.16, 1, false, false}, [](const Figure& f) { return std::make_shared<Motion>(restMotion(f.skeleton, 40, {60, 1}, {0})); }, {60, 1}, 40);
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r});
  for (int f = 0; f < 40; ++f)
    for (int j = 0; j < out.joints(); ++j) ASSERT_EQ(out.rotationsAt(f)[static_cast<std::size_t>(j)], s.motion.rotationsAt(f)[static_cast<std::size_t>(j)]);
}

TEST(Clearance, KeepsEveryByteAwayFromWhatIsInTheWay) {
  // Arms held out to the sides by the rest pose that come down through the body once, halfway.
  constexpr int frames = 240;
  const Stage s = stage({0.28, 1, false, false}, [](const Figure& f) {
    auto motion = std::make_shared<Motion>(restMotion(f.skeleton, frames, {60, 1}, {0}));
    const std::shared_ptr<Motion> hanging = test::puppetWalk(f, frames, {60, 1}, 0, 0.2, 0);
    for (int k = 100; k < 140; ++k)
      for (std::size_t j = 0; j < motion->rotationsAt(k).size(); ++j) {
        Quatf& own = motion->rotationsAt(k)[j];
        own = Quatf(slerp(Quatd(own), Quatd(hanging->rotationsAt(k)[j]), smoothStep(1 - std::abs(k - 120) / 20.0)));
      }
    return motion;
  }, {60, 1}, frames);
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r});
  int first = frames, last = -1;
  for (int f = 0; f < frames; ++f)
    if (depthAt(s, s.motion, f) > 0.002) first = std::min(first, f), last = f;
  ASSERT_TRUE(first > 100 && last < 140) << first << " " << last;
  EXPECT_LE(depthAt(s, out, 120), 0.002);
  const int around = static_cast<int>(std::ceil(60 / 3.0));
  for (int f = 0; f < frames; ++f) {
    if (f >= first - around && f <= last + around) continue;
    for (int j = 0; j < out.joints(); ++j) ASSERT_EQ(out.rotationsAt(f)[static_cast<std::size_t>(j)], s.motion.rotationsAt(f)[static_cast<std::size_t>(j)]) << f;
  }
}

TEST(Clearance, NoFrameOfAFastSwingIsLeftInTheBody) {
  // Arms that are thrown down through the body and back, faster and faster.
  constexpr int frames = 360;
  for (const double belly : {0.26, 0.3, 0.34}) {
    const Stage s = stage({belly, 1, false, false}, [](const Figure& f) {
      auto motion = std::make_shared<Motion>(restMotion(f.skeleton, frames, {120, 1}, {0}));
      const std::shared_ptr<Motion> hanging = test::puppetWalk(f, frames, {120, 1}, 0, 0.2, 0);
      for (int k = 0; k < frames; ++k)
        for (std::size_t j = 0; j < motion->rotationsAt(k).size(); ++j) {
          Quatf& own = motion->rotationsAt(k)[j];
          double part = 0;
          for (const auto& [middle, half] : {std::pair{60, 24.0}, {130, 16.0}, {190, 11.0}, {240, 8.0}, {290, 6.0}})
            part = std::max(part, smoothStep(1 - std::abs(k - middle) / half));
          own = Quatf(slerp(Quatd(own), Quatd(hanging->rotationsAt(k)[j]), part));
        }
      return motion;
    }, {120, 1}, frames);
    const Repair r = clearance();
    const TiledMotion out = cleared(s, {&r});
    for (int f = 0; f < frames; ++f) EXPECT_LE(depthAt(s, out, f), 0.002) << belly << " " << f << " before " << depthAt(s, s.motion, f);
  }
}

TEST(Clearance, KeepsHandsAboveTheFloor) {
  // Sits down with hanging arms: hands and forearms go through the floor.
  constexpr int frames = 180;
  const Stage s = stage({0.16, 1, false, false}, [](const Figure& f) {
    const std::shared_ptr<Motion> motion = test::puppetWalk(f, frames, {60, 1}, 0, 0.1, 0);
    for (int k = 0; k < frames; ++k) {
      const double low = smoothStep(1.5 - std::abs(k - 90) / 40.0);
      motion->translationsAt(k)[0] -= Vec3f{0, static_cast<float>(0.85 * low), 0};
      for (const char* leg : {"leftUpperLeg", "rightUpperLeg"})
        motion->rotationsAt(k)[static_cast<std::size_t>(*findJoint(f.skeleton, leg))] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, -M_PI / 2 * low));
    }
    return motion;
  }, {60, 1}, frames);
  const auto lowest = [&](const TiledMotion& motion, int frame) {
    const test::PosedSkin skin(*s.context, motion, frame);
    double out = 1e9;
    for (int v = 0; v < skin.surface().vertices(); ++v)
      for (const BodyPart part : {BodyPart::leftHand, BodyPart::rightHand, BodyPart::leftForearm, BodyPart::rightForearm})
        if (skin.surface().parts[static_cast<std::size_t>(v)] == part) out = std::min(out, skin.at(v).y);
    return out;
  };
  ASSERT_LT(lowest(s.motion, 90), -0.1);
  const Repair r = clearance();
  const TiledMotion out = cleared(s, {&r});
  for (int f = 0; f < frames; f += 5) EXPECT_GE(lowest(out, f), -0.002) << f;
  for (int j = 0; j < out.joints(); ++j) EXPECT_EQ(out.rotationsAt(0)[static_cast<std::size_t>(j)], s.motion.rotationsAt(0)[static_cast<std::size_t>(j)]);
  Repair bodyOnly = clearance();
  bodyOnly.action = ClearanceRepair{{}, {"torso", "head", "thighs"}, 0.002, false};
  EXPECT_LT(lowest(cleared(s, {&bodyOnly}), 90), -0.1);
}

TEST(Clearance, TurnsArmsOnlyAndOnlyWithinItsSpan) {
  const Stage s = stage({0.28, 1, false, false});
  Repair r = clearance();
  r.span = TimeRange{0.5, 0.8};
  r.easeBefore = r.easeAfter = 0.1;
  r.action = ClearanceRepair{{"@leftUpperArm"}, {}, 0.002, false};
  const TiledMotion out = cleared(s, {&r});
  const LimbRig& arm = s.context->arms[0];
  int changed = 0;
  for (int f = 0; f < out.frames(); ++f)
    for (int j = 0; j < out.joints(); ++j) {
      if (out.rotationsAt(f)[static_cast<std::size_t>(j)] == s.motion.rotationsAt(f)[static_cast<std::size_t>(j)]) continue;
      ++changed;
      EXPECT_TRUE(j == arm.root || j == arm.mid || j == arm.end) << j;
      EXPECT_TRUE(f > 24 && f < 54) << f;
    }
  EXPECT_GT(changed, 30);
  EXPECT_LE(depthAt(s, out, 40), depthAt(s, s.motion, 40));
}

TEST(Clearance, GivesTheSameBytesWhateverRangeIsAsked) {
  const Stage s = stage({0.28, 1, false, false}, nullptr, {60, 1}, 200);
  const Repair r = clearance();
  const TiledMotion whole = cleared(s, {&r});
  for (const FrameSpan part : {FrameSpan{0, 9}, FrameSpan{63, 64}, FrameSpan{97, 131}, FrameSpan{199, 199}}) {
    const TiledMotion some = cleared(s, {&r}, ClearedHands::free, part);
    for (int f = part.first; f <= part.last; ++f)
      for (std::size_t j = 0; j < static_cast<std::size_t>(whole.joints()); ++j)
        ASSERT_EQ(std::memcmp(&whole.rotationsAt(f)[j], &some.rotationsAt(f)[j], sizeof(Quatf)), 0) << f << " " << j;
  }
}

TEST(Clearance, ChangesBeyondItsSupportAreNotSeen) {
  const Stage s = stage({0.28, 1, false, false}, nullptr, {60, 1}, 240);
  const Repair r = clearance();
  Issues issues;
  const RepairLayerPtr layer = makeClearanceLayer(s.context, {&r}, ClearedHands::free, issues);
  ASSERT_TRUE(layer);
  Stage other = s;
  other.motion = s.motion.writable(100, 1);
  other.motion.rotationsToWrite(100)[static_cast<std::size_t>(s.context->arms[0].root)] = Quatf();
  const FrameSpan may = layer->affected({100, 100});
  const TiledMotion a = cleared(s, {&r}), b = cleared(other, {&r});
  int differ = 0;
  for (int f = 0; f < 240; ++f)
    for (std::size_t j = 0; j < static_cast<std::size_t>(a.joints()); ++j)
      if (std::memcmp(&a.rotationsAt(f)[j], &b.rotationsAt(f)[j], sizeof(Quatf)) != 0) {
        EXPECT_TRUE(may.holds(f)) << f;
        ++differ;
      }
  EXPECT_GT(differ, 1);
}

TEST(Clearance, HandsStayWhereTheyAreWhenAsked) {
  const Stage s = stage({0.24, 1, false, false}, [](const Figure& f) { return test::puppetWalk(f, 90, {60, 1}, 0.2, 1.2); });
  const Repair r = clearance();
  const Repair touches[2] = {handTouch(0), handTouch(1)};
  const TiledMotion out = cleared(s, {&r, &touches[0], &touches[1]}, ClearedHands::stay);
  Poser before(*s.context), after(*s.context);
  bool any = false;
  for (int f = 0; f < 90; f += 5) {
    before.load(s.motion, f);
    after.load(out, f);
    for (const LimbRig& arm : s.context->arms) {
      EXPECT_LT(distance(before.position(arm.end), after.position(arm.end)), 1e-5);
      EXPECT_LT(angleBetween(before.rotation(arm.end), after.rotation(arm.end)), 1e-5);
      any = any || distance(before.position(arm.mid), after.position(arm.mid)) > 1e-3;
    }
  }
  EXPECT_TRUE(any);
}

TEST(Clearance, HandsThatTouchTheBodySlideAndTiltToLetTheirArmsOut) {
  const Stage s = stage({0.3, 1, false, false}, [](const Figure& f) { return test::puppetWalk(f, 90, {60, 1}, 0.2, 1.2); });
  const auto skin = TouchSkin::of(*s.context);
  const double mm = s.context->height / 1.7 / 1000;
  // First onto the skin, by the stage of touches.
  const Repair r = clearance();
  Repair touches[2] = {handTouch(0), handTouch(1)};
  for (const int side : {0, 1}) {
    auto& touch = std::get<TouchRepair>(touches[side].action);
    touch.target = TouchTarget::body;
    touch.on = "@chest";
    touch.skin = true;
    touch.place = {side == 0 ? 0.05 : -0.05, 0, 0.3};
    touch.normal = {0, 0, 1};
  }
  Stage on = s;
  Issues issues;
  const RepairLayerPtr layer = makeTouchLayer(s.context, {&touches[0], &touches[1]}, issues);
  ASSERT_TRUE(layer);
  std::vector<Residual> residuals(2);
  for (std::size_t k = 0; k < 2; ++k) residuals[k] = {touches[k].id, 0, std::vector<Miss>(90)};
  on.motion = s.motion.writable(0, 90);
  layer->apply(s.motion, {0, 89}, on.motion, residuals);
  const TiledMotion slid = cleared(on, {&r, &touches[0], &touches[1]}, ClearedHands::stay);
  Repair pinned[2] = {touches[0], touches[1]};
  for (Repair& p : pinned) std::get<TouchRepair>(p.action).skin = false;
  const TiledMotion fixed = cleared(on, {&r, &pinned[0], &pinned[1]}, ClearedHands::stay);
  double deepPinned = 0, deepSlid = 0;
  int asked = 0, kept = 0;
  Poser is(*s.context);
  for (int f = 0; f < 90; f += 5) {
    deepPinned = std::max(deepPinned, depthAt(s, fixed, f));
    deepSlid = std::max(deepSlid, depthAt(s, slid, f));
    is.load(slid, f);
    for (const int side : {0, 1}) {
      const double d = TouchSkin::Posed(*skin, is, side, TouchSkin::Against::body).nearest({}).distance;
      ++asked;
      kept += d < TouchLimits{}.gap * 1000 * mm && d > -TouchLimits{}.depth * 1000 * mm;
    }
  }
  EXPECT_GT(deepPinned, 8 * mm);
  EXPECT_LT(deepSlid, 4 * mm);
  EXPECT_GE(kept, 0.9 * asked);
}

TEST(Clearance, AnArmIsClearedWhereTheSpineHasHelpedTheOther) {
  const Stage s = stage({});
  Repair clearance, touch;
  clearance.id = 1;
  clearance.action = ClearanceRepair{};
  touch.id = 2;
  touch.span = TimeRange{0.4, 1.0};
  TouchRepair hand;
  hand.bone = "@rightHand";
  hand.on = "@head";
  touch.action = hand;
  const auto leftHolders = [&](const Repair& what) {
    Issues issues;
    const std::vector<const Repair*> repairs{&clearance, &what};
    for (const ClearanceTask& task : clearanceTasks(*s.context, *bodyModelOf(*s.context), repairs, ClearedHands::stay, issues))
      for (const ClearedArm& arm : task.arms)
        if (arm.side == 0) return arm.settings.handStays ? -1 : static_cast<int>(arm.holders.size());
    return 0;
  };
  EXPECT_EQ(leftHolders(touch), 1) << "its hand is free";
  hand.spine = false;
  touch.action = hand;
  EXPECT_EQ(leftHolders(touch), 0);
  hand.spine = true;
  hand.on = "@leftLowerArm";
  touch.action = hand;
  EXPECT_EQ(leftHolders(touch), 0) << "an arm that is touched stays where it is";
}

TEST(Clearance, ABentElbowOpensWithoutRollingTheForearm) {
  const Stage s = stage({});
  Poser poser(*s.context);
  poser.load(s.motion, 0);
  const LimbRig& limb = s.context->arms[0];
  // The forearm bent about an axis that lies 20° off the rest hinge, as elbows do in captures.
  const Vec3d upper = normalised(poser.position(limb.mid) - poser.position(limb.root)), hinge = -rotate(poser.rotation(limb.root), limb.hinge);
  poser.turn(limb.mid, fromAxisAngle(normalised(hinge * std::cos(0.35) + cross(upper, hinge) * std::sin(0.35)), 1.5));
  ArmClearer arm(*s.context, bodyModelOf(*s.context), 0, {});
  ASSERT_TRUE(arm.able() && !arm.byWrist());
  arm.load(poser);
  const Quatd before = conjugate(poser.rotation(limb.root)) * poser.rotation(limb.mid);
  ArmChange open;
  open.x[0] = -0.6;
  arm.write(poser, open);
  const Quatd after = conjugate(poser.rotation(limb.root)) * poser.rotation(limb.mid);
  const Vec3d turn = logOf(after * conjugate(before)), fore = rotate(conjugate(poser.rotation(limb.root)), normalised(poser.position(limb.end) - poser.position(limb.mid)));
  EXPECT_NEAR(length(turn), 0.6, 1e-6);
  EXPECT_LE(std::abs(dot(turn, fore)), 0.01);
}

TEST(Clearance, WhatIsRememberedOfAPoseIsWhatIsMeasured) {
  const Stage s = stage({0.28, 1, false, false});
  ArmClearer fresh(*s.context, bodyModelOf(*s.context), 0, {}), asked(*s.context, bodyModelOf(*s.context), 0, {});
  ArmClearanceSettings alone;
  alone.torso = false;
  ArmClearer without(*s.context, bodyModelOf(*s.context), 0, alone);
  double deepest = 0;
  for (int pass = 0; pass < 2; ++pass)
    for (int f = 0; f < s.motion.frames(); f += 5) {
      Poser poser(*s.context);
      poser.load(s.motion, f);
      fresh.load(poser);
      const double deep = fresh.deepest();
      deepest = std::max(deepest, deep);
      EXPECT_EQ(asked.deepestOf(poser), deep) << f;
      without.load(poser);
      EXPECT_EQ(without.deepestOf(poser), without.deepest()) << f;
      // Up to a depth, without looking further than that.
      const ArmChange none;
      const double all = fresh.depth(none, fresh.watch(none), -1);
      for (const double most : {0.002, 0.03, 1.0}) EXPECT_EQ(fresh.depthUpTo(none, -1, most), std::min(all, most)) << f;
    }
  EXPECT_GT(deepest, 0.01);
}

TEST(Clearance, AWristBentTooFarCostsTheMoreTheFartherAndTurningTheHandBackSavesIt) {
  const Stage s = stage({});
  const LimbRig& limb = s.context->arms[0];
  ArmClearanceSettings settings;
  settings.handStays = true;
  ArmClearer arm(*s.context, bodyModelOf(*s.context), 0, settings);
  ASSERT_TRUE(arm.able() && arm.byWrist());
  Poser poser(*s.context);
  const auto costs = [&](double bend, double back) {
    poser.load(s.motion, 0);
    const Vec3d fore = normalised(poser.position(limb.end) - poser.position(limb.mid)), axis = normalised(cross(fore, Vec3d{0, 0, 1}));
    poser.setRotation(limb.end, fromAxisAngle(axis, bend) * poser.rotation(limb.end));
    ArmClearer::Pose pose;
    arm.read(poser, pose);
    arm.load(pose);
    arm.setPivot(arm.wrist());
    ArmChange change;
    const Vec3d turn = rotate(conjugate(pose.frame), axis * -back);
    for (int k = 0; k < 3; ++k) change.x[static_cast<std::size_t>(6 + k)] = turn[k];
    return arm.likeness(change, arm.carry(change)).back();
  };
  EXPECT_EQ(costs(0, 0), 0);
  EXPECT_EQ(costs(0.7, 0), 0);
  EXPECT_GT(costs(1.4, 0), 0.01 * s.context->height);
  EXPECT_GT(costs(2.2, 0), costs(1.4, 0) + 0.05 * s.context->height);
  EXPECT_NEAR(costs(2.2, 0.8), costs(1.4, 0), 1e-9);
}

TEST(Clearance, SaysWhatItCannotDo) {
  Stage s = stage({0.28, 1, false, false});
  Repair r = clearance();
  r.action = ClearanceRepair{{"@nobody"}, {}, 0.002, false};
  Issues issues;
  EXPECT_FALSE(makeClearanceLayer(s.context, {&r}, ClearedHands::free, issues));
  ASSERT_FALSE(issues.empty());
  // No skin at all.
  auto bare = std::make_shared<Figure>(*s.figure);
  bare->meshes.clear();
  bare->skins.clear();
  auto context = repairContext(bare, s.context->map, {}, {60, 1}, 90);
  ASSERT_TRUE(context.ok());
  r = clearance();
  issues.clear();
  EXPECT_FALSE(makeClearanceLayer(*context, {&r}, ClearedHands::free, issues));
  EXPECT_EQ(issues.size(), 2u);
}

}  // namespace
}  // namespace understudy
