// Damaged BVH text: cut at every byte, with bytes changed, with counts and nesting no body has. Whatever comes back must
// be a message or a sound figure.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/io/bvh.h"

namespace understudy {
namespace {

const std::string kText = R"(HIERARCHY
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
MOTION
Frames: 3
Frame Time: 0.0333333
4 5 6 10 20.5 -30 4e1 50 60
4.1 5 6 10 21.5 -30 4e1 51 60
4.2 5 6 10 22.5 -30 4e1 52 60
)";

void expectSound(const Result<Figure>& figure, const std::string& how) {
  if (!figure.ok()) {
    EXPECT_FALSE(figure.error().what.empty()) << how;
    EXPECT_FALSE(figure.error().where.empty()) << how;
    return;
  }
  const Skeleton& skeleton = figure->skeleton;
  ASSERT_GT(skeleton.size(), 0) << how;
  ASSERT_EQ(figure->clips.size(), 1u) << how;
  const Motion& motion = *figure->clips[0].sampled;
  ASSERT_GE(motion.frames, 1) << how;
  ASSERT_EQ(motion.rotations.size(), static_cast<std::size_t>(motion.frames) * skeleton.parents.size()) << how;
  ASSERT_EQ(motion.translations.size(), static_cast<std::size_t>(motion.frames) * motion.movedJoints.size()) << how;
  for (const Quatf& q : motion.rotations) ASSERT_NEAR(dot(q, q), 1, 1e-5) << how;
  for (const Vec3f& t : motion.translations) ASSERT_TRUE(isFinite(t)) << how;
  for (int j = 0; j < skeleton.size(); ++j) ASSERT_LT(skeleton.parents[static_cast<std::size_t>(j)], j) << how;
  ASSERT_TRUE(std::isfinite(figure->space.metresPerUnit) && figure->space.metresPerUnit > 0) << how;
}

TEST(BvhRobust, CutAtEveryByte) {
  for (std::size_t length = 0; length <= kText.size(); ++length) {
    // A buffer of exactly that size, so that a sanitizer sees any read beyond it.
    const std::vector<char> part(kText.begin(), kText.begin() + static_cast<std::ptrdiff_t>(length));
    expectSound(readBvhText({part.data(), part.size()}, "cut.bvh"), "cut at " + std::to_string(length));
  }
}

TEST(BvhRobust, ChangedBytes) {
  std::mt19937 random(20);
  int accepted = 0;
  for (int round = 0; round < 20000; ++round) {
    std::string text = kText;
    const int changes = 1 + static_cast<int>(random() % 4);
    for (int i = 0; i < changes; ++i) {
      const std::size_t at = random() % text.size();
      switch (random() % 4) {
        case 0: text[at] = static_cast<char>(random() % 256); break;
        case 1: text.erase(at, 1 + random() % 8); break;
        case 2: text.insert(at, 1, static_cast<char>(32 + random() % 96)); break;
        default: text.insert(at, text.substr(random() % text.size(), random() % 30)); break;
      }
      if (text.empty()) text = " ";
    }
    const auto figure = readBvhText(text, "changed.bvh");
    accepted += figure.ok();
    expectSound(figure, "round " + std::to_string(round));
    if (HasFatalFailure()) return;
  }
  EXPECT_GT(accepted, 100);  // otherwise the changes only ever test the first error
}

std::string withHeader(const std::string& frames) {
  std::string text = kText;
  text.replace(text.find("Frames: 3"), 9, "Frames: " + frames);
  return text;
}

TEST(BvhRobust, AbsurdFrameCountsAllocateNothing) {
  for (const char* frames : {"4000000000", "9223372036854775807", "18446744073709551616", "1e300", "1e999"}) {
    const auto figure = readBvhText(withHeader(frames), "long.bvh");
    expectSound(figure, frames);
    if (figure.ok()) {
      EXPECT_EQ(figure->clips[0].sampled->frames, 3) << frames;
      EXPECT_LT(figure->clips[0].sampled->rotations.capacity(), 1000u);
    }
  }
  expectSound(readBvhText(withHeader("2.5"), "half.bvh"), "half a frame");
}

TEST(BvhRobust, AbsurdChannelCounts) {
  for (const char* count : {"1000000000", "-3", "0", "1e18", "2.5"}) {
    std::string text = kText;
    text.replace(text.find("CHANNELS 3"), 10, std::string("CHANNELS ") + count);
    expectSound(readBvhText(text, "channels.bvh"), count);
  }
}

std::string nested(int depth) {
  std::string text = "HIERARCHY\n";
  for (int d = 0; d < depth; ++d) text += (d ? "JOINT a\n{\nOFFSET 0 1 0\n" : "ROOT a\n{\nOFFSET 0 1 0\nCHANNELS 1 Xrotation\n");
  for (int d = 0; d < depth; ++d) text += "}\n";
  return text + "MOTION\nFrames: 2\nFrame Time: 0.01\n1\n2\n";
}

TEST(BvhRobust, DeepNesting) {
  expectSound(readBvhText(nested(9000), "deep.bvh"), "9000");
  EXPECT_TRUE(readBvhText(nested(9000), "deep.bvh").ok());
  const auto deeper = readBvhText(nested(200000), "deep.bvh");
  ASSERT_FALSE(deeper.ok());
  EXPECT_NE(deeper.error().what.find("nested"), std::string::npos);
}

TEST(BvhRobust, ManyChildrenAndLongNames) {
  std::string text = "HIERARCHY\nROOT " + std::string(100000, 'x') + "\n{\nOFFSET 0 0 0\nCHANNELS 1 Xrotation\n";
  for (int i = 0; i < 20000; ++i) text += "JOINT a { OFFSET 1 1 1 }\n";
  text += "}\nMOTION\nFrames: 1\nFrame Time: 0.01\n5\n";
  const auto figure = readBvhText(text, "wide.bvh");
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(figure->skeleton.size(), 20001);
}

TEST(BvhRobust, OnlyBinaryNoise) {
  std::mt19937 random(7);
  for (int round = 0; round < 500; ++round) {
    std::string text = round % 2 ? "HIERARCHY " : "";
    for (int i = 0; i < 400; ++i) text += static_cast<char>(random() % 256);
    expectSound(readBvhText(text, "noise.bvh"), "noise " + std::to_string(round));
  }
}

}  // namespace
}  // namespace understudy
