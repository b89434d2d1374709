// Two hands on one sword, on bodies of every proportion: judged from world transforms of the joints alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>

#include "core/inspect/grips.h"
#include "core/retarget/retarget.h"
#include "tests/support/corpus.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

constexpr double degree = 3.14159265358979 / 180;

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(q * static_cast<double>(values.size() - 1))];
}

/// Largest change of a joint's turning from one frame to the next, degrees.
double jump(const TiledMotion& motion, int frame, int joint) {
  const auto j = static_cast<std::size_t>(joint);
  const auto step = [&](int f) { return logOf(conjugate(Quatd(motion.rotationsAt(f - 1)[j])) * Quatd(motion.rotationsAt(f)[j])); };
  return length(step(frame + 1) - step(frame)) / degree;
}

TEST(GripCorpus, TheSwordStaysInBothHands) {
  if (!std::filesystem::exists(corpus + "/motion/cmu_02_07_swordplay.bvh")) GTEST_SKIP() << "no corpus at " << corpus;
  const Figure performer = readCorpus("motion/cmu_02_07_swordplay.bvh");
  const SkeletonMap performerMap = truthMap(corpus, "cmu_02_07_swordplay.bvh", performer);
  const Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
  ASSERT_TRUE(clip.ok());
  const Result<BodyContacts> contacts = findBodyContacts(performer, performerMap, *clip);
  ASSERT_TRUE(contacts.ok());
  ASSERT_FALSE(contacts->together.empty());
  for (const std::string name : {"CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx"}) {
    SCOPED_TRACE(name);
    auto figure = std::make_shared<const Figure>(readCorpus("characters/" + name));
    auto map = std::make_shared<BoneMap>();
    map->performer = performerMap;
    map->character = truthMap(corpus, name, *figure);
    Result<Retargeted> carried = retarget(performer, *clip, *figure, *map);
    ASSERT_TRUE(carried.ok());
    const auto context = repairContext(figure, map, {}, clip->rate, clip->frames);
    ASSERT_TRUE(context.ok());
    const TiledMotion in(std::make_shared<const Motion>(std::move(carried->motion)));
    Issues issues;
    std::vector<Repair> grips = proposeGrips(**context, in, contacts->together, clip->rate, {}, issues);
    ASSERT_FALSE(grips.empty());
    std::vector<const Repair*> list;
    for (std::size_t i = 0; i < grips.size(); ++i) {
      grips[i].id = i + 1;
      list.push_back(&grips[i]);
    }
    const RepairLayerPtr layer = makeGripLayer(*context, list, issues);
    EXPECT_TRUE(issues.empty());
    TiledMotion out = in.writable(0, in.frames());
    std::vector<Residual> residuals(grips.size());
    for (std::size_t i = 0; i < grips.size(); ++i) {
      const FrameSpan all = common(layer->extent(i), {0, in.frames() - 1});
      residuals[i].first = all.first;
      residuals[i].values.resize(static_cast<std::size_t>(all.count()));
    }
    layer->apply(in, {0, in.frames() - 1}, out, residuals);

    const double height = (*context)->height, turn = 1.7 / height;
    std::vector<double> leadHand;
    int held = 0, missing = 0;
    for (std::size_t i = 0; i < grips.size(); ++i) {
      const GripRepair& grip = std::get<GripRepair>(grips[i].action);
      const FrameSpan span = layer->framesOf(i).span;
      held += span.count();
      const auto joint = [&](bool lead) { return static_cast<std::size_t>(map->character.joint(lead == grip.leadLeft ? Role::leftHand : Role::rightHand)); };
      const Affined toWorld = worldFromFile(*figure, (*context)->body.pose);
      std::vector<Rigid> relation;
      for (int f = span.first; f <= span.last; ++f) {
        const std::vector<Affined> world = worldAt(figure->skeleton, out, f), plain = worldAt(figure->skeleton, in, f);
        const auto rigid = [&](const Affined& a) {
          const PolarParts<double> p = polarParts(toWorld * a);
          return Rigid{p.rotation, p.translation};
        };
        // Some point of the support hand a palm's length away, so that its turn counts as well.
        relation.push_back(inverse(rigid(world[joint(true)])) * rigid(world[joint(false)]) * rigidOf(grip.supportPalm));
        leadHand.push_back(angleBetween(rigid(world[joint(true)]).turn, rigid(plain[joint(true)]).turn) / degree);
      }
      const Rigid wanted = rigidOf(grip.leadPalm) * inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
      for (std::size_t k = 0; k < relation.size(); ++k) {
        const double miss = residuals[i].values[k + static_cast<std::size_t>(span.first - residuals[i].first)].metres;
        if (miss * turn > 0.5e-3) {
          ++missing;
          continue;
        }
        EXPECT_LT(distance(relation[k].at, wanted.at) * turn, 0.6e-3) << "frame " << span.first + static_cast<int>(k);
        EXPECT_LT(angleBetween(relation[k].turn, wanted.turn) / degree, 0.5);
      }
    }
    // The performer holds the sword throughout.
    EXPECT_GT(held, 0.9 * clip->frames);
    EXPECT_LT(missing, 0.02 * held);
    double mean = 0;
    for (const double a : leadHand) mean += a / static_cast<double>(leadHand.size());
    EXPECT_LE(mean, 6);
    EXPECT_LE(quantile(leadHand, 0.95), 15);
    std::printf("  %-22s %zu grips over %d of %d frames, %d out of reach; lead hand turned by %.1f on average, 95 %% within %.1f degrees\n", name.c_str(), grips.size(), held,
                clip->frames, missing, mean, quantile(leadHand, 0.95));
    // No jumps that the motion did not have.
    std::vector<double> before, after;
    for (int f = 1; f + 1 < clip->frames; ++f)
      for (const Role role : {Role::leftUpperArm, Role::leftLowerArm, Role::leftHand, Role::rightUpperArm, Role::rightLowerArm, Role::rightHand}) {
        before.push_back(jump(in, f, map->character.joint(role)));
        after.push_back(jump(out, f, map->character.joint(role)));
      }
    // The worst of a second's jumps may grow with what the arms do more, the worst of all may not.
    // The goal is none; very long arms still pass the lead hand's jolts on. This guards against worse.
    std::printf("  %-22s steps of a bone a frame, 99.9 %% within %.1f before, %.1f after\n", name.c_str(), quantile(before, 0.999), quantile(after, 0.999));
    EXPECT_LT(quantile(after, 0.999), 2.5 * quantile(before, 0.999));
    EXPECT_LT(quantile(after, 1), 1.2 * quantile(before, 1));
  }
}

TEST(GripCorpus, HandsThatHoldNothingAreLeftAlone) {
  if (!std::filesystem::exists(corpus + "/motion")) GTEST_SKIP() << "no corpus at " << corpus;
  for (const std::string name : {"walk_figure8.bvh", "cmu_12_01_walk_tpose_first.bvh", "gait_fullbody_walk.bvh", "child_dab_zup.bvh", "boxing_toes.bvh"}) {
    const Figure performer = readCorpus("motion/" + name);
    const Result<Motion> clip = sample(performer.clips[0], performer.skeleton);
    ASSERT_TRUE(clip.ok());
    const Result<BodyContacts> contacts = findBodyContacts(performer, truthMap(corpus, name, performer), *clip);
    ASSERT_TRUE(contacts.ok());
    EXPECT_TRUE(contacts->together.empty()) << name;
  }
}

}  // namespace
}  // namespace understudy
