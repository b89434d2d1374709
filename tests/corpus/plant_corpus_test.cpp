// Contacts found on captured performers, planted on characters, judged by the skin alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <map>
#include <optional>

#include "core/inspect/plants.h"
#include "core/io/read.h"
#include "core/repair/plant.h"
#include "core/retarget/retarget.h"
#include "tests/support/plant_check.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

const std::string corpus = UNDERSTUDY_CORPUS;

const std::vector<std::string> performers{"gait_fullbody_walk.bvh", "gait_walk1_lowerbody.bvh", "walk_figure8.bvh", "cmu_12_01_walk_tpose_first.bvh",
                                          "cmu_02_07_swordplay.bvh", "cmu_02_10_wash_self.bvh", "child_zombie_walk_zup.bvh", "child_dab_zup.bvh",
                                          "boxing_toes.bvh", "cmu_07_01_walk.fbx"};
const std::vector<std::string> characters{"CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx"};

std::shared_ptr<const Figure> read(const std::string& name) {
  static std::map<std::string, std::shared_ptr<const Figure>> known;
  if (const auto at = known.find(name); at != known.end()) return at->second;
  ReadSettings settings;
  settings.readerProgram = std::string(UNDERSTUDY_BINARY) + "/bin/understudy-reader";
  Result<Figure> figure = readFigure(corpus + "/" + name, settings);
  EXPECT_TRUE(figure.ok()) << (figure.ok() ? "" : figure.error().text());
  return known[name] = std::make_shared<const Figure>(figure.ok() ? std::move(figure.value()) : Figure{});
}

struct Planted {
  Motion before, after;
  std::vector<Repair> repairs;
  std::vector<test::JudgedPlant> judged;
  std::vector<Residual> residuals;
  double height = 0;
  Issues issues;
};

Planted plant(const std::string& performerName, const std::string& characterName, std::optional<FrameRate> rate = {}) {
  const auto performer = read("motion/" + performerName), character = read("characters/" + characterName);
  auto map = std::make_shared<BoneMap>();
  map->performer = truthMap(corpus, performerName, *performer);
  map->character = truthMap(corpus, characterName, *character);
  const Motion native = *sample(performer->clips[0], performer->skeleton);
  const Motion clip = rate ? resampled(native, *rate) : native;
  Retargeted plain = *retarget(*performer, clip, *character, *map);
  const Contacts contacts = *findContacts(*performer, map->performer, native);
  if (std::getenv("STRIDE")) {
    double fh = 0, hh = 0;
    for (int side = 0; side < 2; ++side)
      for (int f = 0; f + 1 < clip.frames; ++f) {
        if (contacts.feet[side].phases.empty() || contacts.feet[side].phases[f] != FootPhase::flat || contacts.feet[side].phases[f + 1] != FootPhase::flat) continue;
        const auto a = worldAt(character->skeleton, plain.motion, f), b = worldAt(character->skeleton, plain.motion, f + 1);
        const Affined w = character->space.toWorld();
        const auto d = [&](Role r) { Vec3d v = apply(w, b[map->character.joint(r)].translation) - apply(w, a[map->character.joint(r)].translation); v.y = 0; return v; };
        const Vec3d foot = d(side == 0 ? Role::leftFoot : Role::rightFoot), hip = d(side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg);
        fh += dot(foot, hip);
        hh += dot(hip, hip);
      }
    const double factor = 1 - fh / hh;
    std::printf("stride factor %.3f\n", factor);
    RetargetSettings rs;
    rs.stride = factor;
    plain = *retarget(*performer, clip, *character, *map, rs);
  }
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
    j.release = p.release ? static_cast<int>(std::ceil(*p.release * clip.rate.hertz() - 1e-6)) : j.last + 1;
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

TEST_P(PlantedPair, SolesStandStill) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const auto [performerName, characterName] = GetParam();
  const Planted p = plant(performerName, characterName);
  const auto character = read("characters/" + characterName);
  const test::Verdict v = test::judge(*character, truthMap(corpus, characterName, *character), p.before, p.after, p.judged, p.height);
  if (const char* d = std::getenv("DIAG")) {
    const int which = std::atoi(d);
    const auto& j = p.judged[static_cast<std::size_t>(which)];
    const auto& pr = std::get<PlantRepair>(p.repairs[static_cast<std::size_t>(which)].action);
    const SkeletonMap m = truthMap(corpus, characterName, *character);
    std::printf("plant %d side %d %d-%d release %d yaw %.1f turn %.1f lift %.1f mm anchor %.3f %.3f %.3f\n", which, j.side, j.first, j.last, j.release, pr.yaw * 57.3, pr.turn * 57.3, pr.lift * 1000, pr.anchor.x, pr.anchor.y, pr.anchor.z);
    const int hip = m.joint(j.side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg), knee = m.joint(j.side == 0 ? Role::leftLowerLeg : Role::rightLowerLeg), foot = m.joint(j.side == 0 ? Role::leftFoot : Role::rightFoot);
    for (int f = std::max(0, j.first - 45); f <= std::min(p.after.frames - 1, j.last + 45); ++f) {
      const auto a = worldAt(character->skeleton, p.before, f), b = worldAt(character->skeleton, p.after, f);
      const auto at = [&](const std::vector<Affined>& w, int k) { return apply(character->space.toWorld(), w[static_cast<std::size_t>(k)].translation); };
      const auto line = [&](const std::vector<Affined>& w) {
        const double full = distance(at(w, hip), at(w, knee)) + distance(at(w, knee), at(w, foot));
        return distance(at(w, hip), at(w, foot)) / full;
      };
      const auto kneeOf = [&](const std::vector<Affined>& w) { return 180 - 57.29578 * angleBetween(at(w, hip) - at(w, knee), at(w, foot) - at(w, knee)); };
      const Vec3d fa = at(a, foot), fb = at(b, foot), ha = at(a, hip), hb = at(b, hip);
      std::printf("acc ");
      for (const Role role : {j.side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg, j.side == 0 ? Role::leftLowerLeg : Role::rightLowerLeg, j.side == 0 ? Role::leftFoot : Role::rightFoot, j.side == 0 ? Role::leftToes : Role::rightToes}) {
        const int jj = m.joint(role);
        if (jj < 0 || f < 1 || f + 1 >= p.after.frames) continue;
        for (const Motion* mm : {&p.before, &p.after}) {
          const auto q = [&](int k) { return Quatd(mm->rotationsAt(k)[static_cast<std::size_t>(jj)]); };
          const double r = mm->rate.hertz();
          std::printf("%5.0f", length(logOf(normalised(conjugate(q(f)) * q(f + 1))) - logOf(normalised(conjugate(q(f - 1)) * q(f)))) * r * r);
        }
        std::printf(" | ");
      }
      std::printf("%4d %c foot %+.3f %+.3f %+.3f moved %+6.1f %+6.1f %+6.1f hip %+6.1f reach %.4f -> %.4f knee %5.1f -> %5.1f\n", f, f < j.first || f > j.last ? '-' : "hfbts"[static_cast<int>(j.phases[static_cast<std::size_t>(f - j.first)])], fa.x, fa.y, fa.z,
                  (fb.x - fa.x) * 1000, (fb.y - fa.y) * 1000, (fb.z - fa.z) * 1000, (hb.y - ha.y) * 1000, line(a), line(b), kneeOf(a), kneeOf(b));
    }
  }
  double worst = 0;
  for (const Residual& r : p.residuals)
    for (const Miss& m : r.values) worst = std::max(worst, static_cast<double>(m.metres));
  std::printf("%-32s %-20s %4.0f fps %3zu plants %5d fr, out of reach %4d (%.0f mm); slide %.2f/%.3f low %.2f flat %.2f below %.2f slip back %.2f; acc %4.0f was %4.0f limit %4.0f (%.0f@%d %.0f@%d %.0f@%d %.0f@%d), over %d/%d; likeness %.1f %.1f (%.1f %.1f %.1f %.1f)\n",
              performerName.c_str(), characterName.c_str(), p.after.rate.hertz(), p.judged.size(), v.frames, v.excused, worst * 1000 * 1.7 / p.height, v.slideTotal,
              v.slideFrame, v.lowest, v.flat, v.below, v.slipBack, v.peak, v.peakBefore, std::max(15.0, 1.1 * v.p99), v.jointPeak[0], v.jointAt[0], v.jointPeak[1], v.jointAt[1], v.jointPeak[2], v.jointAt[2], v.jointPeak[3], v.jointAt[3], v.over, v.edges, v.likenessMean, v.likeness95, v.jointLikeness[0], v.jointLikeness[1], v.jointLikeness[2], v.jointLikeness[3]);
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
