// Invariances of retargeting (geometry): the same body written differently moves the same way.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/retarget/retarget.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;

struct Body {
  Figure figure;
  SkeletonMap map;
};

/// A stick figure 1.7 m tall in centimetres: arms `armDown` degrees below horizontal, shorter legs by `legs`.
Body makeBody(double armDown, double legs = 1, double unit = 0.01) {
  Body body;
  Figure& f = body.figure;
  f.format = "BVH";
  f.space.metresPerUnit = unit;
  const double s = 0.01 / unit;
  std::vector<Vec3d> world;
  const auto add = [&](Role role, int parent, Vec3d at) {
    at = at * s;
    const Vec3d local = parent < 0 ? at : at - world[parent];
    const int j = f.skeleton.add(std::string(roleName(role)), parent, {local, {}, {1, 1, 1}}, f.skeleton.size());
    world.push_back(at);
    body.map.at(role) = {{j}, 1, ""};
    return j;
  };
  const double hip = 90 * legs;
  const int hips = add(Role::hips, -1, {0, hip + 5, 0});
  const int spine = add(Role::spine, hips, {0, hip + 15, 0});
  const int chest = add(Role::chest, spine, {0, hip + 35, 0});
  const int neck = add(Role::neck, chest, {0, hip + 58, 0});
  add(Role::head, neck, {0, hip + 66, 2});
  for (const double side : {1.0, -1.0}) {
    const bool left = side > 0;
    const int thigh = add(left ? Role::leftUpperLeg : Role::rightUpperLeg, hips, {9 * side, hip, 0});
    const int shank = add(left ? Role::leftLowerLeg : Role::rightLowerLeg, thigh, {9 * side, hip * 0.53, 1});
    const int foot = add(left ? Role::leftFoot : Role::rightFoot, shank, {9 * side, 8, -2});
    add(left ? Role::leftToes : Role::rightToes, foot, {9 * side, 2, 12});
    const Vec3d shoulder{18 * side, hip + 52, 0};
    const Vec3d along{side * std::cos(armDown * degree), -std::sin(armDown * degree), 0};
    const int upper = add(left ? Role::leftUpperArm : Role::rightUpperArm, chest, shoulder);
    const int lower = add(left ? Role::leftLowerArm : Role::rightLowerArm, upper, shoulder + along * 28.0);
    add(left ? Role::leftHand : Role::rightHand, lower, shoulder + along * 54.0);
  }
  return body;
}

/// A seeded performance: smooth turns of every joint about changing axes, hips travelling.
Motion makeMotion(const Figure& figure, unsigned seed, int frames = 40) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> uniform(-1, 1);
  Motion m = restMotion(figure.skeleton, frames, {30, 1}, {0});
  for (int j = 0; j < m.joints; ++j) {
    const Vec3d a{uniform(random), uniform(random), uniform(random)}, b{uniform(random), uniform(random), uniform(random)};
    for (int f = 0; f < frames; ++f)
      m.rotationsAt(f)[j] = Quatf(expOf(a * (0.7 * std::sin(f * 0.11)) + b * (0.5 * std::cos(f * 0.17))));
  }
  for (int f = 0; f < frames; ++f)
    m.translationsAt(f)[0] = Vec3f(Vec3d(figure.skeleton.rest[0].translation) + Vec3d{3.0 * f, 5 * std::sin(0.2 * f), -1.5 * f} * (0.01 / figure.space.metresPerUnit));
  return m;
}

/// The same body with every joint's local frame turned at random: the world stays.
Body turnedFrames(const Body& body, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  Body out = body;
  Skeleton& s = out.figure.skeleton;
  std::vector<Quatd> turn(s.parents.size());
  for (Quatd& q : turn) q = normalised(Quatd{normal(random), normal(random), normal(random), normal(random)});
  for (int j = 0; j < s.size(); ++j) {
    const Quatd above = s.parents[j] < 0 ? Quatd{} : turn[s.parents[j]];
    s.rest[j].translation = rotate(conjugate(above), body.figure.skeleton.rest[j].translation);
    s.rest[j].rotation = conjugate(above) * body.figure.skeleton.rest[j].rotation * turn[j];
  }
  return out;
}

/// The same body below one more node that scales and turns.
Body below(const Body& body, const Trsd& parent) {
  Body out = body;
  Skeleton s;
  s.add("armature", -1, parent, 100);
  const Affined back = inverse(Affined(parent));
  for (int j = 0; j < body.figure.skeleton.size(); ++j) {
    Trsd rest = body.figure.skeleton.rest[j];
    if (body.figure.skeleton.parents[j] < 0) {
      rest.translation = apply(back, rest.translation);
      rest.rotation = conjugate(parent.rotation) * rest.rotation;
    } else {
      rest.translation = rest.translation / parent.scale.x;
    }
    s.add(body.figure.skeleton.names[j], body.figure.skeleton.parents[j] + 1, rest, j);
  }
  out.figure.skeleton = s;
  for (RoleJoints& r : out.map.roles)
    for (int& j : r.joints) ++j;
  return out;
}

std::vector<Vec3d> rolePositions(const Body& body, const Retargeted& r, int frame) {
  const Affined w = worldFromFile(body.figure, r.report.characterReference);
  const auto world = worldAt(body.figure.skeleton, r.motion, frame);
  std::vector<Vec3d> out;
  for (const RoleJoints& role : body.map.roles)
    if (!role.empty()) out.push_back(apply(w, world[role.first()].translation));
  return out;
}

void expectSameWorld(const Body& a, const Retargeted& ra, const Body& b, const Retargeted& rb, double tolerance) {
  double worst = 0;
  for (int f = 0; f < ra.motion.frames; ++f) {
    const auto pa = rolePositions(a, ra, f), pb = rolePositions(b, rb, f);
    ASSERT_EQ(pa.size(), pb.size());
    for (std::size_t i = 0; i < pa.size(); ++i) worst = std::max(worst, distance(pa[i], pb[i]));
  }
  EXPECT_LE(worst, tolerance);
}

Retargeted run(const Body& performer, const Motion& motion, const Body& character, const RetargetSettings& settings = {}) {
  Result<Retargeted> r = retarget(performer.figure, motion, character.figure, {performer.map, character.map}, settings);
  EXPECT_TRUE(r.ok()) << (r.ok() ? "" : r.error().text());
  return r.ok() ? std::move(r.value()) : Retargeted{};
}

constexpr double height = 1.7;

TEST(RetargetInvariance, RandomRestFramesGiveTheSameWorld) {
  const Body performer = makeBody(0), character = makeBody(45, 0.7);
  const Motion motion = makeMotion(performer.figure, 1);
  const Retargeted plain = run(performer, motion, character);
  for (unsigned seed = 1; seed <= 5; ++seed) {
    const Body turned = turnedFrames(character, seed);
    expectSameWorld(character, plain, turned, run(performer, motion, turned), 1e-5 * height);
  }
}

TEST(RetargetInvariance, ScaledOrTurnedParentGivesTheSameWorld) {
  const Body performer = makeBody(0), character = makeBody(30, 0.8);
  const Motion motion = makeMotion(performer.figure, 2);
  const Retargeted plain = run(performer, motion, character);
  const Trsd parents[] = {{{0, 0, 0}, {}, {100, 100, 100}},
                          {{5, -3, 2}, fromAxisAngle(Vec3d{1, 0, 0}, -M_PI / 2), {1, 1, 1}},
                          {{0, 1, 0}, fromAxisAngle(normalised(Vec3d{1, 1, 0}), 1.1), {0.01, 0.01, 0.01}},
                          {{0, 0, 0}, {}, {-1, -1, -1}}};
  for (const Trsd& parent : parents) {
    const Body b = below(character, parent);
    expectSameWorld(character, plain, b, run(performer, motion, b), 1e-5 * height);
    // On the performer's side as well.
    const Body p = below(performer, parent);
    Motion m = restMotion(p.figure.skeleton, motion.frames, motion.rate, {1});
    for (int f = 0; f < motion.frames; ++f) {
      for (int j = 0; j < motion.joints; ++j) m.rotationsAt(f)[j + 1] = motion.rotationsAt(f)[j];
      m.rotationsAt(f)[1] = Quatf(conjugate(parent.rotation) * Quatd(motion.rotationsAt(f)[0]));
      m.translationsAt(f)[0] = Vec3f(apply(inverse(Affined(parent)), Vec3d(motion.translationsAt(f)[0])));
    }
    expectSameWorld(character, plain, character, run(p, m, character), 2e-5 * height);
  }
}

TEST(RetargetInvariance, TPosedAndAPosedCharacterGetTheSameLimbDirections) {
  const Body performer = makeBody(0), t = makeBody(0, 0.8), a = makeBody(50, 0.8);
  const Motion motion = makeMotion(performer.figure, 3);
  const Retargeted rt = run(performer, motion, t), ra = run(performer, motion, a);
  for (int f = 0; f < motion.frames; ++f) {
    const auto wt = worldAt(t.figure.skeleton, rt.motion, f), wa = worldAt(a.figure.skeleton, ra.motion, f);
    for (const Role r : {Role::leftUpperArm, Role::rightLowerArm, Role::leftUpperLeg, Role::rightLowerLeg}) {
      const Role next = roleAt(indexOf(r) + 1);
      const Vec3d dt = wt[t.map.joint(next)].translation - wt[t.map.joint(r)].translation;
      const Vec3d da = wa[a.map.joint(next)].translation - wa[a.map.joint(r)].translation;
      EXPECT_LE(angleBetween(dt, da), 0.5 * degree);
    }
  }
}

TEST(RetargetInvariance, SelfRetargetIsTheIdentity) {
  const Body body = turnedFrames(makeBody(20), 9);
  Motion motion = makeMotion(body.figure, 4);
  makeContinuous(motion);
  const Retargeted r = run(body, motion, body);
  double turn = 0, shift = 0;
  for (int f = 0; f < motion.frames; ++f) {
    for (int j = 0; j < motion.joints; ++j)
      turn = std::max(turn, angleBetween(Quatd(motion.rotationsAt(f)[j]), Quatd(r.motion.rotationsAt(f)[j])));
    shift = std::max(shift, static_cast<double>(distance(motion.translationsAt(f)[0], r.motion.translationsAt(f)[0])) * 0.01);
  }
  EXPECT_LE(turn, 1e-4);
  EXPECT_LE(shift, 1e-5);
  EXPECT_EQ(r.report.groundOffset, 0);
}

TEST(RetargetInvariance, ZUpFileMovesLikeYUpFile) {
  const Body performer = makeBody(0), character = makeBody(40, 0.75);
  const Motion motion = makeMotion(performer.figure, 5);
  const Retargeted plain = run(performer, motion, character);
  // Y up → Z up is a quarter turn about X; roots carry it, everything below stays.
  Body z = character;
  const Quatd turn = fromAxisAngle(Vec3d{1, 0, 0}, M_PI / 2);
  z.figure.skeleton.rest[0].rotation = turn * z.figure.skeleton.rest[0].rotation;
  z.figure.skeleton.rest[0].translation = rotate(turn, z.figure.skeleton.rest[0].translation);
  z.figure.space.worldFromFile = conjugate(turn);
  expectSameWorld(character, plain, z, run(performer, motion, z), 1e-5 * height);
}

TEST(RetargetInvariance, MovingThePerformersWorldMovesTheResult) {
  const Body performer = makeBody(0), character = makeBody(40, 0.75);
  const Motion motion = makeMotion(performer.figure, 6);
  Motion turned = motion;
  const Quatd yaw = fromAxisAngle(Vec3d{0, 1, 0}, 0.8);
  const Vec3d shift{140, 0, -60};
  for (int f = 0; f < motion.frames; ++f) {
    turned.rotationsAt(f)[0] = Quatf(yaw * Quatd(motion.rotationsAt(f)[0]));
    turned.translationsAt(f)[0] = Vec3f(rotate(yaw, Vec3d(motion.translationsAt(f)[0])) + shift);
  }
  RetargetSettings settings;
  settings.ground = false;
  const Retargeted a = run(performer, motion, character, settings), b = run(performer, turned, character, settings);
  double worst = 0;
  for (int f = 0; f < motion.frames; ++f) {
    const auto pa = rolePositions(character, a, f), pb = rolePositions(character, b, f);
    for (std::size_t i = 0; i < pa.size(); ++i) worst = std::max(worst, distance(rotate(yaw, pa[i]) + shift * (0.01 * a.report.stride), pb[i]));
  }
  EXPECT_LE(worst, 1e-5 * height);
}

TEST(RetargetInvariance, SameBytesTwice) {
  const Body performer = makeBody(0), character = makeBody(40, 0.75);
  const Motion motion = makeMotion(performer.figure, 7);
  EXPECT_EQ(run(performer, motion, character).motion, run(performer, motion, character).motion);
}

TEST(RetargetErrors, NameWhatIsMissing) {
  const Body performer = makeBody(0), character = makeBody(40);
  const Motion motion = makeMotion(performer.figure, 8);
  BoneMap map{performer.map, character.map};
  map.character.at(Role::leftLowerLeg) = {};
  const Result<Retargeted> r = retarget(performer.figure, motion, character.figure, map);
  ASSERT_FALSE(r.ok());
  EXPECT_EQ(r.error().fault, Fault::mapping);
  EXPECT_NE(r.error().text().find("leftLowerLeg"), std::string::npos);
  Motion broken = motion;
  broken.rotationsAt(3)[2].x = NAN;
  EXPECT_FALSE(retarget(performer.figure, broken, character.figure, {performer.map, character.map}).ok());
  EXPECT_FALSE(retarget(performer.figure, Motion{}, character.figure, {performer.map, character.map}).ok());
}

}  // namespace
}  // namespace understudy
