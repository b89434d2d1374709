// Contacts found on captured performers, planted on characters, judged by the skin alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <sstream>

#include "core/inspect/plants.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/repair/plant.h"
#include "core/retarget/retarget.h"
#include "tests/support/corpus.h"
#include "tests/support/fixtures.h"
#include "tests/support/plant_check.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {


const std::vector<std::string> performers{"gait_fullbody_walk.bvh", "gait_walk1_lowerbody.bvh", "walk_figure8.bvh", "cmu_12_01_walk_tpose_first.bvh",
                                          "cmu_02_07_swordplay.bvh", "cmu_02_10_wash_self.bvh", "child_zombie_walk_zup.bvh", "child_dab_zup.bvh",
                                          "boxing_toes.bvh", "cmu_07_01_walk.fbx"};
const std::vector<std::string> characters{"CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx"};

std::shared_ptr<const Figure> read(const std::string& name) {
  static std::map<std::string, std::shared_ptr<const Figure>> known;
  if (const auto at = known.find(name); at != known.end()) return at->second;
  return known[name] = std::make_shared<const Figure>(readCorpus(name));
}

struct Planted {
  Motion before, after;
  std::vector<Repair> repairs;
  std::vector<test::JudgedPlant> judged;
  std::vector<Residual> residuals;
  double height = 0;
  Issues issues;
};

/// How far the performer's own toe (its joint or its tip) travels over the frames of a plant's release, metres.
double toeTravel(const Figure& performer, const SkeletonMap& map, const Motion& clip, FrameRate rate, const test::JudgedPlant& p) {
  const int toes = map.joint(p.side == 0 ? Role::leftToes : Role::rightToes), foot = map.joint(p.side == 0 ? Role::leftFoot : Role::rightFoot);
  if (foot < 0) return 0;
  std::vector<int> points{toes < 0 ? foot : toes};
  for (int j = 0; j < performer.skeleton.size(); ++j)
    if (performer.skeleton.parents[static_cast<std::size_t>(j)] == points.front()) points.push_back(j);
  const Affined toWorld = performer.space.toWorld();
  double most = 0;
  std::vector<Vec3d> start;
  for (int f = std::max(p.first, p.release - 1); f <= p.last; ++f) {
    const int own = std::min(clip.frames - 1, static_cast<int>(std::lround(rate.seconds(f) * clip.rate.hertz())));
    const auto world = worldAt(performer.skeleton, clip, own);
    for (std::size_t i = 0; i < points.size(); ++i) {
      const Vec3d at = apply(toWorld, world[static_cast<std::size_t>(points[i])].translation);
      if (start.size() <= i) start.push_back(at);
      most = std::max(most, std::hypot(at.x - start[i].x, at.z - start[i].z));
    }
  }
  return most;
}

Planted plant(const std::string& performerName, const std::string& characterName, std::optional<FrameRate> rate = {}) {
  const auto performer = read("motion/" + performerName), character = read("characters/" + characterName);
  auto map = std::make_shared<BoneMap>();
  map->performer = truthMap(corpus, performerName, *performer);
  map->character = truthMap(corpus, characterName, *character);
  const Motion native = *sample(performer->clips[0], performer->skeleton);
  const Motion clip = rate ? resampled(native, *rate) : native;
  Retargeted plain = *retarget(*performer, clip, *character, *map);
  const Contacts contacts = *findContacts(*performer, map->performer, native);
  Planted out;
  out.before = plain.motion;
  out.height = plain.report.characterReference.height;
  out.repairs = proposePlants(contacts, native.rate, plain.report.characterLeg / plain.report.performerLeg);
  const auto context = *repairContext(character, map, {}, clip.rate, clip.frames);
  const TiledMotion in(std::make_shared<const Motion>(plain.motion));
  std::vector<const Repair*> list;
  for (Repair& r : out.repairs) {
    r = anchoredPlant(std::move(r), *context, in);
    list.push_back(&r);
  }
  const RepairLayerPtr layer = makePlantLayer(context, list, out.issues);
  TiledMotion written = in.withMoved(character->skeleton, layer->movedJoints()).writable(0, in.frames());
  for (std::size_t i = 0; i < list.size(); ++i) {
    const FrameSpan extent = layer->extent(i);
    out.residuals.push_back({0, extent.first, std::vector<Miss>(static_cast<std::size_t>(extent.count()))});
  }
  layer->apply(in, {0, in.frames() - 1}, written, out.residuals);
  out.after = written.flat();
  const double mm = 1e-3 * out.height / 1.7;
  for (std::size_t i = 0; i < list.size(); ++i) {
    const RepairFrames frames = layer->framesOf(i);
    if (frames.span.empty()) continue;
    const auto& p = std::get<PlantRepair>(list[i]->action);
    test::JudgedPlant j;
    j.side = p.part == PlantPart::leftFoot ? 0 : 1;
    j.first = frames.span.first;
    j.last = frames.span.last;
    j.ground = p.ground;
    j.release = p.release ? static_cast<int>(std::floor(*p.release * clip.rate.hertz() + 1e-6)) + 1 : j.last + 1;
    j.allowedSlip = toeTravel(*performer, map->performer, native, clip.rate, j) * plain.report.characterLeg / plain.report.performerLeg;
    for (int f = j.first; f <= j.last; ++f) {
      PlantPhase phase = PlantPhase::flat;
      for (const PlantMark& m : p.marks)
        if (m.time * clip.rate.hertz() <= f + 1e-6) phase = m.phase;
      j.phases.push_back(phase);
      j.excused.push_back(out.residuals[i].values[static_cast<std::size_t>(f - out.residuals[i].first)].metres > 0.1 * mm);
    }
    out.judged.push_back(std::move(j));
  }
  return out;
}

class PlantedPair : public testing::TestWithParam<std::pair<std::string, std::string>> {};

/// The motion as another program finds it in the file handed over.
Motion handedOver(const Figure& character, const Motion& motion, const std::vector<int>& rotated, Figure& read_) {
  TemporaryFolder folder;
  BakedClip baked;
  baked.motion = &motion;
  baked.rotated = rotated;
  const std::string path = folder.file("planted.glb");
  EXPECT_TRUE(handOver(character, baked, path).ok());
  read_ = std::move(readFigure(path).value());
  const auto clip = std::find_if(read_.clips.begin(), read_.clips.end(), [&](const Clip& c) { return c.name == baked.name; });
  EXPECT_NE(clip, read_.clips.end());
  return sample(*clip, read_.skeleton).value();
}

TEST_P(PlantedPair, SolesStandStill) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const auto [performerName, characterName] = GetParam();
  const Planted p = plant(performerName, characterName);
  ASSERT_FALSE(p.judged.empty());
  const auto character = read("characters/" + characterName);
  const test::Verdict v = test::judge(*character, truthMap(corpus, characterName, *character), p.before, p.after, p.judged, p.height);
  double worst = 0;
  for (const Residual& r : p.residuals)
    for (const Miss& m : r.values) worst = std::max(worst, static_cast<double>(m.metres));
  std::printf("%s on %s, %.0f fps: %zu plants, %d frames, %d out of reach (%.0f mm); slide %.2f in all, %.3f a frame; lowest %.2f, flat %.2f, below %.2f mm; "
              "acceleration %.0f (before %.0f, limit %.0f), %d of %d edges newly above it (%.2f times), %d in all; release slips %.1f beyond, %.1f back; "
              "limbs %.1f, p95 %.1f; turns %.1f, p95 %.1f (thigh %.1f shank %.1f foot %.1f)\n",
              performerName.c_str(), characterName.c_str(), p.after.rate.hertz(), p.judged.size(), v.frames, v.excused, worst * 1000 * 1.7 / p.height, v.slideTotal,
              v.slideFrame, v.lowest, v.flat, v.below, v.peak, v.peakBefore, std::max(15.0, 1.1 * v.p99), v.over, v.edges, v.worstRatio, v.overStrict, v.slipOver, v.slipBack, v.limbMean, v.limb95, v.likenessMean, v.likeness95,
              v.jointLikeness[0], v.jointLikeness[1], v.jointLikeness[2]);
  EXPECT_LE(v.lowest, 1);
  EXPECT_LE(v.below, 1);
  EXPECT_LE(v.excused, 0.2 * v.frames);
  if (characterName == "CesiumMan.gltf") {
    EXPECT_LE(v.slipOver, 2) << "beyond the performer's toe";
  }
  // Skins that hang on the shank give way under the foot; where they do not, what is down stays.
  if (characterName == "RobotExpressive.glb") {
    EXPECT_LE(v.slideTotal, 0.5);
    EXPECT_LE(v.slideFrame, 0.1);
    EXPECT_LE(v.flat, 1);
  }
}

// From the file alone: nothing is lost on the way out.
TEST(PlantCorpus, HandedOverSolesStandStill) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  for (const std::string name : {"CesiumMan.gltf", "RobotExpressive.glb"}) {
    const Planted p = plant("gait_fullbody_walk.bvh", name);
    const auto character = read("characters/" + name);
    std::vector<int> all;
    for (int j = 0; j < character->skeleton.size(); ++j) all.push_back(j);
    Figure figure;
    const Motion after = handedOver(*character, p.after, all, figure);
    ASSERT_EQ(after.frames, p.after.frames);
    const test::Verdict v = test::judge(figure, truthMap(corpus, name, figure), p.before, after, p.judged, p.height);
    EXPECT_EQ(v.excused, 0) << name;
    EXPECT_LE(v.lowest, 1) << name;
    EXPECT_LE(v.flat, 1) << name;
    EXPECT_LE(v.slideTotal, 0.5) << name;
  }
}

// Plants cover labelled stance and leave labelled swing alone; edges agree with the plates, at other rates of the scene as well.
TEST(PlantCorpus, CoversWhatThePlatesFelt) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  for (const auto& [clipName, labelName] : {std::pair{"gait_walk1_lowerbody.bvh", "gait_walk1_contact.csv"}, std::pair{"gait_fullbody_walk.bvh", "gait_fullbody_walk_contact.csv"}}) {
    std::array<std::vector<int>, 2> down;
    std::ifstream in(corpus + "/motion/" + labelName);
    for (std::string line; std::getline(in, line);) {
      if (line.empty() || line[0] == '#') continue;
      std::vector<std::string> cells;
      std::istringstream row(line);
      for (std::string cell; std::getline(row, cell, ',');) cells.push_back(cell);
      if (cells.size() < 4 || (std::isdigit(static_cast<unsigned char>(cells[2][0])) == 0 && cells[2][0] != '-')) continue;
      for (std::size_t side = 0; side < 2; ++side) down[side].push_back(std::stoi(cells[2 + side]));
    }
    const auto performer = read("motion/" + std::string(clipName));
    const Motion native = *sample(performer->clips[0], performer->skeleton);
    ASSERT_EQ(down[0].size(), static_cast<std::size_t>(native.frames)) << labelName;
    const std::vector<Repair> plants = proposePlants(*findContacts(*performer, truthMap(corpus, clipName, *performer), native), native.rate);
    for (const FrameRate rate : {native.rate, FrameRate{30, 1}, FrameRate{24, 1}}) {
      int stance = 0, covered = 0, planted = 0, wrong = 0;
      const int frames = static_cast<int>(native.duration() * rate.hertz()) + 1;
      for (int f = 0; f < frames; ++f)
        for (std::size_t side = 0; side < 2; ++side) {
          const auto at = static_cast<std::size_t>(std::lround(rate.seconds(f) * native.rate.hertz()));
          if (at >= down[side].size() || down[side][at] < 0) continue;
          const bool in_ = std::any_of(plants.begin(), plants.end(), [&](const Repair& r) {
            return std::get<PlantRepair>(r.action).part == (side == 0 ? PlantPart::leftFoot : PlantPart::rightFoot) && repairFrames(r, rate, frames).span.holds(f);
          });
          stance += down[side][at];
          covered += in_ && down[side][at] == 1;
          planted += in_;
          wrong += in_ && down[side][at] == 0;
        }
      std::printf("%s at %.0f fps: plants cover %.1f %% of labelled stance, %.1f %% of their frames lie in swing\n", clipName, rate.hertz(), 100.0 * covered / stance,
                  100.0 * wrong / planted);
      EXPECT_GE(covered, 0.9 * stance);
      // At lower rates a span's ends fall on the nearest frame, up to half of one beyond the foot's leaving.
      EXPECT_LE(wrong, rate == native.rate ? 0.05 * planted : 0.07 * planted);
    }
  }
}

std::vector<std::pair<std::string, std::string>> pairs() {
  std::vector<std::pair<std::string, std::string>> out;
  for (const std::string& c : characters)
    for (const std::string& p : performers) out.emplace_back(p, c);
  return out;
}

INSTANTIATE_TEST_SUITE_P(Corpus, PlantedPair, testing::ValuesIn(pairs()));

}  // namespace
}  // namespace understudy
