// Maps of the open clips and characters against hand-made truth maps (our own truth, checked by geometry).
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "core/io/read.h"
#include "core/mapping/bone_map.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

struct Score {
  int required = 0, requiredBad = 0, optional = 0, optionalBad = 0, swaps = 0;
  std::string details;
};

bool matches(const Skeleton& sk, const Json& truth, int joint) {
  if (truth.is_array()) return std::any_of(truth.begin(), truth.end(), [&](const Json& one) { return matches(sk, one, joint); });
  if (truth.is_null()) return joint < 0;
  if (joint < 0) return false;
  if (truth.is_number()) return sk.fileNodes[joint] == truth.get<int>();
  return sk.names[joint] == truth.get<std::string>();
}

// `names` are those of the file, whatever the figure given to the mapper was called.
Score compare(const Skeleton& original, const SkeletonMap& map, const Json& truth) {
  Score score;
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    const std::string name(roleName(role));
    const int joint = map.joint(role);
    const Json wanted = truth.contains(name) ? truth[name] : Json();
    const bool right = matches(original, wanted, joint);
    const bool required = isRequired(role) && truth.contains(name);
    (required ? score.required : score.optional) += required || joint >= 0 || !wanted.is_null();
    if (!right) {
      ++(required ? score.requiredBad : score.optionalBad);
      score.details += " " + name + "=" + (joint < 0 ? "-" : original.names[joint] + "#" + std::to_string(original.fileNodes[joint]));
    }
    const std::string other(roleName(mirrored(role)));
    if (sideOf(role) != Side::centre && joint >= 0 && !right && truth.contains(other) && !truth[other].is_null() &&
        matches(original, truth[other], joint))
      ++score.swaps;
  }
  return score;
}

struct Entry {
  std::string file, path;
  Json roles;
};

std::vector<Entry> entries() {
  std::vector<Entry> out;
  const fs::path root(UNDERSTUDY_CORPUS);
  if (!fs::exists(root / "roles")) return out;
  for (const auto& f : fs::directory_iterator(root / "roles")) {
    const Json j = Json::parse(std::ifstream(f.path()), nullptr, false);
    if (j.is_discarded() || !j.contains("file")) continue;
    const std::string file = j["file"];
    for (const char* folder : {"motion", "characters"})
      if (fs::exists(root / folder / file)) out.push_back({file, (root / folder / file).string(), j["roles"]});
  }
  std::sort(out.begin(), out.end(), [](const Entry& a, const Entry& b) { return a.file < b.file; });
  return out;
}

TEST(MappingCorpus, EverySkeletonAgainstItsTruth) {
  const auto all = entries();
  if (all.empty()) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  int tried = 0;
  for (const Entry& e : all) {
    Result<Figure> read = readFigure(e.path);
    if (!read) {
      std::printf("%-34s not read: %s\n", e.file.c_str(), read.error().text().c_str());
      continue;
    }
    ++tried;
    Figure& figure = *read;
    const Skeleton original = figure.skeleton;
    const SkeletonMap map = mapRoles(figure);
    const Score named = compare(original, map, e.roles);
    std::printf("%-34s required %2d/%2d wrong, optional %2d/%2d wrong%s\n", e.file.c_str(), named.requiredBad, named.required,
                named.optionalBad, named.optional, named.details.c_str());
    EXPECT_EQ(named.requiredBad, 0) << e.file << named.details;
    EXPECT_LE(named.optionalBad, 0.05 * named.optional) << e.file << named.details;
    for (unsigned seed = 0; seed < 4; ++seed) {
      figure.skeleton.names = original.names;
      std::string how = "removed";
      if (seed < 3) {
        std::mt19937 random(seed + 1);
        std::shuffle(figure.skeleton.names.begin(), figure.skeleton.names.end(), random);
        how = "shuffled " + std::to_string(seed + 1);
      } else {
        for (std::string& n : figure.skeleton.names) n.clear();
      }
      const Score s = compare(original, mapRoles(figure), e.roles);
      std::printf("    %-12s required %2d/%2d wrong, %d swaps%s\n", how.c_str(), s.requiredBad, s.required, s.swaps,
                  s.requiredBad ? s.details.c_str() : "");
      EXPECT_LE(s.requiredBad, 0.05 * s.required) << e.file << " " << how << s.details;
      EXPECT_EQ(s.swaps, 0) << e.file << " " << how << s.details;
    }
  }
  EXPECT_GT(tried, 0);
}

// The same clips with every joint's own X axis along its bone and no rotation at rest, as some systems write them: the
// zero pose is no pose, the body shows only in the motion.
TEST(MappingCorpus, PerformersWhoseZeroPoseIsNoPose) {
  const auto all = entries();
  if (all.empty()) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  for (const Entry& e : all) {
    if (!e.file.ends_with(".bvh")) continue;
    Result<Figure> read = readFigure(e.path);
    ASSERT_TRUE(read.ok()) << read.error().text();
    Figure& figure = *read;
    Skeleton& sk = figure.skeleton;
    const auto world = restWorld(sk);
    const auto children = childrenOf(sk);
    std::vector<Quatd> frame(sk.parents.size());
    for (int j = 0; j < sk.size(); ++j) {
      Vec3d d{1, 0, 0};
      for (const int c : children[j])
        if (const Vec3d to = world[c].translation - world[j].translation; length(to) > 1e-6) {
          d = normalised(to);
          break;
        }
      frame[j] = rotationBetween(Vec3d{1, 0, 0}, d);
    }
    Motion motion = *figure.clips.at(0).sampled;
    for (int j = 0; j < sk.size(); ++j) {
      const int p = sk.parents[j];
      const Quatd back = p < 0 ? Quatd{} : conjugate(frame[p]);
      sk.rest[j].translation = rotate(back, sk.rest[j].translation);
      for (int f = 0; f < motion.frames; ++f) {
        // End Sites stay unable to turn.
        if (!children[j].empty()) motion.rotationsAt(f)[j] = Quatf(back * Quatd(motion.rotationsAt(f)[j]) * frame[j]);
        for (std::size_t k = 0; k < motion.movedJoints.size(); ++k)
          if (motion.movedJoints[k] == j) motion.translationsAt(f)[k] = Vec3f(rotate(back, Vec3d(motion.translationsAt(f)[k])));
      }
    }
    figure.clips[0].sampled = std::make_shared<Motion>(motion);
    for (const bool names : {true, false}) {
      const Score s = compare(sk, mapRoles(figure, {names}), e.roles);
      std::printf("%-34s %-9s required %2d/%2d wrong, %d swaps%s\n", e.file.c_str(), names ? "named" : "nameless", s.requiredBad,
                  s.required, s.swaps, s.requiredBad ? s.details.c_str() : "");
      EXPECT_LE(s.requiredBad, 0.05 * s.required) << e.file << s.details;
      EXPECT_EQ(s.swaps, 0) << e.file << s.details;
    }
  }
}

}  // namespace
}  // namespace understudy
