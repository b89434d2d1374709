// Ground contacts of invented walks whose stance phases are known.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <numbers>
#include <random>

#include "core/contact/contacts.h"

namespace understudy {
namespace {

constexpr double legLength = 0.86, ankleHeight = 0.085, heelBack = 0.055, ballAhead = 0.135, ballHeight = 0.028;
// Stance phases as fractions of the cycle, near those of an adult's walk (Perry: loading to 10 %, heel off about 30 %, toe off
// about 60 %).
constexpr double flatFrom = 0.10, heelOff = 0.35, toeOff = 0.62;

struct Gait {
  double cycle = 1.1, stride = 1.4;   ///< s, m
  double fallSpeed = 0.45;            ///< of the heel at landing, m/s
  double floor = 0, noise = 0;        ///< m
  int rate = 120;
  bool toes = true;
  double unit = 1;                    ///< metres a file unit
  Quatd worldFromFile{};
};

struct Pose {
  Vec3d ankle;
  double pitch = 0;  ///< radians, toes up positive
};

Vec3d turned(double pitch, const Vec3d& v) {
  return {v.x, v.y * std::cos(pitch) + v.z * std::sin(pitch), v.z * std::cos(pitch) - v.y * std::sin(pitch)};
}

double hermite(double a, double va, double b, double vb, double span, double s) {
  const double s2 = s * s, s3 = s2 * s;
  return a * (2 * s3 - 3 * s2 + 1) + va * span * (s3 - 2 * s2 + s) + b * (3 * s2 - 2 * s3) + vb * span * (s3 - s2);
}

// The foot stands at z = 0 with its ankle above the origin; phase 0 … 1 from landing.
Pose stance(double phase) {
  const double up = 20 * std::numbers::pi / 180, down = 62 * std::numbers::pi / 180;
  const Vec3d heel{0, -ankleHeight, -heelBack}, ball{0, -ankleHeight, ballAhead}, rest{0, ankleHeight, 0};
  Pose pose;
  Vec3d pivot;
  if (phase < flatFrom) {
    const double s = 1 - phase / flatFrom;
    pose.pitch = up * s * s;
    pivot = heel;
  } else {
    const double s = std::max(0.0, (phase - heelOff) / (toeOff - heelOff));
    pose.pitch = -down * s * s;
    pivot = ball;
  }
  pose.ankle = rest + pivot - turned(pose.pitch, pivot);
  return pose;
}

Pose poseOf(const Gait& gait, double cycles) {
  const double whole = std::floor(cycles), phase = cycles - whole;
  Pose pose;
  if (phase <= toeOff) {
    pose = stance(phase);
  } else {
    const double span = (1 - toeOff) * gait.cycle, s = (phase - toeOff) / (1 - toeOff), step = 1e-4;
    const Pose from = stance(toeOff), before = stance(toeOff - step), to = stance(0);
    const double dt = step * gait.cycle;
    const Vec3d v = (from.ankle - before.ankle) / dt;
    pose.ankle.z = hermite(from.ankle.z, v.z, to.ankle.z + gait.stride, gait.fallSpeed, span, s);
    pose.ankle.y = hermite(from.ankle.y, v.y, to.ankle.y, -gait.fallSpeed, span, s) + 0.04 * 16 * s * s * (1 - s) * (1 - s);  // clears the toes
    pose.pitch = hermite(from.pitch, (from.pitch - before.pitch) / dt, to.pitch, 0, span, s);
  }
  pose.ankle.z += whole * gait.stride;
  pose.ankle.y += gait.floor;
  return pose;
}

struct Walk {
  Figure figure;
  SkeletonMap map;
  Motion motion;
  std::array<std::vector<bool>, 2> down;
};

// A body with two legs whose feet carry translation tracks; `foot(side, frame)` places them in world metres.
template <class Foot>
Walk build(const Gait& gait, int frames, const Foot& foot) {
  Walk walk;
  Skeleton& sk = walk.figure.skeleton;
  const double u = 1 / gait.unit;
  walk.figure.path = "walk";
  walk.figure.space.metresPerUnit = gait.unit;
  walk.figure.space.worldFromFile = gait.worldFromFile;
  const Quatd fileFromWorld = conjugate(gait.worldFromFile);
  Trsd root;
  root.rotation = fileFromWorld;
  const auto at = [&](double x, double y, double z) {
    Trsd t;
    t.translation = Vec3d{x, y, z} * u;
    return t;
  };
  const int hips = sk.add("hips", -1, root, 0);
  walk.map.at(Role::hips).joints = {hips};
  std::array<int, 2> feet{}, toes{};
  std::vector<int> moved{hips};
  for (int side = 0; side < 2; ++side) {
    const double x = side == 0 ? 0.09 : -0.09;
    const int upper = sk.add("upper", hips, at(x, 0, 0), sk.size());
    const int lower = sk.add("lower", upper, at(0, -0.43, 0), sk.size());
    feet[side] = sk.add("foot", lower, at(0, -0.43, 0), sk.size());
    toes[side] = sk.add("toes", feet[side], at(0, ballHeight - ankleHeight, ballAhead), sk.size());
    walk.map.at(side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg).joints = {upper};
    walk.map.at(side == 0 ? Role::leftLowerLeg : Role::rightLowerLeg).joints = {lower};
    walk.map.at(side == 0 ? Role::leftFoot : Role::rightFoot).joints = {feet[side]};
    if (gait.toes) walk.map.at(side == 0 ? Role::leftToes : Role::rightToes).joints = {toes[side]};
    moved.insert(moved.end(), {feet[side], toes[side]});
  }
  walk.motion = restMotion(sk, frames, {gait.rate, 1}, moved);
  std::mt19937 random(7);
  std::normal_distribution<double> bell(0, 1);
  const auto noise = [&] { return Vec3d{bell(random), bell(random), bell(random)} * gait.noise; };
  for (int f = 0; f < frames; ++f) {
    for (int side = 0; side < 2; ++side) {
      const Pose pose = foot(side, f);
      walk.motion.translationsAt(f)[1 + 2 * side] = Vec3f((pose.ankle + Vec3d{0, legLength / 2, 0} + noise()) * u);
      walk.motion.translationsAt(f)[2 + 2 * side] = Vec3f((Vec3d{0, ballHeight - ankleHeight, ballAhead} + noise()) * u);
      walk.motion.rotationsAt(f)[feet[side]] = Quatf(static_cast<float>(std::cos(pose.pitch / 2)), static_cast<float>(-std::sin(pose.pitch / 2)), 0, 0);
    }
  }
  return walk;
}

Walk makeWalk(const Gait& gait, double seconds = 5.3) {
  const auto cycles = [&](int side, int f) { return 0.3 + static_cast<double>(f) / gait.rate / gait.cycle + (side == 0 ? 0 : 0.5); };
  const int frames = static_cast<int>(seconds * gait.rate) + 1;
  Walk walk = build(gait, frames, [&](int side, int f) { return poseOf(gait, cycles(side, f)); });
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < frames; ++f) {
      const double c = cycles(side, f);
      walk.down[side].push_back(c - std::floor(c) < toeOff);
    }
  return walk;
}

double f1(const Walk& walk, const Contacts& found) {
  double hit = 0, bad = 0;
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < walk.motion.frames; ++f) {
      const bool down = found.feet[side].down(f), truth = walk.down[side][f];
      hit += down && truth;
      bad += down != truth;
    }
  return 2 * hit / (2 * hit + bad);
}

TEST(Contact, AgreesWithInventedWalksOfAllSpeedsRatesFloorsAndNoise) {
  double worst = 1, total = 0;
  int count = 0;
  for (const auto& [cycle, stride] : {std::pair{1.5, 1.0}, std::pair{1.25, 1.2}, std::pair{1.1, 1.4}, std::pair{0.92, 1.75}})
    for (const double fall : {0.15, 0.45, 0.7})
      for (const double floor : {0.0, 0.025, -0.03})
        for (const double noise : {0.0, 0.001, 0.002})
          for (const int rate : {24, 30, 60, 100, 120}) {
            Gait gait{.cycle = cycle, .stride = stride, .fallSpeed = fall, .floor = floor, .noise = noise, .rate = rate};
            const Walk walk = makeWalk(gait);
            const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
            ASSERT_TRUE(found.ok()) << found.error().text();
            const double score = f1(walk, *found);
            EXPECT_GE(score, 0.95) << "cycle " << cycle << " fall " << fall << " floor " << floor << " noise " << noise << " rate " << rate;
            EXPECT_NEAR(found->floor, floor, 0.015);
            worst = std::min(worst, score);
            total += score;
            ++count;
          }
  std::printf("F1 over %d invented walks: mean %.4f, worst %.4f\n", count, total / count, worst);
}

TEST(Contact, FindsPhasesInOrder) {
  const Gait gait;
  const Walk walk = makeWalk(gait);
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  int whole = 0;
  for (const FootContact& foot : found->feet)
    for (const ContactSpan& span : foot.spans) {
      for (int f = span.first; f < span.last; ++f) EXPECT_LE(static_cast<int>(foot.phases[f]), static_cast<int>(foot.phases[f + 1])) << f;
      if (!span.landingSeen || !span.leavingSeen) continue;
      ++whole;
      EXPECT_EQ(foot.phases[span.first], FootPhase::heel);
      const auto count = [&](auto pred) { return std::count_if(foot.phases.begin() + span.first, foot.phases.begin() + span.last + 1, pred); };
      const double heel = static_cast<double>(count([](FootPhase p) { return p == FootPhase::heel; })) / gait.rate / gait.cycle;
      const double heelOrFlat = static_cast<double>(count([](FootPhase p) { return p == FootPhase::heel || p == FootPhase::flat; })) / gait.rate / gait.cycle;
      EXPECT_NEAR(heel, flatFrom, 0.06);
      EXPECT_NEAR(heelOrFlat, heelOff, 0.10);
      // Within a frame and a half of the known events, and the still part inside the contact.
      const double cycles = (span.landing / gait.cycle + 0.3) * 2;
      EXPECT_NEAR(cycles, std::round(cycles), 2 * 0.025 / gait.cycle);
      EXPECT_NEAR(span.leaving - span.landing, toeOff * gait.cycle, 0.04);
      EXPECT_GE(span.stillFirst, span.first);
      EXPECT_LT(span.stillLast, span.last);
      EXPECT_GT(span.stillLast - span.stillFirst, 0.3 * gait.cycle * gait.rate);
      EXPECT_NEAR(span.height, 0, 0.01);
    }
  EXPECT_GE(whole, 6);
}

TEST(Contact, IsTheSameInAnyUnitAndUpAxis) {
  const Gait metres;
  Gait other;
  other.unit = 0.0254;
  other.worldFromFile = Quatd(std::sqrt(0.5), -std::sqrt(0.5), 0, 0);  // Z up
  const Walk a = makeWalk(metres), b = makeWalk(other);
  const Result<Contacts> fa = findContacts(a.figure, a.map, a.motion), fb = findContacts(b.figure, b.map, b.motion);
  ASSERT_TRUE(fa.ok() && fb.ok());
  for (int side = 0; side < 2; ++side) {
    ASSERT_EQ(fa->feet[side].spans.size(), fb->feet[side].spans.size());
    for (std::size_t k = 0; k < fa->feet[side].spans.size(); ++k) {
      EXPECT_NEAR(fa->feet[side].spans[k].landing, fb->feet[side].spans[k].landing, 1e-3);
      EXPECT_NEAR(fa->feet[side].spans[k].leaving, fb->feet[side].spans[k].leaving, 1e-3);
    }
  }
  EXPECT_NEAR(fa->leg, legLength, 1e-6);
  EXPECT_NEAR(fb->leg, legLength, 1e-6);
}

TEST(Contact, WorksForFeetWithoutMappedToes) {
  Gait gait;
  gait.toes = false;
  const Walk walk = makeWalk(gait);
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  EXPECT_GE(f1(walk, *found), 0.95);
}

TEST(Contact, AFootHeldStillInTheAirIsNotOnTheGround) {
  const Gait gait{.rate = 60};
  // One foot stands throughout; the other is lifted by 0.3 m, held still for three seconds, and put back.
  const auto lift = [](double t) {
    const auto ease = [](double s) {
      s = std::clamp(s, 0.0, 1.0);
      return s * s * (3 - 2 * s);
    };
    return 0.3 * (ease((t - 2) / 0.5) - ease((t - 5.5) / 0.5));
  };
  const Walk walk = build(gait, 481, [&](int side, int f) { return Pose{{0, ankleHeight + (side == 1 ? lift(f / 60.0) : 0), 0}, 0}; });
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  ASSERT_EQ(found->feet[0].spans.size(), 1U);
  EXPECT_EQ(found->feet[0].spans[0].first, 0);
  EXPECT_EQ(found->feet[0].spans[0].last, 480);
  EXPECT_FALSE(found->feet[0].spans[0].landingSeen);
  EXPECT_FALSE(found->feet[0].spans[0].leavingSeen);
  for (int f = 0; f < 481; ++f) EXPECT_EQ(found->feet[0].phases[f], FootPhase::flat) << f;
  ASSERT_EQ(found->feet[1].spans.size(), 2U);
  EXPECT_NEAR(found->feet[1].spans[0].leaving, 2.1, 0.15);
  EXPECT_NEAR(found->feet[1].spans[1].landing, 5.9, 0.15);
}

/// Two steps on the flat, six stairs of `riser` metres up (down where it is below 0) and two steps on, the hips over the feet.
Walk stairs(const Gait& gait, double riser) {
  const auto cycles = [&](int side, int f) { return 0.3 + static_cast<double>(f) / gait.rate / gait.cycle + (side == 0 ? 0 : 0.5); };
  // Feet take a tread each, in turn: the height of a foot's own stance k.
  const auto level = [&](int side, double k) { return gait.floor + riser * std::clamp(2 * k - side - 2, 0.0, 6.0); };
  const int frames = static_cast<int>(8 * gait.cycle * gait.rate);
  const auto pose = [&](int side, int f) {
    const double c = cycles(side, f), k = std::floor(c), s = std::clamp((c - k - toeOff) / (1 - toeOff), 0.0, 1.0);
    Gait flat = gait;
    flat.floor = 0;
    Pose out = poseOf(flat, c);
    // Up before it is over the next tread, down once it is beyond the last.
    const double t = riser > 0 ? std::min(1.0, s / 0.7) : std::max(0.0, (s - 0.3) / 0.7), part = t * t * (3 - 2 * t);
    out.ankle.y += level(side, k) + (level(side, k + 1) - level(side, k)) * part;
    return out;
  };
  Walk walk = build(gait, frames, pose);
  for (int f = 0; f < frames; ++f) {
    const double between = 0.5 * (pose(0, f).ankle.y + pose(1, f).ankle.y), ahead = 0.5 * (pose(0, f).ankle.z + pose(1, f).ankle.z);
    const Vec3f hips(Vec3d{0, between + 0.97 * legLength - 0.04, ahead});
    walk.motion.translationsAt(f)[0] = hips;
    for (int side = 0; side < 2; ++side) {
      walk.motion.translationsAt(f)[1 + 2 * side] = walk.motion.translationsAt(f)[1 + 2 * side] - hips;
      const double c = cycles(side, f);
      walk.down[side].push_back(c - std::floor(c) < toeOff);
    }
  }
  return walk;
}

TEST(Contact, StairsAreStoodOnAtTheHeightOfEachTread) {
  for (const int rate : {30, 120})
    for (const double riser : {0.17, -0.17, 0.12}) {
      const Gait gait{.cycle = 1.3, .stride = 0.6, .rate = rate, .toes = true};
      const Walk walk = stairs(gait, riser);
      const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
      ASSERT_TRUE(found.ok());
      EXPECT_GE(f1(walk, *found), 0.9) << rate << " fps, riser " << riser;
      for (int side = 0; side < 2; ++side) {
        const FootContact& foot = found->feet[side];
        ASSERT_GE(foot.spans.size(), 7U) << rate << " fps, riser " << riser;
        for (const ContactSpan& span : foot.spans) {
          const int middle = (span.first + span.last) / 2;
          EXPECT_NEAR(found->floor + span.height, foot.ball[middle].y - ballHeight, 0.02) << rate << " fps, riser " << riser << ", frame " << middle;
        }
      }
    }
}

TEST(Contact, ClipsInPlaceHaveNone) {
  for (const int rate : {24, 30, 120})
    for (const double stride : {0.5, 1.0, 1.4, 2.0}) {
      const Gait gait{.stride = stride, .rate = rate};
      const double speed = gait.stride / gait.cycle;
      const Walk walk = build(gait, 2 * rate, [&](int side, int f) {
        const double t = static_cast<double>(f) / rate;
        Pose pose = poseOf(gait, 0.3 + t / gait.cycle + (side == 0 ? 0 : 0.5));
        pose.ankle.z -= speed * t;
        return pose;
      });
      const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
      ASSERT_TRUE(found.ok());
      EXPECT_TRUE(found->feet[0].spans.empty() && found->feet[1].spans.empty()) << rate << " fps, " << stride << " m";
      for (const FootContact& foot : found->feet) EXPECT_TRUE(std::all_of(foot.phases.begin(), foot.phases.end(), [](FootPhase p) { return p == FootPhase::none; }));
    }
}

TEST(Contact, FeetThatHangStillHighUpDoNotStand) {
  // Both swing below the place where they are stillest, and never rest there.
  const Gait gait{.rate = 24};
  const Walk walk = build(gait, 48, [&](int side, int f) {
    const double turn = 2 * std::numbers::pi * (f / 24.0 + 0.5 * side);
    return Pose{{0, 0.4 + 0.3 * std::cos(turn), 0.4 * std::sin(turn)}, 0};
  });
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  EXPECT_TRUE(found->feet[0].spans.empty() && found->feet[1].spans.empty());
}

TEST(Contact, AFootBehindAKneeThatIsDownDoesNotStand) {
  // Stands for two seconds, goes down on the right knee for three and comes up again.
  const Gait gait{.rate = 60};
  Walk walk = build(gait, 420, [&](int, int) { return Pose{{0, ankleHeight, 0}, 0}; });
  Skeleton& sk = walk.figure.skeleton;
  const int hips = walk.map.joint(Role::hips);
  std::array<int, 2> upper{walk.map.joint(Role::leftUpperLeg), walk.map.joint(Role::rightUpperLeg)}, lower{walk.map.joint(Role::leftLowerLeg), walk.map.joint(Role::rightLowerLeg)};
  walk.motion = restMotion(sk, 420, {60, 1}, {hips});
  for (int f = 0; f < 420; ++f) {
    const auto ease = [](double s) { return std::clamp(s, 0.0, 1.0) * std::clamp(s, 0.0, 1.0) * (3 - 2 * std::clamp(s, 0.0, 1.0)); };
    const double down = ease((f - 120) / 40.0) - ease((f - 340) / 40.0);
    // The left thigh level and its shank upright; the right thigh upright and its shank level behind it.
    const double lift = 0.86 + (0.43 - 0.86) * down;
    walk.motion.translationsAt(f)[0] = Vec3f(Vec3d{0, lift + ankleHeight, 0});
    const auto turn = [&](int joint, double angle) { walk.motion.rotationsAt(f)[static_cast<std::size_t>(joint)] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, angle * down)); };
    turn(upper[0], -std::numbers::pi / 2);
    turn(lower[0], std::numbers::pi / 2);
    // On the ball of its foot, the sole upright behind the knee.
    const double rises = std::asin((ballHeight + ballAhead - ankleHeight) / (legLength / 2));
    turn(lower[1], std::numbers::pi / 2 + rises);
    turn(walk.map.joint(Role::rightFoot), -rises);
  }
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  const auto standsAt = [&](int side, int f) {
    return std::any_of(found->feet[static_cast<std::size_t>(side)].spans.begin(), found->feet[static_cast<std::size_t>(side)].spans.end(), [&](const ContactSpan& s) { return s.first <= f && f <= s.last; });
  };
  EXPECT_TRUE(standsAt(0, 250));
  EXPECT_FALSE(standsAt(1, 250));
  EXPECT_TRUE(standsAt(1, 60));
  EXPECT_TRUE(standsAt(1, 410));
}

TEST(Contact, ACarefulStepIsAStep) {
  const Gait gait{.rate = 60};
  // 0.3 m in 0.9 s, lifted by 35 mm: never faster than 0.6 m/s, never as high as the limits of a walk.
  const auto place = [](double t) {
    const double u = std::clamp((t - 2) / 0.9, 0.0, 1.0);
    return Vec3d{0, ankleHeight + 0.035 * 16 * u * u * (1 - u) * (1 - u), 0.3 * u * u * (3 - 2 * u)};
  };
  const Walk walk = build(gait, 301, [&](int side, int f) { return Pose{side == 0 ? place(f / 60.0) : Vec3d{0, ankleHeight, 0}, 0}; });
  const Result<Contacts> found = findContacts(walk.figure, walk.map, walk.motion);
  ASSERT_TRUE(found.ok());
  EXPECT_EQ(found->feet[1].spans.size(), 1U);
  ASSERT_EQ(found->feet[0].spans.size(), 2U);
  EXPECT_NEAR(found->feet[0].spans[0].leaving, 2.1, 0.12);
  EXPECT_NEAR(found->feet[0].spans[1].landing, 2.8, 0.12);
}

TEST(Contact, RefusesWhatItCannotUse) {
  const Walk walk = makeWalk({.rate = 30}, 2);
  SkeletonMap none;
  EXPECT_EQ(findContacts(walk.figure, none, walk.motion).error().fault, Fault::mapping);
  SkeletonMap noLegs = walk.map;
  noLegs.at(Role::leftLowerLeg) = noLegs.at(Role::rightLowerLeg) = {};
  EXPECT_EQ(findContacts(walk.figure, noLegs, walk.motion).error().fault, Fault::mapping);
  SkeletonMap beyond = walk.map;
  beyond.at(Role::leftFoot).joints = {99};
  EXPECT_EQ(findContacts(walk.figure, beyond, walk.motion).error().fault, Fault::mapping);
  Motion empty = walk.motion;
  empty.frames = 0;
  EXPECT_EQ(findContacts(walk.figure, walk.map, empty).error().fault, Fault::input);
  Motion foreign = walk.motion;
  foreign.joints = 3;
  EXPECT_EQ(findContacts(walk.figure, walk.map, foreign).error().fault, Fault::input);
  Motion broken = walk.motion;
  broken.translationsAt(11)[1].y = std::numeric_limits<float>::quiet_NaN();
  const Result<Contacts> bad = findContacts(walk.figure, walk.map, broken);
  ASSERT_FALSE(bad.ok());
  EXPECT_NE(bad.error().where.find("frame 12"), std::string::npos) << bad.error().text();

  SkeletonMap oneFoot = walk.map;
  oneFoot.at(Role::rightFoot) = {};
  const Result<Contacts> one = findContacts(walk.figure, oneFoot, walk.motion);
  ASSERT_TRUE(one.ok());
  EXPECT_EQ(one->issues.size(), 1U);
  EXPECT_TRUE(one->feet[1].phases.empty());
  EXPECT_FALSE(one->feet[0].spans.empty());

  const Result<Motion> single = trimmed(walk.motion, {1, 1});
  ASSERT_TRUE(single.ok());
  EXPECT_TRUE(findContacts(walk.figure, walk.map, *single).ok());

  std::stop_source stop;
  stop.request_stop();
  RunControl control;
  control.stop = stop.get_token();
  EXPECT_EQ(findContacts(walk.figure, walk.map, walk.motion, {}, control).error().fault, Fault::cancelled);
}

}  // namespace
}  // namespace understudy
