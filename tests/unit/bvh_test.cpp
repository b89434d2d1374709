// What the BVH reader makes of every spelling, and what it says about every flaw.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <string>

#include "core/io/bvh.h"

namespace understudy {
namespace {

constexpr const char* kArm = R"(HIERARCHY
ROOT keel
{
  OFFSET 1 2 3
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT port arm
  {
    OFFSET 0 10 0
    CHANNELS 3 Yrotation Xrotation Zrotation
    End Site
    {
      OFFSET 0 5 0
    }
  }
}
)";

std::string withMotion(std::string_view rows, int frames = 1, std::string_view time = "0.0333333") {
  return std::string(kArm) + "MOTION\nFrames: " + std::to_string(frames) + "\nFrame Time: " + std::string(time) + "\n" + std::string(rows);
}

Result<Figure> read(std::string_view text) { return readBvhText(text, "gallery.bvh"); }

const Motion& motionOf(const Figure& figure) { return *figure.clips.front().sampled; }

Quatd turn(char axis, double degrees) {
  const double half = degrees * std::numbers::pi / 360;
  Quatd q{std::cos(half), 0, 0, 0};
  (axis == 'X' ? q.x : axis == 'Y' ? q.y : q.z) = std::sin(half);
  return q;
}

bool says(const Issues& issues, std::string_view part) {
  for (const Issue& issue : issues)
    if (issue.text().find(part) != std::string::npos) return true;
  return false;
}

constexpr const char* kRow = "4 5 6 10 20 30 40 50 60\n";

TEST(Bvh, ReadsJointsOffsetsAndEndSites) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const Skeleton& skeleton = figure->skeleton;
  ASSERT_EQ(skeleton.size(), 3);
  EXPECT_EQ(skeleton.names, (std::vector<std::string>{"keel", "port arm", ""}));
  EXPECT_EQ(skeleton.parents, (std::vector<int>{-1, 0, 1}));
  EXPECT_EQ(skeleton.fileNodes, (std::vector<int>{0, 1, 2}));
  EXPECT_EQ(skeleton.rest[2].translation, (Vec3d{0, 5, 0}));
  EXPECT_EQ(motionOf(*figure).rate, (FrameRate{30, 1}));
  EXPECT_EQ(motionOf(*figure).movedJoints, std::vector<int>{0});
  EXPECT_EQ(figure->clips.front().name, "gallery");
}

TEST(Bvh, TheUsualSpellingNeedsNoRemark) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok());
  for (const Issue& issue : figure->issues) EXPECT_NE(issue.severity, Severity::warning) << issue.text();
}

TEST(Bvh, SurplusRowsAreCountedAndIgnored) {
  const auto figure = read(withMotion(std::string(kRow) + kRow + kRow));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).frames, 1);
  EXPECT_TRUE(says(figure->issues, "2 rows more"));
}

TEST(Bvh, RotationsFollowTheOrderOfTheChannels) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok());
  const auto q = motionOf(*figure).rotationsAt(0);
  EXPECT_LT(angleBetween(Quatd(q[0]), turn('Z', 10) * turn('X', 20) * turn('Y', 30)), 1e-6);
  EXPECT_LT(angleBetween(Quatd(q[1]), turn('Y', 40) * turn('X', 50) * turn('Z', 60)), 1e-6);
  EXPECT_EQ(q[2], Quatf{});
}

TEST(Bvh, PositionChannelsReplaceTheOffset) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).translations.front(), (Vec3f{4, 5, 6}));
}

TEST(Bvh, EveryOrderOfThreeAxes) {
  for (const std::string order : {"XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX", "XYX", "ZYZ", "YYX"}) {
    std::string text = "HIERARCHY\nROOT a\n{\nOFFSET 0 0 0\nCHANNELS 3";
    for (char axis : order) text += std::string(" ") + axis + "rotation";
    text += "\n}\nMOTION\nFrames: 1\nFrame Time: 0.01\n-171.5 93.25 222.125\n";
    const auto figure = read(text);
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    const Quatd expected = turn(order[0], -171.5) * turn(order[1], 93.25) * turn(order[2], 222.125);
    EXPECT_LT(angleBetween(Quatd(motionOf(*figure).rotations[0]), expected), 1e-6) << order;
  }
}

}  // namespace
}  // namespace understudy
