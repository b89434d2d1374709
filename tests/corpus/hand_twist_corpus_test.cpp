// How far hands are wrung against their forearms by retargeting alone: worked out here from world rotations of the result.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "core/retarget/posed_body.h"
#include "tests/support/corpus.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

constexpr double degree = 3.14159265358979 / 180;

/// Degrees by which `role` is twisted against the joint of `above`, about the forearm, from the reference pose on; one a sampled frame.
std::vector<double> twists(const Figure& figure, const SkeletonMap& map, const Motion& motion, const Motion* forReference, Role above, Role role, bool left) {
  const Result<PosedBody> body = posedBody(figure, map, forReference, {});
  EXPECT_TRUE(body.ok());
  std::vector<double> out;
  const int a = map.joint(above), b = map.joint(role), lower = map.joint(left ? Role::leftLowerArm : Role::rightLowerArm),
            hand = map.joint(left ? Role::leftHand : Role::rightHand);
  if (!body || a < 0 || b < 0 || lower < 0 || hand < 0) return out;
  const auto at = [](int j) { return static_cast<std::size_t>(j); };
  const Vec3d axis = rotate(conjugate(body->rotation[at(b)]), normalised(body->position[at(hand)] - body->position[at(lower)]));
  const Quatd reference = conjugate(body->rotation[at(a)]) * body->rotation[at(b)];
  std::vector<Quatd> local(at(figure.skeleton.size())), rotation(local.size());
  std::vector<Vec3d> position(local.size());
  for (int f = 0; f < motion.frames; f += std::max(1, motion.frames / 100)) {
    for (std::size_t j = 0; j < local.size(); ++j) local[j] = Quatd(motion.rotationsAt(f)[j]);
    worldOf(body->rig, local, {}, rotation, position);
    const Quatd q = conjugate(reference) * conjugate(rotation[at(a)]) * rotation[at(b)];
    out.push_back(std::remainder(2 * std::atan2(dot(q.vec(), axis), q.w), 360 * degree) / degree);
  }
  return out;
}

double middle(std::vector<double> values) {
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
  return values[values.size() / 2];
}

class HandTwist : public testing::TestWithParam<std::tuple<const char*, const char*>> {};

TEST_P(HandTwist, HandsAreNotWrung) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const auto [performerName, characterName] = GetParam();
  const Figure performer = readCorpus("motion/" + std::string(performerName)), character = readCorpus("characters/" + std::string(characterName));
  const BoneMap map{truthMap(corpus, performerName, performer), truthMap(corpus, characterName, character)};
  const Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<Retargeted> result = retarget(performer, *clip, character, map);
  ASSERT_TRUE(result.ok()) << result.error().text();
  for (const bool left : {true, false}) {
    const Role hand = left ? Role::leftHand : Role::rightHand, lower = left ? Role::leftLowerArm : Role::rightLowerArm, upper = left ? Role::leftUpperArm : Role::rightUpperArm;
    const auto more = [&](Role above, Role role) {
      const std::vector<double> was = twists(performer, map.performer, *clip, &*clip, above, role, left), is = twists(character, map.character, result->motion, nullptr, above, role, left);
      EXPECT_EQ(was.size(), is.size());
      std::vector<double> out;
      for (std::size_t k = 0; k < std::min(was.size(), is.size()); ++k) out.push_back(std::abs(is[k]) - std::abs(was[k]));
      return middle(std::move(out));
    };
    EXPECT_LT(more(lower, hand), 60) << (left ? "left hand" : "right hand");
    EXPECT_LT(more(upper, lower), 75) << (left ? "left forearm" : "right forearm");
  }
}

TEST(HandsBeside, WhatCarriesFingersBesideTheHandGoesAlongWithIt) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const std::string performerName = "boxing_toes.bvh", characterName = "RobotExpressive.glb";
  const Figure performer = readCorpus("motion/" + performerName), character = readCorpus("characters/" + characterName);
  const BoneMap map{truthMap(corpus, performerName, performer), truthMap(corpus, characterName, character)};
  const Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<Retargeted> result = retarget(performer, *clip, character, map);
  ASSERT_TRUE(result.ok()) << result.error().text();
  int seen = 0;
  for (const bool left : {true, false}) {
    const auto hand = static_cast<std::size_t>(map.character.joint(left ? Role::leftHand : Role::rightHand));
    double bends = 0;
    for (const int joint : besideHand(character.skeleton, map.character, left)) {
      const auto j = static_cast<std::size_t>(joint);
      bool mapped = false;
      for (const RoleJoints& role : map.character.roles) mapped = mapped || role.first() == joint;
      // Both hang on the forearm.
      if (mapped || character.skeleton.parents[j] != character.skeleton.parents[hand]) continue;
      ++seen;
      const auto between = [&](int f) { return conjugate(Quatd(result->motion.rotationsAt(f)[hand])) * Quatd(result->motion.rotationsAt(f)[j]); };
      for (int f = 1; f < result->motion.frames; f += 10) {
        EXPECT_LT(angleBetween(between(0), between(f)), 0.5 * degree) << f;
        bends = std::max(bends, angleBetween(Quatd(result->motion.rotationsAt(0)[hand]), Quatd(result->motion.rotationsAt(f)[hand])));
      }
    }
    EXPECT_GT(bends, 10 * degree) << "the wrist keeps still";
  }
  EXPECT_EQ(seen, 4);
}

INSTANTIATE_TEST_SUITE_P(Corpus, HandTwist,
                         testing::Combine(testing::Values("child_zombie_walk_zup.bvh", "child_dab_zup.bvh", "boxing_toes.bvh", "cmu_02_07_swordplay.bvh",
                                                          "gait_fullbody_walk.bvh", "walk_figure8.bvh"),
                                          testing::Values("CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx")));

}  // namespace
}  // namespace understudy
