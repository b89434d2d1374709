// The stage of grips: judged from world transforms computed here from the local curves alone.
#include "core/repair/grip.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <memory>

#include "tests/support/sample_scene.h"

namespace understudy {
namespace {

constexpr double degree = 3.14159265358979 / 180;

using Scene = SampleScene;

/// The demo's keeper sweeping: both hands on a broom from frame 158 to 386 (counted from 1).
const Scene& sweeping() {
  static const Scene scene = sampleScene();
  return scene;
}

Repair gripOver(int first, int last, double share = 0) {
  Repair repair;
  repair.id = 7;
  repair.span = TimeRange{first / 30.0, last / 30.0};
  GripRepair grip;
  grip.share = share;
  repair.action = grip;
  return repair;
}

Repair anchored(const Scene& scene, Repair repair) {
  Result<GripRepair> grip = anchorGrip(*scene.context, scene.motion, repair);
  EXPECT_TRUE(grip.ok()) << (grip.ok() ? "" : grip.error().text());
  if (grip) repair.action = *grip;
  return repair;
}

struct Applied {
  TiledMotion motion;
  Residual residual;
  Issues issues;
};

Applied applyTo(const Scene& scene, const Repair& repair, std::optional<FrameSpan> only = {}) {
  Applied out;
  const RepairLayerPtr layer = makeGripLayer(scene.context, {&repair}, out.issues);
  const FrameSpan all = common(layer->extent(0), {0, scene.motion.frames() - 1}), frames = only ? common(*only, all) : all;
  out.motion = scene.motion.writable(frames.first, frames.count());
  std::vector<Residual> residuals(1);
  residuals[0].first = all.first;
  residuals[0].values.resize(static_cast<std::size_t>(all.count()));
  layer->apply(scene.motion, frames, out.motion, residuals);
  out.residual = residuals[0];
  return out;
}

/// Palms in world metres from the file's own transforms: place and rotation of the hand's joint with the stored palm frame on it.
std::array<Rigid, 2> palms(const Scene& scene, const TiledMotion& motion, int frame, const GripRepair& grip) {
  const std::vector<Affined> world = worldAt(scene.context->figure->skeleton, motion, frame);
  const Affined toWorld = worldFromFile(*scene.context->figure, scene.context->body.pose);
  std::array<Rigid, 2> out;
  for (int k = 0; k < 2; ++k) {
    const bool left = (k == 0) == grip.leadLeft;
    const auto joint = static_cast<std::size_t>(scene.context->joint(left ? Role::leftHand : Role::rightHand));
    const PolarParts<double> parts = polarParts(toWorld * world[joint]);
    out[static_cast<std::size_t>(k)] = Rigid{parts.rotation, parts.translation} * rigidOf(k == 0 ? grip.leadPalm : grip.supportPalm);
  }
  return out;
}

bool sameFrame(const TiledMotion& a, const TiledMotion& b, int frame) {
  const auto qa = a.rotationsAt(frame), qb = b.rotationsAt(frame);
  const auto ta = a.translationsAt(frame), tb = b.translationsAt(frame);
  return std::equal(qa.begin(), qa.end(), qb.begin(), qb.end()) && std::equal(ta.begin(), ta.end(), tb.begin(), tb.end());
}

TEST(Grip, TheSupportHandKeepsItsPlaceOnTheLeadHand) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  for (const double share : {0.0, 0.5, 1.0}) {
    const Repair repair = anchored(scene, gripOver(157, 385, share));
    const GripRepair& grip = std::get<GripRepair>(repair.action);
    const Applied done = applyTo(scene, repair);
    EXPECT_TRUE(done.issues.empty());
    const Rigid relation = inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
    for (int f = 157; f <= 385; ++f) {
      const auto [lead, support] = palms(scene, done.motion, f, grip);
      const Rigid wanted = lead * relation;
      EXPECT_LT(distance(support.at, wanted.at), 1e-4) << "frame " << f << " share " << share;
      EXPECT_LT(angleBetween(support.turn, wanted.turn), 0.02 * degree) << "frame " << f << " share " << share;
    }
    // Without the repair both hands drift apart by centimetres, so the figures above mean something.
    double drift = 0;
    for (int f = 157; f <= 385; ++f) {
      const auto [lead, support] = palms(scene, scene.motion, f, grip);
      drift = std::max(drift, distance(support.at, (lead * relation).at));
    }
    EXPECT_GT(drift, 0.01);
  }
}

TEST(Grip, ATwitchOfAHandHardlyMovesWhatBothShare) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(157, 385, 0.5));
  const GripRepair& grip = std::get<GripRepair>(repair.action);
  constexpr int at = 250;
  Scene twitching = scene;
  twitching.motion = scene.motion.writable(at, 1);
  const auto hand = static_cast<std::size_t>(scene.context->joint(grip.leadLeft ? Role::leftHand : Role::rightHand));
  Quatf& turn = twitching.motion.rotationsToWrite(at)[hand];
  turn = Quatf(normalised(Quatd(turn) * fromAxisAngle(Vec3d{0, 0, 1}, 8 * degree)));
  const TiledMotion plain = applyTo(scene, repair).motion, twitched = applyTo(twitching, repair).motion;
  const auto a = palms(scene, plain, at, grip), b = palms(scene, twitched, at, grip);
  EXPECT_NEAR(angleBetween(palms(scene, scene.motion, at, grip)[0].turn, palms(scene, twitching.motion, at, grip)[0].turn), 8 * degree, 1e-4);
  EXPECT_LT(angleBetween(a[0].turn, b[0].turn), 4 * degree);
  EXPECT_LT(distance(a[1].at, b[1].at), 0.6 * 8 * degree * length(rigidOf(grip.supportGrip).at));
  // Further off nothing changes.
  for (const int f : {at - 3, at + 3}) EXPECT_TRUE(sameFrame(plain, twitched, f));
}

TEST(Grip, AStartOfAHandHardlyMovesWhatBothShare) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(157, 385, 0.5));
  const GripRepair& grip = std::get<GripRepair>(repair.action);
  constexpr int at = 250;
  Scene starting = scene;
  starting.motion = scene.motion.writable(at, 1);
  for (const Role role : {Role::leftUpperArm, Role::rightUpperArm}) {
    Quatf& turn = starting.motion.rotationsToWrite(at)[static_cast<std::size_t>(scene.context->joint(role))];
    turn = Quatf(normalised(Quatd(turn) * fromAxisAngle(Vec3d{1, 0, 0}, 4 * degree)));
  }
  const auto place = [&](const TiledMotion& motion) { return palms(scene, motion, at, grip)[0].at; };
  const double was = distance(place(scene.motion), place(starting.motion));
  ASSERT_GT(was, 0.014);
  EXPECT_LT(distance(place(applyTo(scene, repair).motion), place(applyTo(starting, repair).motion)), 0.7 * was);
}

TEST(Grip, ElbowsOpenGentlyWhereAnArmComesToItsEnd) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Repair repair = anchored(scene, gripOver(200, 260, 0.5));
  GripRepair& grip = std::get<GripRepair>(repair.action);
  constexpr int at = 230;
  const auto bends = [&] {
    const std::vector<Affined> world = worldAt(scene.context->figure->skeleton, applyTo(scene, repair, FrameSpan{at, at}).motion, at);
    const auto bend = [&](Role upper, Role lower, Role hand) {
      const auto place = [&](Role role) { return polarParts(world[static_cast<std::size_t>(scene.context->joint(role))]).translation; };
      return angleBetween(place(lower) - place(upper), place(hand) - place(lower)) / degree;
    };
    return std::array{bend(Role::leftUpperArm, Role::leftLowerArm, Role::leftHand), bend(Role::rightUpperArm, Role::rightLowerArm, Role::rightHand)};
  };
  const Vec3d outwards = normalised(grip.supportGrip.position);
  std::array<double, 2> before = bends(), least = before;
  for (int mm = 0; mm < 600; ++mm) {
    grip.supportGrip.position = grip.supportGrip.position + outwards * 0.001;
    const std::array<double, 2> now = bends();
    for (std::size_t arm = 0; arm < 2; ++arm) {
      EXPECT_LT(std::abs(now[arm] - before[arm]), 0.4) << "degrees in the millimetre " << mm << " of arm " << arm;
      least[arm] = std::min(least[arm], now[arm]);
    }
    before = now;
  }
  EXPECT_LT(std::min(least[0], least[1]), 15);
}

TEST(Grip, ArmsStayNearTheirOwnWay) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(157, 385, 0.5));
  const Applied done = applyTo(scene, repair);
  std::vector<double> angles;
  for (int f = 157; f <= 385; ++f) {
    const std::vector<Affined> a = worldAt(scene.context->figure->skeleton, scene.motion, f), b = worldAt(scene.context->figure->skeleton, done.motion, f);
    for (const Role role : {Role::leftUpperArm, Role::leftLowerArm, Role::leftHand, Role::rightUpperArm, Role::rightLowerArm, Role::rightHand}) {
      const auto j = static_cast<std::size_t>(scene.context->joint(role));
      angles.push_back(angleBetween(polarParts(a[j]).rotation, polarParts(b[j]).rotation) / degree);
    }
  }
  double sum = 0;
  for (const double a : angles) sum += a;
  std::sort(angles.begin(), angles.end());
  EXPECT_LT(sum / static_cast<double>(angles.size()), 5);
  EXPECT_LT(angles[angles.size() * 95 / 100], 15);
}

TEST(Grip, TheLeadHandKeepsItsBytesUnlessItShares) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Applied done = applyTo(scene, anchored(scene, gripOver(157, 385)));
  // Where the chest has to help the lead arm is solved again; this clip's span has frames without.
  int same = 0, chestHelps = 0;
  for (int f = 157; f <= 385; ++f) {
    const auto a = scene.motion.rotationsAt(f), b = done.motion.rotationsAt(f);
    const auto chest = static_cast<std::size_t>(scene.context->joint(Role::upperChest) >= 0 ? scene.context->joint(Role::upperChest) : scene.context->joint(Role::chest));
    if (!(a[chest] == b[chest])) {
      ++chestHelps;
      continue;
    }
    for (const Role role : {Role::rightUpperArm, Role::rightLowerArm, Role::rightHand, Role::rightShoulder}) {
      const auto j = static_cast<std::size_t>(scene.context->joint(role));
      EXPECT_EQ(a[j], b[j]) << "frame " << f;
    }
    ++same;
  }
  EXPECT_GT(same, 100);
}

TEST(Grip, NothingChangesOutsideSpanAndEase) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(200, 260, 0.5));
  Issues issues;
  const RepairLayerPtr layer = makeGripLayer(scene.context, {&repair}, issues);
  const FrameSpan extent = layer->extent(0);
  EXPECT_EQ(extent, (FrameSpan{193, 267}));
  // All frames may be written to; those outside the ease keep their bytes all the same.
  std::vector<Residual> residuals(1);
  TiledMotion all = scene.motion.writable(0, scene.motion.frames());
  layer->apply(scene.motion, {0, scene.motion.frames() - 1}, all, residuals);
  for (int f = 0; f < scene.motion.frames(); ++f) EXPECT_EQ(sameFrame(all, scene.motion, f), !extent.holds(f)) << "frame " << f;
}

TEST(Grip, AnyRangeGivesTheSameBytes) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(200, 260, 0.5));
  const Applied whole = applyTo(scene, repair), part = applyTo(scene, repair, FrameSpan{230, 240}), single = applyTo(scene, repair, FrameSpan{197, 197});
  for (int f = 230; f <= 240; ++f) EXPECT_TRUE(sameFrame(whole.motion, part.motion, f));
  EXPECT_TRUE(sameFrame(whole.motion, single.motion, 197));
}

TEST(Grip, EasesJoinWithoutPops) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(200, 260, 0.5));
  const Applied done = applyTo(scene, repair);
  const auto peak = [&](const TiledMotion& motion) {
    double worst = 0;
    for (int f = 191; f <= 269; ++f)
      for (const Role role : {Role::leftUpperArm, Role::leftLowerArm, Role::leftHand, Role::rightUpperArm, Role::rightLowerArm, Role::rightHand}) {
        const auto j = static_cast<std::size_t>(scene.context->joint(role));
        const auto step = [&](int g) { return logOf(conjugate(Quatd(motion.rotationsAt(g - 1)[j])) * Quatd(motion.rotationsAt(g)[j])); };
        worst = std::max(worst, length(step(f + 1) - step(f)) / degree);
      }
    return worst;
  };
  // Degrees a frame squared: the eases add what a smooth join of this size takes, and no step.
  EXPECT_LT(peak(done.motion), peak(scene.motion) + 2);
}

TEST(Grip, WhatIsOutOfReachIsReportedAsFarAsItMisses) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Repair repair = anchored(scene, gripOver(200, 260));
  GripRepair& grip = std::get<GripRepair>(repair.action);
  grip.supportGrip.position = grip.supportGrip.position + Vec3d{0, -2, 0};
  const Applied done = applyTo(scene, repair);
  const Rigid relation = inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
  for (int f = 200; f <= 260; ++f) {
    const auto [lead, support] = palms(scene, done.motion, f, grip);
    const double miss = distance(support.at, (lead * relation).at);
    EXPECT_GT(miss, 0.5);
    EXPECT_NEAR(done.residual.values[static_cast<std::size_t>(f - done.residual.first)].metres, miss, 1e-4);
    for (const Quatf& q : done.motion.rotationsAt(f)) EXPECT_TRUE(isFinite(q));
  }
}

TEST(Grip, CollarboneAndChestHelpALittleAndLetTheHeadLookOn) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Repair repair = anchored(scene, gripOver(200, 260));
  GripRepair& grip = std::get<GripRepair>(repair.action);
  grip.supportGrip.position = grip.supportGrip.position + Vec3d{0, -2, 0};
  const Applied done = applyTo(scene, repair);
  const auto turned = [&](Role role, int f) {
    const auto j = static_cast<std::size_t>(scene.context->joint(role));
    return angleBetween(Quatd(scene.motion.rotationsAt(f)[j]), Quatd(done.motion.rotationsAt(f)[j])) / degree;
  };
  const std::vector<Affined> a = worldAt(scene.context->figure->skeleton, scene.motion, 230), b = worldAt(scene.context->figure->skeleton, done.motion, 230);
  EXPECT_GT(turned(Role::leftShoulder, 230), 5);
  EXPECT_LT(turned(Role::leftShoulder, 230), 25);
  const auto head = static_cast<std::size_t>(scene.context->joint(Role::head)), hips = static_cast<std::size_t>(scene.context->joint(Role::hips));
  EXPECT_LT(angleBetween(polarParts(a[head]).rotation, polarParts(b[head]).rotation) / degree, 0.01);
  EXPECT_EQ(a[hips], b[hips]);
}

TEST(Grip, SlidesAlongThePropNoFurtherThanAllowed) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  Repair repair = anchored(scene, gripOver(200, 260));
  GripRepair& grip = std::get<GripRepair>(repair.action);
  grip.supportGrip.position = grip.supportGrip.position * 1.0 + normalised(grip.supportGrip.position) * 0.35;
  const Rigid relation = inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
  double without = 0, with = 0, far = 0;
  const Applied stiff = applyTo(scene, repair);
  for (const Miss& m : stiff.residual.values) without = std::max(without, static_cast<double>(m.metres));
  ASSERT_GT(without, 0.005);
  grip.slide = 0.1;
  const Applied sliding = applyTo(scene, repair);
  for (int f = 200; f <= 260; ++f) {
    const auto [lead, support] = palms(scene, sliding.motion, f, grip);
    const Vec3d d = support.at - (lead * relation).at, axis = rotate(lead.turn, normalised(relation.at));
    far = std::max(far, std::abs(dot(d, axis)));
  }
  for (const Miss& m : sliding.residual.values) with = std::max(with, static_cast<double>(m.metres));
  EXPECT_LT(with, 0.8 * without);
  EXPECT_LE(far, 0.1 + with + 1e-6);
}

TEST(Grip, GripsThatCannotBeAppliedAreToldAndChangeNothing) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  std::vector<Repair> bad;
  bad.push_back(gripOver(200, 260));  // its frames were never worked out
  bad.push_back(anchored(scene, gripOver(200, 260)));
  std::get<GripRepair>(bad.back().action).prop = 12;
  bad.push_back(anchored(scene, gripOver(200, 260)));
  std::get<GripRepair>(bad.back().action).supportGrip.position.x = std::numeric_limits<double>::quiet_NaN();
  for (const Repair& repair : bad) {
    const Applied done = applyTo(scene, repair);
    ASSERT_EQ(done.issues.size(), 1u);
    EXPECT_EQ(done.issues[0].where, "grip 7");
    EXPECT_FALSE(done.issues[0].todo.empty());
    for (int f = 190; f <= 270; ++f) EXPECT_TRUE(sameFrame(done.motion, scene.motion, f));
  }
  EXPECT_FALSE(anchorGrip(*scene.context, scene.motion, gripOver(5000, 6000)).ok());
  Repair other = gripOver(200, 260);
  other.action = HandShapeRepair{};
  EXPECT_FALSE(anchorGrip(*scene.context, scene.motion, other).ok());
}

TEST(Grip, HandsFindNewPlacesWhereTheyMoveMostAgainstEachOther) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(150, 420, 0.4));
  GripDivision tight;
  tight.mean = 1 * degree;
  tight.most = 3 * degree;
  tight.edge = 0;
  GripDivision greedy = tight;
  greedy.earlier = 0;
  const Result<std::vector<FrameSpan>> late = divideGrip(*scene.context, scene.motion, repair, greedy), chosen = divideGrip(*scene.context, scene.motion, repair, tight);
  ASSERT_TRUE(late.ok() && chosen.ok());
  ASSERT_GE(late->size(), 2u);
  ASSERT_EQ(chosen->size(), late->size());
  const std::size_t cut = late->size() - 2;
  const int last = (*late)[cut].last, now = (*chosen)[cut].last, pause = 9;
  EXPECT_LE(now, last);
  EXPECT_GE(now, last - 30);
  EXPECT_EQ((*chosen)[cut + 1].first, now + pause);
  const GripRepair& grip = std::get<GripRepair>(repair.action);
  const auto moves = [&](int f) {
    const auto relation = [&](int frame) {
      const std::array<Rigid, 2> p = palms(scene, scene.motion, frame, grip);
      return inverse(p[0]) * p[1];
    };
    const Rigid a = relation(f), b = relation(f + pause);
    return distance(a.at, b.at) + scene.context->scaled(0.1) * angleBetween(a.turn, b.turn);
  };
  EXPECT_GE(moves(now), moves(last) - 1e-6);
}

TEST(Grip, LeadAndSupportSwapWithoutMovingTheProp) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(200, 260, 0.5));
  const GripRepair& grip = std::get<GripRepair>(repair.action);
  const GripRepair swapped = swappedGrip(grip);
  EXPECT_TRUE(swapped.leadLeft);
  const Rigid one = inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip), two = inverse(rigidOf(swapped.leadGrip)) * rigidOf(swapped.supportGrip);
  EXPECT_LT(distance((one * two).at, Vec3d{}), 1e-12);
  EXPECT_LT(angleBetween((one * two).turn, Quatd{}), 1e-9);
  EXPECT_EQ(swappedGrip(swapped), grip);

  // An artist's choice of the other hand means that; a hold that is given anew is taken as it is.
  Repair chosen = repair;
  std::get<GripRepair>(chosen.action).leadLeft = true;
  EXPECT_EQ(std::get<GripRepair>(ledAsChosen(repair, chosen).action), swapped);
  std::get<GripRepair>(chosen.action).leadGrip.position.y += 0.1;
  EXPECT_EQ(ledAsChosen(repair, chosen), chosen);
  chosen = repair;
  std::get<GripRepair>(chosen.action).slide = 0.05;
  EXPECT_EQ(ledAsChosen(repair, chosen), chosen);
}

TEST(Grip, AMirroredGripIsTheMirrorImage) {
  const Scene& scene = sweeping();
  ASSERT_TRUE(scene.context);
  const Repair repair = anchored(scene, gripOver(200, 260));
  const GripRepair& grip = std::get<GripRepair>(repair.action);
  const GripRepair mirror = mirroredGrip(*scene.context, grip);
  EXPECT_TRUE(mirror.leadLeft);
  // Palms of a symmetrical character mirror each other across x = 0: so must where the support palm lies for a mirrored lead palm.
  const auto reflected = [](const Rigid& r) {
    // Palm frames swap hands: y and z are reflected, x follows from being right-handed.
    const auto m = [](const Vec3d& v) { return Vec3d{-v.x, v.y, v.z}; };
    const Vec3d y = m(rotate(r.turn, Vec3d{0, 1, 0})), z = m(rotate(r.turn, Vec3d{0, 0, 1}));
    return Rigid{toQuat(Mat3d{cross(y, z), y, z}), m(r.at)};
  };
  const Rigid lead{normalised(Quatd{0.8, 0.1, -0.3, 0.5}), {-0.3, 1.1, 0.25}};
  const Rigid support = lead * inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
  const Rigid other = reflected(lead) * inverse(rigidOf(mirror.leadGrip)) * rigidOf(mirror.supportGrip);
  EXPECT_LT(distance(other.at, reflected(support).at), 1e-9);
  EXPECT_LT(angleBetween(other.turn, reflected(support).turn), 1e-6);
  const GripRepair again = mirroredGrip(*scene.context, mirror);
  EXPECT_EQ(again.leadLeft, grip.leadLeft);
  EXPECT_LT(distance(again.supportGrip.position, grip.supportGrip.position), 1e-12);
  EXPECT_LT(angleBetween(again.supportPalm.rotation, grip.supportPalm.rotation), 1e-6);
}

}  // namespace
}  // namespace understudy
