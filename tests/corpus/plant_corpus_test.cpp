// Contacts found on captured performers, planted on characters, measured from joint world transforms alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "core/io/read.h"
#include "core/repair/plant.h"
#include "core/retarget/retarget.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

const std::string corpus = UNDERSTUDY_CORPUS;

Figure read(const std::string& name) {
  ReadSettings settings;
  settings.readerProgram = std::string(UNDERSTUDY_BINARY) + "/bin/understudy-reader";
  Result<Figure> figure = readFigure(corpus + "/" + name, settings);
  EXPECT_TRUE(figure.ok()) << (figure.ok() ? "" : figure.error().text());
  return figure.ok() ? std::move(figure.value()) : Figure{};
}

class PlantedPair : public testing::TestWithParam<std::pair<const char*, const char*>> {};

TEST_P(PlantedPair, SolesStandStill) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const auto [performerName, characterName] = GetParam();
  const Figure performer = read("motion/" + std::string(performerName)), character = read("characters/" + std::string(characterName));
  const BoneMap map{truthMap(corpus, performerName, performer), truthMap(corpus, characterName, character)};
  const Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<Retargeted> plain = retarget(performer, *clip, character, map);
  ASSERT_TRUE(plain.ok()) << plain.error().text();
  const Result<Contacts> contacts = findContacts(performer, map.performer, *clip);
  ASSERT_TRUE(contacts.ok()) << contacts.error().text();
  const std::vector<Plant> plants = plantsOf(*contacts, plain->report.characterLeg / plain->report.performerLeg);
  ASSERT_FALSE(plants.empty());
  const Result<Motion> stood = standOnPlants(character, map.character, plain->motion, plants);
  ASSERT_TRUE(stood.ok()) << stood.error().text();
  const Result<Planted> result = plantFeet(character, map.character, *stood, plants);
  ASSERT_TRUE(result.ok()) << result.error().text();

  const ReferencePose& reference = plain->report.characterReference;
  const Affined world = worldFromFile(character, reference);
  const auto soles = findSoles(character, map.character, reference.fileWorld, rotate(conjugate(character.space.worldFromFile), Vec3d{0, 1, 0}));
  const double size = reference.height / 1.7, release = PlantSettings{}.release;
  const auto at = [&](const Motion& m, int side, int frame) {
    const auto pose = worldAt(character.skeleton, m, frame);
    std::vector<Vec3d> points;
    for (const JointPoint& p : soles[side].points) points.push_back(apply(world, apply(pose[p.joint], p.local)));
    return points;
  };
  double slide = 0, plainSlide = 0, off = 0, plainOff = 0, missed = 0;
  int frames = 0, unreached = 0;
  for (const Plant& p : plants) {
    const int held = p.last - static_cast<int>(release * (p.last - p.first + 1));
    for (int f = p.first; f <= p.last; ++f) {
      ++frames;
      const double miss = result->residual[p.side][f];
      missed = std::max(missed, miss);
      if (miss > 1e-4 * size) {
        ++unreached;
        continue;
      }
      const auto low = [](const std::vector<Vec3d>& v) { return std::min_element(v.begin(), v.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; }) - v.begin(); };
      const auto now = at(result->motion, p.side, f), was = at(*stood, p.side, f);
      off = std::max(off, std::abs(now[low(now)].y - p.ground));
      plainOff = std::max(plainOff, std::abs(was[low(was)].y - p.ground));
      if (f >= held || result->residual[p.side][f + 1] > 1e-4 * size) continue;
      // Every point that is down in this frame and the next has stayed.
      const auto next = at(result->motion, p.side, f + 1), then = at(*stood, p.side, f + 1);
      for (std::size_t i = 0; i < now.size(); ++i)
        if (now[i].y - p.ground < 1e-4 * size && next[i].y - p.ground < 1e-4 * size) slide = std::max(slide, distance(now[i], next[i]));
      plainSlide = std::max(plainSlide, distance(was[low(was)], then[low(was)]));
    }
  }
  std::printf("%s on %s: %zu plants, %d frames, %d out of reach (worst %.1f mm); lowest point %.3f mm off (before %.1f); slide a frame %.3f mm (before %.1f); "
              "pelvis at most %.1f mm; height %.2f m\n",
              performerName, characterName, plants.size(), frames, unreached, missed * 1000, off * 1000, plainOff * 1000, slide * 1000, plainSlide * 1000,
              *std::max_element(result->pelvisDrop.begin(), result->pelvisDrop.end()) * 1000, reference.height);
  EXPECT_LE(off, 1e-3 * size);
  EXPECT_LE(slide, 1e-4 * size);
  EXPECT_LT(unreached, frames / 2);
}

INSTANTIATE_TEST_SUITE_P(Corpus, PlantedPair,
                         testing::Values(std::pair{"gait_fullbody_walk.bvh", "CesiumMan.gltf"}, std::pair{"walk_figure8.bvh", "KayKit_Knight.glb"},
                                         std::pair{"gait_fullbody_walk.bvh", "RobotExpressive.glb"}, std::pair{"cmu_12_01_walk_tpose_first.bvh", "CesiumMan.gltf"}));

}  // namespace
}  // namespace understudy
