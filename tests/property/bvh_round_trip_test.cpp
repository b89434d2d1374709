// What is written as BVH reads back as the same performance.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <numbers>
#include <random>

#include "core/io/bvh.h"
#include "core/io/world_tracks.h"
#include "core/io/write.h"

namespace understudy {
namespace {

constexpr double kDegree = std::numbers::pi / 180;

Quatd randomTurn(std::mt19937& random) {
  std::normal_distribution<double> normal;
  return normalised(Quatd{normal(random), normal(random), normal(random), normal(random)});
}

/// A random tree with random rest rotations, as formats other than BVH have them.
Figure randomFigure(std::mt19937& random, double size, bool restTurns, double scale) {
  Figure figure;
  figure.format = restTurns ? "glTF 2.0" : "BVH";
  std::uniform_real_distribution<double> along(-1, 1);
  const int joints = 2 + static_cast<int>(random() % 30);
  for (int j = 0; j < joints; ++j) {
    Trsd rest;
    rest.translation = Vec3d{along(random), along(random), along(random)} * (size / 4);
    if (restTurns) rest.rotation = randomTurn(random);
    if (j == 1) rest.scale = Vec3d{scale, scale, scale};
    figure.skeleton.add("bone " + std::to_string(j), j == 0 ? -1 : static_cast<int>(random() % static_cast<unsigned>(j)), rest, j);
  }
  return figure;
}

Motion randomMotion(std::mt19937& random, const Skeleton& skeleton, int frames, double size, bool moves) {
  std::vector<int> moved{0};
  if (moves)
    for (int j = 1; j < skeleton.size(); j += 3) moved.push_back(j);
  Motion motion = restMotion(skeleton, frames, {60, 1}, moved);
  for (Quatf& q : motion.rotations) q = Quatf(randomTurn(random));
  std::uniform_real_distribution<float> along(-1, 1);
  for (Vec3f& t : motion.translations) t = Vec3f{along(random), along(random), along(random)} * static_cast<float>(size);
  makeContinuous(motion);
  return motion;
}

/// Joints of the file read back, by name.
void expectSamePerformance(const Figure& figure, const Motion& motion, const Figure& back, double size, const std::string& how) {
  const Motion& read = *back.clips.at(0).sampled;
  ASSERT_EQ(read.frames, motion.frames) << how;
  ASSERT_EQ(read.rate, motion.rate) << how;
  const auto count = figure.skeleton.parents.size(), backCount = back.skeleton.parents.size();
  std::vector<Quatd> turn(count), rest(count), backTurn(backCount);
  std::vector<Vec3d> point(count), restPoint(count), backPoint(backCount);
  const WorldTracks one(figure.skeleton, motion), two(back.skeleton, read);
  one.rest(rest, restPoint);
  for (int f = 0; f < motion.frames; ++f) {
    one.at(f, turn, point);
    two.at(f, backTurn, backPoint);
    for (std::size_t j = 0; j < count; ++j) {
      const auto found = findJoint(back.skeleton, figure.skeleton.names[j]);
      ASSERT_TRUE(found.ok()) << how << ": " << found.error().text();
      const auto b = static_cast<std::size_t>(*found);
      ASSERT_LT(distance(point[j], backPoint[b]), 2e-5 * size) << how << ", frame " << f << ", joint " << j;
      ASSERT_LT(angleBetween(turn[j], normalised(backTurn[b]) * rest[j]), 1e-4 * kDegree * 4) << how << ", frame " << f << ", joint " << j;
    }
  }
}

TEST(BvhRoundTrip, RandomFigures) {
  std::mt19937 random(11);
  for (int round = 0; round < 60; ++round) {
    const bool restTurns = round % 2, moves = round % 3 == 0;
    const double size = round % 4 == 0 ? 1.7 : 170, scale = restTurns && round % 5 == 0 ? 100 : 1;
    const Figure figure = randomFigure(random, size, restTurns, scale);
    const Motion motion = randomMotion(random, figure.skeleton, 12, size, moves);
    BakedClip clip;
    clip.motion = &motion;
    const auto text = bvhText(figure, clip);
    ASSERT_TRUE(text.ok()) << text.error().text();
    const auto back = readBvhText(*text, "back.bvh");
    ASSERT_TRUE(back.ok()) << back.error().text();
    expectSamePerformance(figure, motion, *back, size * scale, "round " + std::to_string(round));
    if (HasFatalFailure()) return;
  }
}

TEST(BvhRoundTrip, TheZeroPoseIsTheRestPose) {
  // Apart from the place of the root, which its position channels hold.
  std::mt19937 random(12);
  const Figure figure = randomFigure(random, 1.7, true, 1);
  const Motion motion = randomMotion(random, figure.skeleton, 2, 1.7, false);
  BakedClip clip;
  clip.motion = &motion;
  const auto text = bvhText(figure, clip);
  ASSERT_TRUE(text.ok());
  const auto back = readBvhText(*text, "back.bvh");
  ASSERT_TRUE(back.ok());
  const auto expected = restWorld(figure.skeleton), found = restWorld(back->skeleton);
  for (int j = 0; j < figure.skeleton.size(); ++j) {
    const auto b = findJoint(back->skeleton, figure.skeleton.names[static_cast<std::size_t>(j)]);
    ASSERT_TRUE(b.ok());
    EXPECT_LT(distance(expected[static_cast<std::size_t>(j)].translation - expected[0].translation, found[static_cast<std::size_t>(*b)].translation), 1e-6);
  }
}

TEST(BvhRoundTrip, AnglesStayFiniteAndExactAtEverySingularity) {
  // Quarter turns about every axis, where one order or another cannot tell two angles apart.
  Figure figure;
  figure.format = "BVH";
  figure.skeleton.add("mast", -1, Trsd{}, 0);
  figure.skeleton.add("yard", 0, Trsd{{0, 10, 0}, {}, {1, 1, 1}}, 1);
  std::vector<Quatd> turns;
  for (int a = -180; a <= 180; a += 90)
    for (int b = -180; b <= 180; b += 90)
      for (int c = -180; c <= 180; c += 90)
        turns.push_back(fromAxisAngle(Vec3d{0, 0, 1}, a * kDegree) * fromAxisAngle(Vec3d{1, 0, 0}, b * kDegree) * fromAxisAngle(Vec3d{0, 1, 0}, c * kDegree));
  Motion motion = restMotion(figure.skeleton, static_cast<int>(turns.size()), {30, 1}, {0});
  for (std::size_t f = 0; f < turns.size(); ++f) motion.rotationsAt(static_cast<int>(f))[1] = Quatf(turns[f]);
  BakedClip clip;
  clip.motion = &motion;
  const auto text = bvhText(figure, clip);
  ASSERT_TRUE(text.ok());
  const auto back = readBvhText(*text, "back.bvh");
  ASSERT_TRUE(back.ok());
  for (std::size_t f = 0; f < turns.size(); ++f)
    EXPECT_LT(angleBetween(Quatd(back->clips[0].sampled->rotationsAt(static_cast<int>(f))[1]), turns[f]), 1e-4 * kDegree) << f;
}

TEST(BvhRoundTrip, PositionsMeanTheSameToReadersThatAddOffsets) {
  std::mt19937 random(13);
  const Figure figure = randomFigure(random, 1.7, true, 1);
  const Motion motion = randomMotion(random, figure.skeleton, 2, 1.7, true);
  BakedClip clip;
  clip.motion = &motion;
  const auto text = bvhText(figure, clip);
  ASSERT_TRUE(text.ok());
  const auto back = readBvhText(*text, "back.bvh");
  ASSERT_TRUE(back.ok());
  const std::vector<int>& moved = back->clips[0].sampled->movedJoints;
  EXPECT_GE(moved.size(), 1u);
  for (int j : moved) EXPECT_EQ(back->skeleton.rest[static_cast<std::size_t>(j)].translation, Vec3d{});
}

TEST(BvhRoundTrip, ABvhComesBackWithItsEndSitesAndNames) {
  const auto figure = readBvhText("HIERARCHY\nROOT keel\n{\nOFFSET 1 2 3\nCHANNELS 6 Xposition Yposition Zposition Xrotation Yrotation Zrotation\nJOINT port arm\n{\n"
                                  "OFFSET 0 10.125 0\nCHANNELS 3 Xrotation Yrotation Zrotation\nEnd Site\n{\nOFFSET 0 5 0\n}\n}\n}\nMOTION\nFrames: 2\nFrame Time: "
                                  "0.0333667\n1 2 3 10 20 30 40 50 60\n4 5 6 -10 -20 -30 -40 -50 -60\n",
                                  "gallery.bvh");
  ASSERT_TRUE(figure.ok());
  BakedClip clip;
  clip.motion = figure->clips[0].sampled.get();
  const auto text = bvhText(*figure, clip);
  ASSERT_TRUE(text.ok());
  const auto back = readBvhText(*text, "back.bvh");
  ASSERT_TRUE(back.ok()) << *text;
  EXPECT_EQ(back->skeleton.names, figure->skeleton.names);
  EXPECT_EQ(back->skeleton.parents, figure->skeleton.parents);
  EXPECT_EQ(back->skeleton.rest, figure->skeleton.rest);
  EXPECT_EQ(back->clips[0].rate, (FrameRate{30000, 1001}));
  const Motion &a = *clip.motion, &b = *back->clips[0].sampled;
  EXPECT_EQ(a.movedJoints, b.movedJoints);
  EXPECT_EQ(a.translations, b.translations);
  for (std::size_t i = 0; i < a.rotations.size(); ++i) EXPECT_LT(angleBetween(Quatd(a.rotations[i]), Quatd(b.rotations[i])), 1e-4 * kDegree);
}

TEST(BvhRoundTrip, RealClips) {
  const std::filesystem::path folder = std::string(UNDERSTUDY_CORPUS) + "/motion";
  if (!std::filesystem::exists(folder)) GTEST_SKIP() << "not found: " << folder;
  int clips = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().extension() != ".bvh") continue;
    const auto figure = readBvh(entry.path().string());
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    BakedClip clip;
    clip.motion = figure->clips[0].sampled.get();
    const auto text = bvhText(*figure, clip);
    ASSERT_TRUE(text.ok()) << text.error().text();
    const auto back = readBvhText(*text, "back.bvh");
    ASSERT_TRUE(back.ok()) << back.error().text();
    ASSERT_EQ(back->skeleton.parents, figure->skeleton.parents);
    const Motion &a = *clip.motion, &b = *back->clips[0].sampled;
    ASSERT_EQ(a.movedJoints, b.movedJoints) << entry.path();
    ASSERT_EQ(a.frames, b.frames);
    double worst = 0;
    for (std::size_t i = 0; i < a.rotations.size(); ++i) worst = std::max(worst, angleBetween(Quatd(a.rotations[i]), Quatd(b.rotations[i])));
    EXPECT_LT(worst, 1e-4 * kDegree) << entry.path();
    ++clips;
  }
  EXPECT_GT(clips, 0);
}

}  // namespace
}  // namespace understudy
