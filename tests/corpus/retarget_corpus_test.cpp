// Every performer on every character, judged from world transforms computed here from the local curves alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "core/retarget/retarget.h"
#include "tests/support/corpus.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

struct Spread {
  std::vector<double> values;
  void add(double v) { values.push_back(v); }
  [[nodiscard]] double mean() const {
    double s = 0;
    for (double v : values) s += v;
    return values.empty() ? 0 : s / values.size();
  }
  [[nodiscard]] double quantile(double q) {
    if (values.empty()) return 0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(q * (values.size() - 1))];
  }
};

const char* const performers[] = {"boxing_toes.bvh", "child_dab_zup.bvh", "child_zombie_walk_zup.bvh", "cmu_02_07_swordplay.bvh", "cmu_02_10_wash_self.bvh",
                                  "cmu_12_01_walk_tpose_first.bvh", "gait_fullbody_walk.bvh", "gait_walk1_lowerbody.bvh", "walk_figure8.bvh"};
const char* const characters[] = {"CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx"};

class EveryPair : public testing::TestWithParam<std::tuple<const char*, const char*>> {};

TEST_P(EveryPair, KeepsDirectionsTravelAndPosture) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const auto [performerName, characterName] = GetParam();
  const Figure performer = readCorpus("motion/" + std::string(performerName)), character = readCorpus("characters/" + std::string(characterName));
  ASSERT_FALSE(performer.clips.empty());
  const BoneMap map{truthMap(corpus, performerName, performer), truthMap(corpus, characterName, character)};
  Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<Retargeted> result = retarget(performer, *clip, character, map);
  ASSERT_TRUE(result.ok()) << result.error().text();
  const Motion& motion = result->motion;
  ASSERT_EQ(motion.frames, clip->frames);
  for (int f = 1; f < motion.frames; ++f)
    for (int j = 0; j < motion.joints; ++j) ASSERT_GE(dot(motion.rotationsAt(f)[j], motion.rotationsAt(f - 1)[j]), 0) << "frame " << f + 1;

  const Affined ws = worldFromFile(performer, result->report.performerReference), wt = worldFromFile(character, result->report.characterReference);
  const std::vector<Affined>&refS = result->report.performerReference.fileWorld, &refT = result->report.characterReference.fileWorld;
  Spread limbs[4], trunk, head, travel, footPitch, hingeRoll[2];
  // Where the character's own reference pose bends a joint by more than 3°, its hinge is measurable there.
  const auto joints = [&](const std::vector<Affined>& pose, const SkeletonMap& m, Role upper, Vec3d& u, Vec3d& l) {
    const int a = m.joint(upper), b = m.joint(roleAt(indexOf(upper) + 1)), c = m.joint(roleAt(indexOf(upper) + 2));
    if (a < 0 || b < 0 || c < 0) return false;
    u = normalised(pose[b].translation - pose[a].translation);
    l = normalised(pose[c].translation - pose[b].translation);
    return true;
  };
  const auto turnOf = [](const Affined& w, const Affined& joint) { return polarParts(Affined(w.linear * joint.linear, {})).rotation; };
  Vec3d firstS, firstT;
  const int step = std::max(1, motion.frames / 300);
  for (int f = 0; f < motion.frames; f += step) {
    const auto a = worldAt(performer.skeleton, *clip, f), b = worldAt(character.skeleton, motion, f);
    const auto place = [&](const Affined& w, const std::vector<Affined>& pose, const SkeletonMap& m, Role r) { return apply(w, pose[m.joint(r)].translation); };
    const Role uppers[] = {Role::leftUpperArm, Role::leftLowerArm, Role::leftUpperLeg, Role::leftLowerLeg,
                           Role::rightUpperArm, Role::rightLowerArm, Role::rightUpperLeg, Role::rightLowerLeg};
    for (int i = 0; i < 8; ++i) {
      const Role r = uppers[i], next = roleAt(indexOf(r) + 1);
      if (map.performer.joint(r) < 0 || map.performer.joint(next) < 0 || map.character.joint(r) < 0 || map.character.joint(next) < 0) continue;
      const Vec3d ds = place(ws, a, map.performer, next) - place(ws, a, map.performer, r);
      const Vec3d dt = place(wt, b, map.character, next) - place(wt, b, map.character, r);
      limbs[i % 4].add(angleBetween(ds, dt) * 180 / M_PI);
    }
    const auto change = [&](const Affined& w, const std::vector<Affined>& pose, const std::vector<Affined>& ref, int j) {
      return polarParts(Affined(w.linear * pose[j].linear, {})).rotation * conjugate(polarParts(Affined(w.linear * ref[j].linear, {})).rotation);
    };
    for (const Role r : {Role::spine, Role::head}) {
      if (map.performer.joint(r) < 0 || map.character.joint(r) < 0) continue;
      const double e = angleBetween(change(ws, a, refS, map.performer.joint(r)), change(wt, b, refT, map.character.joint(r))) * 180 / M_PI;
      (r == Role::head ? head : trunk).add(e);
    }
    for (const Role upper : {Role::leftUpperArm, Role::rightUpperArm, Role::leftUpperLeg, Role::rightUpperLeg}) {
      Vec3d ur, lr, u, l;
      if (map.performer.joint(upper) < 0 || !joints(refT, map.character, upper, ur, lr) || !joints(b, map.character, upper, u, l)) continue;
      if (angleBetween(ur, lr) < 3 * M_PI / 180 || angleBetween(u, l) < 30 * M_PI / 180) continue;
      const int j = map.character.joint(upper);
      const Vec3d own = rotate(conjugate(turnOf(wt, refT[j])), wt.linear * cross(ur, lr));
      const Vec3d now = rotate(conjugate(turnOf(wt, b[j])), wt.linear * cross(u, l));
      hingeRoll[upper == Role::leftUpperLeg || upper == Role::rightUpperLeg].add(angleBetween(own, now) * 180 / M_PI);
    }
    // A performer's foot that stands flat: ankle and toe base still and the ankle low.
    for (const Role foot : {Role::leftFoot, Role::rightFoot}) {
      const int fs = map.performer.joint(foot), ft = map.character.joint(foot), ts = map.performer.joint(roleAt(indexOf(foot) + 1));
      if (fs < 0 || ft < 0 || ts < 0 || f + 1 >= motion.frames) continue;
      const auto later = worldAt(performer.skeleton, *clip, f + 1);
      const double dt = 1 / motion.rate.hertz(), leg = result->report.performerLeg;
      const auto slow = [&](int j) { return distance(apply(ws, a[j].translation), apply(ws, later[j].translation)) < 0.06 * leg * dt; };
      if (!slow(fs) || !slow(ts)) continue;
      const Quatd turned = turnOf(wt, b[ft]) * conjugate(turnOf(wt, refT[ft]));
      footPitch.add(std::abs(std::asin(rotate(turned, Vec3d{0, 0, 1}).y)) * 180 / M_PI);
    }
    const auto mid = [&](const Affined& w, const std::vector<Affined>& pose, const SkeletonMap& m) {
      return (place(w, pose, m, Role::leftUpperLeg) + place(w, pose, m, Role::rightUpperLeg)) * 0.5;
    };
    const Vec3d ms = mid(ws, a, map.performer) / result->report.performerLeg, mt = mid(wt, b, map.character) / result->report.characterLeg;
    if (f == 0) firstS = ms, firstT = mt;
    travel.add(length(Vec3d{ms.x - firstS.x - mt.x + firstT.x, 0, ms.z - firstS.z - mt.z + firstT.z}));
  }
  std::printf("%-30s %-22s arm %.3f/%.3f fore %.3f/%.3f thigh %.3f/%.3f shank %.3f/%.3f spine %.2f head %.2f travel %.5f ground %+.0f mm leg %.2f->%.2f  %s %s | %s %s h %.2f foot tilt %.1f/%.1f (%zu) elbow roll %.1f/%.1f (%zu) knee roll %.1f/%.1f (%zu)\n",
              performerName, characterName, limbs[0].mean(), limbs[0].quantile(.99), limbs[1].mean(), limbs[1].quantile(.99), limbs[2].mean(),
              limbs[2].quantile(.99), limbs[3].mean(), limbs[3].quantile(.99), trunk.quantile(1), head.quantile(1), travel.quantile(1),
              result->report.groundOffset * 1000, result->report.performerLeg, result->report.characterLeg, result->report.performerReference.source.c_str(),
              result->report.performerReference.shape.c_str(), result->report.characterReference.source.c_str(), result->report.characterReference.shape.c_str(), result->report.characterReference.height,
              footPitch.quantile(.5), footPitch.quantile(.9), footPitch.values.size(), hingeRoll[0].quantile(.5), hingeRoll[0].quantile(.95), hingeRoll[0].values.size(),
              hingeRoll[1].quantile(.5), hingeRoll[1].quantile(.95), hingeRoll[1].values.size());
  for (Spread& limb : limbs) {
    EXPECT_LE(limb.mean(), 0.1);
    EXPECT_LE(limb.quantile(.99), 0.5);
  }
  EXPECT_LE(trunk.quantile(1), 1.0);
  EXPECT_LE(head.quantile(1), 1.0);
  EXPECT_LE(travel.quantile(1), 1e-3);
}

INSTANTIATE_TEST_SUITE_P(Corpus, EveryPair, testing::Combine(testing::ValuesIn(performers), testing::ValuesIn(characters)));

class SelfRetarget : public testing::TestWithParam<const char*> {};

TEST_P(SelfRetarget, IsTheIdentityForRotations) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const std::string name = GetParam();
  const bool bvh = name.ends_with(".bvh");
  const Figure figure = readCorpus((bvh ? "motion/" : "characters/") + name);
  const SkeletonMap truth = truthMap(corpus, name, figure);
  ASSERT_FALSE(figure.clips.empty());
  const std::size_t clips = std::min<std::size_t>(figure.clips.size(), 6);
  for (std::size_t c = 0; c < clips; ++c) {
    Result<Motion> clip = sample(figure.clips[c], figure.skeleton);
    ASSERT_TRUE(clip.ok());
    const Result<Retargeted> result = retarget(figure, *clip, figure, {truth, truth});
    ASSERT_TRUE(result.ok()) << result.error().text();
    double worst = 0, moved = 0;
    int worstJoint = -1;
    for (int f = 0; f < clip->frames; ++f) {
      const int hips = truth.joint(Role::hips);
      const auto a = worldAt(figure.skeleton, *clip, f), b = worldAt(figure.skeleton, result->motion, f);
      for (const RoleJoints& role : truth.roles) {
        if (role.empty()) continue;
        const double e = angleBetween(polarParts(a[role.first()]).rotation, polarParts(b[role.first()]).rotation);
        if (e > worst) worst = e, worstJoint = role.first();
      }
      moved = std::max(moved, distance(a[hips].translation, b[hips].translation) * figure.space.metresPerUnit);
    }
    std::printf("%s clip %zu '%s': %.2e rad (%s), hips %.4f mm, ground %.3f mm, %zu notes\n", name.c_str(), c + 1, figure.clips[c].name.c_str(), worst,
                worstJoint >= 0 ? jointKey(figure.skeleton, worstJoint).c_str() : "", moved * 1000, result->report.groundOffset * 1000, result->report.issues.size());
    EXPECT_LE(worst, 1e-4) << figure.clips[c].name;
  }
}

INSTANTIATE_TEST_SUITE_P(Corpus, SelfRetarget,
                         testing::Values("CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx", "cmu_02_07_swordplay.bvh",
                                         "child_dab_zup.bvh", "walk_figure8.bvh"));

}  // namespace
}  // namespace understudy
