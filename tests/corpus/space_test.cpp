// Unit and up axis of real clips, also with names removed, cut short, turned and rescaled: nothing may hang on the file.
#include <gtest/gtest.h>

#include <filesystem>

#include "core/io/read.h"

namespace understudy {
namespace {

struct Expected {
  const char* file;
  const char* up;
  double metresPerUnit;
};

// As stated by the collection's list of sources.
constexpr Expected kExpected[] = {
    {"gait_walk1_lowerbody.bvh", "+Y", 0.01},      {"gait_fullbody_walk.bvh", "+Y", 0.01},
    {"walk_figure8.bvh", "+Y", 0.0254},            {"cmu_02_07_swordplay.bvh", "+Y", 0.01},
    {"cmu_02_10_wash_self.bvh", "+Y", 0.01},       {"cmu_12_01_walk_tpose_first.bvh", "+Y", 0.05644},
    {"child_zombie_walk_zup.bvh", "+Z", 0.0254},   {"child_dab_zup.bvh", "+Z", 0.0254},
    {"boxing_toes.bvh", "+Y", 0.01},
};

class SpaceOf : public testing::TestWithParam<Expected> {
 protected:
  void SetUp() override {
    const std::string path = std::string(UNDERSTUDY_CORPUS) + "/motion/" + GetParam().file;
    if (!std::filesystem::exists(path)) GTEST_SKIP() << "not found: " << path;
    auto read = readBvh(path);
    ASSERT_TRUE(read.ok()) << read.error().text();
    figure = std::move(*read);
  }
  void expectFound(const Figure& found, const std::string& up, double metres, const std::string& how) {
    EXPECT_EQ(found.space.upName, up) << how;
    EXPECT_NEAR(found.space.metresPerUnit / metres, 1, 1e-3) << how;
    const Vec3d axis{up[1] == 'X' ? 1.0 : 0.0, up[1] == 'Y' ? 1.0 : 0.0, up[1] == 'Z' ? 1.0 : 0.0};
    EXPECT_LT(distance(rotate(found.space.worldFromFile, up[0] == '-' ? -axis : axis), Vec3d{0, 1, 0}), 1e-12) << how;
  }
  void replaceMotion(Figure& f, Motion motion) { f.clips.front().sampled = std::make_shared<Motion>(std::move(motion)); }
  Figure figure;
};

TEST_P(SpaceOf, IsFound) {
  expectFound(figure, GetParam().up, GetParam().metresPerUnit, "as it is");
  EXPECT_FALSE(figure.space.unitStated);
  EXPECT_FALSE(figure.space.upStated);
}

TEST_P(SpaceOf, IsFoundWithoutNames) {
  for (std::string& name : figure.skeleton.names) name.clear();
  detectSpace(figure, {});
  expectFound(figure, GetParam().up, GetParam().metresPerUnit, "no names");
}

TEST_P(SpaceOf, IsFoundFromSecondsOfTheClip) {
  const Motion whole = *figure.clips.front().sampled;
  const int length = std::min(whole.frames, static_cast<int>(2 * whole.rate.hertz()));
  int right = 0, tried = 0;
  for (int first = 1; first + length - 1 <= whole.frames; first += length) {
    Figure part = figure;
    replaceMotion(part, *trimmed(whole, {first, first + length - 1}));
    detectSpace(part, {});
    ++tried;
    right += part.space.upName == GetParam().up && std::abs(part.space.metresPerUnit / GetParam().metresPerUnit - 1) < 1e-3;
  }
  // A performer who lies on the floor for two seconds may mislead; nine parts in ten may not.
  EXPECT_GE(right, (tried * 9 + 9) / 10) << right << " of " << tried;
}

TEST_P(SpaceOf, FollowsATurnedFile) {
  // The whole file turned so that its up becomes another axis.
  const Quatd toY = figure.space.worldFromFile;
  const struct {
    const char* up;
    Quatd fromY;
  } turns[] = {{"+Y", {}}, {"-Y", {0, 1, 0, 0}}, {"+Z", {std::sqrt(.5), std::sqrt(.5), 0, 0}}, {"-Z", {std::sqrt(.5), -std::sqrt(.5), 0, 0}},
               {"+X", {std::sqrt(.5), 0, 0, -std::sqrt(.5)}}, {"-X", {std::sqrt(.5), 0, 0, std::sqrt(.5)}}};
  for (const auto& turn : turns) {
    const Quatd by = turn.fromY * toY;
    Figure turned = figure;
    for (Trsd& rest : turned.skeleton.rest) rest.translation = rotate(by, rest.translation);
    Motion motion = *figure.clips.front().sampled;
    for (Quatf& q : motion.rotations) q = Quatf(by * Quatd(q) * conjugate(by));
    for (Vec3f& t : motion.translations) t = Vec3f(rotate(by, Vec3d(t)));
    replaceMotion(turned, std::move(motion));
    detectSpace(turned, {});
    EXPECT_EQ(turned.space.upName, turn.up);
  }
}

TEST_P(SpaceOf, FollowsARescaledFile) {
  for (const double metres : {1.0, 0.01, 0.0254, 0.001, 0.0254 / 0.45}) {
    const double by = GetParam().metresPerUnit / metres;
    Figure scaled = figure;
    for (Trsd& rest : scaled.skeleton.rest) rest.translation = rest.translation * by;
    Motion motion = *figure.clips.front().sampled;
    for (Vec3f& t : motion.translations) t = t * static_cast<float>(by);
    replaceMotion(scaled, std::move(motion));
    detectSpace(scaled, {});
    expectFound(scaled, GetParam().up, metres, "unit " + std::to_string(metres) + " m");
  }
}

TEST_P(SpaceOf, IsFoundWhereTheZeroPoseIsNoPose) {
  // The same performance with every joint's own X along its first bone, so that the zero pose is one straight line.
  Skeleton& skeleton = figure.skeleton;
  std::vector<Quatd> frame(skeleton.parents.size());
  const auto children = childrenOf(skeleton);
  for (std::size_t j = 0; j < frame.size(); ++j)
    for (int c : children[j])
      if (const Vec3d bone = skeleton.rest[static_cast<std::size_t>(c)].translation; length(bone) > 1e-3) {
        frame[j] = rotationBetween(Vec3d{1, 0, 0}, normalised(bone));
        break;
      }
  Motion motion = *figure.clips.front().sampled;
  for (int f = 0; f < motion.frames; ++f) {
    const auto turns = motion.rotationsAt(f);
    for (std::size_t j = 0; j < frame.size(); ++j) {
      const int p = skeleton.parents[j];
      turns[j] = Quatf((p < 0 ? Quatd{} : conjugate(frame[static_cast<std::size_t>(p)])) * Quatd(turns[j]) * frame[j]);
    }
  }
  ASSERT_EQ(motion.movedJoints, std::vector<int>{0});
  for (std::size_t j = 1; j < frame.size(); ++j)
    skeleton.rest[j].translation = rotate(conjugate(frame[static_cast<std::size_t>(skeleton.parents[j])]), skeleton.rest[j].translation);
  replaceMotion(figure, std::move(motion));
  for (const bool names : {true, false}) {
    if (!names)
      for (std::string& name : skeleton.names) name.clear();
    detectSpace(figure, {});
    expectFound(figure, GetParam().up, GetParam().metresPerUnit, names ? "with names" : "without names");
  }
}

TEST_P(SpaceOf, IsFoundFromTheRestPoseAlone) {
  replaceMotion(figure, restMotion(figure.skeleton, 1, {30, 1}));
  for (const bool names : {true, false}) {
    if (!names)
      for (std::string& name : figure.skeleton.names) name.clear();
    detectSpace(figure, {});
    expectFound(figure, GetParam().up, GetParam().metresPerUnit, names ? "with names" : "without names");
  }
}

TEST_P(SpaceOf, IsOverridden) {
  ReadSettings settings;
  settings.up = "-X";
  settings.metresPerUnit = 0.5;
  detectSpace(figure, settings);
  EXPECT_EQ(figure.space.upName, "-X");
  EXPECT_EQ(figure.space.metresPerUnit, 0.5);
  EXPECT_TRUE(figure.space.upStated && figure.space.unitStated);
}

INSTANTIATE_TEST_SUITE_P(Clips, SpaceOf, testing::ValuesIn(kExpected), [](const auto& clip) {
  std::string name = clip.param.file;
  name.resize(name.find('.'));
  return name;
});

}  // namespace
}  // namespace understudy
