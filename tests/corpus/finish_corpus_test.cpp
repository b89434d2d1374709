// Whole runs of `finish`, judged from the exported files by a program that shares no code with it.
#include <gtest/gtest.h>

#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/inspect/limb_names.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/job/finish.h"
#include "core/store/reel_file.h"
#include "tests/support/fixtures.h"
#include "tests/support/flaws.h"
#include "tests/support/judge.h"
#include "tests/support/run_program.h"
#include "tests/support/truth_map.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
const std::string corpus = UNDERSTUDY_CORPUS;
const std::string bin = std::string(UNDERSTUDY_BINARY) + "/bin/";

bool canFinish() { return runProgram({bin + "understudy-cli", "finish", "--help"}).exitCode == 0; }

double number(const Json& j, std::initializer_list<const char*> path, double missing = 0) {
  const Json* at = &j;
  for (const char* key : path) {
    if (!at->is_object() || !at->contains(key)) return missing;
    at = &(*at)[key];
  }
  return at->is_number() ? at->get<double>() : missing;
}

void print(const std::string& name, const Json& r) {
  std::printf("%s: %.0f plants cover %.3f of known stance, %.3f of them in swing, edges off by %.0f ms (median) %.0f ms; release at most %.2f of a plant\n  ", name.c_str(),
              number(r, {"plants", "plants"}), number(r, {"plants", "covered"}), number(r, {"plants", "inSwing"}), number(r, {"plants", "edgeMedianMs"}), number(r, {"plants", "edgeWorstMs"}),
              number(r, {"plants", "releaseShareLongest"}));
  std::printf("%s: feet slip/frame %.2f (p95) slip %.2f mm, off ground %.2f (p95) %.2f mm (max), %.0f %% still, release %.1f mm beyond the performer, back %.1f; leg acceleration %.0f "
              "(plain %.0f, p99 elsewhere %.0f); hands drift %.1f (p95) %.1f mm; arms %.1f (p95) %.1f mm deep, %.1f %% of frames over 10; new jumps %.0f; turned from plain arms %.1f (mean) "
              "%.1f, legs %.1f %.1f; moved with no flaw near %.1f %%\n",
              name.c_str(), number(r, {"feet", "slipFrame", "p95"}), number(r, {"feet", "slipTotal", "max"}), number(r, {"feet", "offGround", "p95"}), number(r, {"feet", "offGround", "max"}),
              100 * number(r, {"feet", "stancesStill"}), number(r, {"feet", "releaseBeyondPerformerWorst"}), number(r, {"feet", "releaseReversalWorst"}),
              number(r, {"legAcceleration", "result", "peakAtEdges"}), number(r, {"legAcceleration", "reference", "peakAtEdges"}), number(r, {"legAcceleration", "reference", "p99Elsewhere"}),
              number(r, {"hands", "drift", "p95"}), number(r, {"hands", "drift", "max"}), number(r, {"armDepth", "depth", "p95"}), number(r, {"armDepth", "depth", "max"}),
              100 * number(r, {"armDepth", "deeperThan10"}), number(r, {"jumps", "newPops"}), number(r, {"againstReference", "arms", "mean"}), number(r, {"againstReference", "arms", "p95"}),
              number(r, {"againstReference", "legs", "mean"}), number(r, {"againstReference", "legs", "p95"}), 100 * number(r, {"moved", "withoutFlawNear"}));
}

class FinishedPair : public testing::TestWithParam<std::pair<const char*, const char*>> {};

TEST_P(FinishedPair, IsJudgedFromItsFile) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  if (!canFinish()) GTEST_SKIP() << "finish is not there yet";
  const auto [performer, character] = GetParam();
  const TemporaryFolder folder;
  JudgeCase c = corpusCase(corpus, performer, character, folder.path());
  c.more.insert(c.more.end(), {"--search", "100", "--seed", "7"});
  const Json r = judged(c);
  ASSERT_FALSE(r.contains("error")) << r["error"];
  print(std::string(performer) + " on " + character, r);
  std::printf("  clearance, seed 7: %s of %s possible ones solved, %s asked\n", r["search"]["solved"].dump().c_str(), r["search"]["possible"].dump().c_str(), r["search"]["asked"].dump().c_str());
  EXPECT_TRUE(r["finite"]);
  EXPECT_EQ(r["jumps"]["flips"], 0);
  if (r.contains("plants")) {
    EXPECT_GE(number(r, {"plants", "covered"}), 0.9);
    EXPECT_LE(number(r, {"plants", "inSwing"}, 1), 0.05);
    EXPECT_LE(number(r, {"plants", "edgeMedianMs"}, 1e9), 1000.0 / 30);
    EXPECT_LE(number(r, {"feet", "offGround", "max"}, 1e9), 1);
  }
  if (!r["hands"]["spans"].empty()) {
    EXPECT_LE(number(r, {"hands", "drift", "max"}, 1e9), 0.5);
  } else {
    // Both hands on one prop leave too little room on the widest bodies: printed, not asserted.
    EXPECT_LE(number(r, {"armDepth", "deeperThan10"}), 0.02);
  }
}

INSTANTIATE_TEST_SUITE_P(Corpus, FinishedPair,
                         testing::Values(std::pair{"gait_fullbody_walk.bvh", "CesiumMan.gltf"}, std::pair{"gait_fullbody_walk.bvh", "KayKit_Knight.glb"},
                                         std::pair{"gait_walk1_lowerbody.bvh", "RobotExpressive.glb"}, std::pair{"walk_figure8.bvh", "Quaternius_Alien.fbx"},
                                         std::pair{"cmu_02_07_swordplay.bvh", "KayKit_Knight.glb"}, std::pair{"cmu_02_07_swordplay.bvh", "CesiumMan.gltf"},
                                         std::pair{"child_zombie_walk_zup.bvh", "RobotExpressive.glb"}, std::pair{"cmu_12_01_walk_tpose_first.bvh", "KayKit_Knight.glb"}));

/// The demo of a seed: every flaw that was put in.
class FinishedDemo : public testing::TestWithParam<int> {};

TEST_P(FinishedDemo, NoFlawIsLeft) {
  if (!canFinish()) GTEST_SKIP() << "finish is not there yet";
  // The first ten seeds are fixed, the others belong to the commit.
  std::string commit;
  const int which = GetParam();
  const unsigned seed = which < 10 ? static_cast<unsigned>(which + 1) : seedsOfCommit(10, &commit)[static_cast<std::size_t>(which - 10)];
  const TemporaryFolder folder;
  ASSERT_EQ(runProgram({bin + "make-samples", "--seed", std::to_string(seed), "--out", folder.path()}).exitCode, 0);
  ASSERT_EQ(runProgram({bin + "understudy-cli", "map", "--performer", folder.file("sweep.bvh"), "--character", folder.file("keeper.glb"), "--out", folder.file("map.json"), "--quiet"}).exitCode, 0);
  JudgeCase c;
  c.performer = folder.file("sweep.bvh");
  c.character = folder.file("keeper.glb");
  c.maps = {"--map", folder.file("map.json")};
  c.more = {"--truth", folder.file("truth.json")};
  c.folder = folder.path();
  const Json r = judged(c);
  ASSERT_FALSE(r.contains("error")) << r["error"];
  print("demo of seed " + std::to_string(seed) + (commit.empty() ? "" : " of " + commit), r);
  for (const Json& flaw : r["truth"])
    std::printf("  %s: put %s %s, before %s, after %s (bar %s)%s\n", flaw["kind"].get<std::string>().c_str(), flaw["put"].dump().c_str(), flaw["unit"].get<std::string>().c_str(),
                flaw["before"].dump().c_str(), flaw["after"].dump().c_str(), flaw["bar"].dump().c_str(), flaw["gone"] == Json(false) ? "  LEFT" : "");
  EXPECT_TRUE(r["finite"]);
  for (const Json& flaw : r["truth"])
    if (const std::string kind = flaw["kind"]; kind != "twist" && kind != "missed mark") {
      EXPECT_EQ(flaw["gone"], Json(true)) << flaw;
    }
  EXPECT_LE(number(r, {"feet", "slipFrame", "max"}, 1e9), 0.1);
  EXPECT_LE(number(r, {"feet", "slipTotal", "max"}, 1e9), 0.5);
  EXPECT_LE(number(r, {"feet", "offGround", "max"}, 1e9), 1);
  EXPECT_LE(number(r, {"soles", "heelWhenFlat", "max"}, 1e9), 1);
  EXPECT_LE(number(r, {"soles", "ballWhenFlat", "max"}, 1e9), 1);
  EXPECT_GE(number(r, {"plants", "covered"}), 0.9);
  EXPECT_LE(number(r, {"plants", "inSwing"}, 1e9), 0.05);
  ASSERT_GE(r["hands"]["spans"].size(), 1U);
  EXPECT_LE(number(r, {"hands", "drift", "max"}, 1e9), 0.5);
  EXPECT_LE(number(r, {"hands", "turn", "max"}, 1e9), 0.5);
  // Arms where the body is not in their way.
  EXPECT_LE(number(r, {"againstReference", "armsFree", "mean"}), 5);
  EXPECT_LE(number(r, {"againstReference", "armsFree", "p95"}), 15);
  EXPECT_LE(number(r, {"againstReference", "legs", "mean"}, 1e9), 5);
  EXPECT_LE(number(r, {"againstReference", "legs", "p95"}, 1e9), 15);
  EXPECT_LE(number(r, {"moved", "withoutFlawNear"}, 1e9), 0.02);
  EXPECT_EQ(r["jumps"]["flips"], 0);
}

INSTANTIATE_TEST_SUITE_P(Seeds, FinishedDemo, testing::Range(0, 20));

/// Farthest that a joint of one file's clip is from where it is in another's, mm on a character 1.7 m tall. Files as finish leaves them.
double farthestApart(const std::string& one, const std::string& other) {
  const auto read = [](const std::string& path) { return readFigure(path).value(); };
  const Figure a = read(one), b = read(other);
  const auto motion = [](const Figure& figure) { return sample(figure.clips[static_cast<std::size_t>(defaultClip(figure))], figure.skeleton).value(); };
  const Motion p = motion(a), q = motion(b);
  EXPECT_EQ(p.frames, q.frames);
  EXPECT_EQ(a.skeleton.size(), b.skeleton.size());
  double farthest = 0, low = 1e300, high = -1e300;
  for (int f = 0; f < std::min(p.frames, q.frames); ++f) {
    const std::vector<Affined> x = worldAt(a.skeleton, p, f), y = worldAt(b.skeleton, q, f);
    for (std::size_t j = 0; j < std::min(x.size(), y.size()); ++j) {
      const Vec3d there = apply(a.space.toWorld(), x[j].translation);
      farthest = std::max(farthest, length(there - apply(b.space.toWorld(), y[j].translation)));
      if (f == 0) low = std::min(low, there.y), high = std::max(high, there.y);
    }
  }
  return 1700 * farthest / std::max(1e-9, high - low);
}

class FinishedAgain : public testing::TestWithParam<std::pair<const char*, const char*>> {};

TEST_P(FinishedAgain, ChangesNothing) {
  if (!canFinish()) GTEST_SKIP() << "finish is not there yet";
  const auto [performer, character] = GetParam();
  const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
  const bool demo = std::string(performer) == "sweep.bvh";
  if (!demo && !std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const TemporaryFolder folder;
  const std::string from = (demo ? samples : corpus + "/motion/") + performer, on = (demo ? samples : corpus + "/characters/") + character;
  const auto finish = [&](const std::string& captured, const std::string& out) {
    return runProgram({bin + "understudy-cli", "finish", "--performer", captured, "--character", on, "--out", folder.file(out), "--no-pictures", "--quiet"}).exitCode;
  };
  ASSERT_EQ(finish(from, "one"), 0);
  // On its own take: no new repair, the same motion to the byte.
  const auto reel = loadReel(folder.file("one/result.reel"));
  ASSERT_TRUE(reel.ok());
  const Take& take = *reel->currentTake();
  const auto sources = readSources(take);
  ASSERT_TRUE(sources.ok());
  const auto once = evaluate(take, *sources);
  ASSERT_TRUE(once.ok());
  const auto again = finishTake(take, *sources);
  ASSERT_TRUE(again.ok());
  EXPECT_TRUE(again->take == take) << again->take.repairs->size() << " repairs instead of " << take.repairs->size();
  EXPECT_TRUE(again->evaluated.motion.flat() == once->motion.flat());
  // On its own export, chosen by itself among the character's clips: nothing is proposed, nothing moves.
  ASSERT_EQ(finish(folder.file("one/result.glb"), "own"), 0);
  const Json first = Json::parse(readFile(folder.file("one/report.json"))), report = Json::parse(readFile(folder.file("own/report.json")));
  EXPECT_EQ(report["clip"], "Understudy");
  EXPECT_EQ(report["repairs"].size(), 0U);
  const auto unexplained = [](const Json& r) { return r["unexplained"].get<int>(); };
  EXPECT_LE(unexplained(report), unexplained(first));
  // What was left is told again, not hidden.
  int left = 0, now = 0;
  for (const Json& f : first["findings"]) left += f["state"] == "remaining";
  for (const Json& f : report["findings"]) {
    now += f["state"] == "remaining";
    EXPECT_NE(f["state"], "repaired") << f["sentence"];
  }
  EXPECT_GE(now, (left + 1) / 2);
  const double apart = farthestApart(folder.file("one/result.glb"), folder.file("own/result.glb"));
  std::printf("%s on %s: %d left, on its own export %d; joints at most %.4f mm apart\n", performer, character, left, now, apart);
  EXPECT_LE(apart, 0.1);
}

INSTANTIATE_TEST_SUITE_P(Pairs, FinishedAgain,
                         testing::Values(std::pair{"sweep.bvh", "keeper.glb"}, std::pair{"child_dab_zup.bvh", "CesiumMan.gltf"}, std::pair{"cmu_02_07_swordplay.bvh", "CesiumMan.gltf"},
                                         std::pair{"walk_figure8.bvh", "KayKit_Knight.glb"}, std::pair{"gait_walk1_lowerbody.bvh", "RobotExpressive.glb"},
                                         std::pair{"child_dab_zup.bvh", "RobotExpressive.glb"}, std::pair{"gait_fullbody_walk.bvh", "Quaternius_Alien.fbx"},
                                         // What clearance and touches leave shaking is no shaking of a capture.
                                         std::pair{"boxing_toes.bvh", "RobotExpressive.glb"}, std::pair{"cmu_02_10_wash_self.bvh", "KayKit_Knight.glb"}));

constexpr double degree = 3.14159265358979323846 / 180;
bool isTurned(FlawKind kind) { return kind == FlawKind::pop || kind == FlawKind::twist || kind == FlawKind::flip; }

struct Injected {
  int put = 0, gone = 0;
  Json judgement;
};

/// Puts flaws of these kinds (up to `count` of each, never two near each other on one limb) into a captured clip, finishes it and
/// asks the checker which of them are gone; prints the others.
Injected injected(const char* performer, const char* character, const std::vector<FlawKind>& kinds, int count, unsigned seed) {
  Injected out;
  const TemporaryFolder folder;
  Result<Figure> figure = readFigure(corpus + "/motion/" + performer);
  const SkeletonMap map = truthMap(corpus, performer, figure.value());
  const Motion clean = sample(figure->clips[0], figure->skeleton).value();
  // Stances and grips as the checker sees them in the clean clip.
  JudgeCase c = corpusCase(corpus, performer, character, folder.path());
  c.judgePlain = true;
  const Json before = judged(c);
  if (before.contains("error")) throw std::runtime_error(before["error"].get<std::string>());
  FlawPlaces places;
  for (const Json& s : before["feet"]["list"])
    places.stances.push_back({s["side"] == "left" ? Role::leftFoot : Role::rightFoot, s["judged"][0].get<int>() - 1, s["judged"][1].get<int>() - 1});
  Json grip;
  for (const Json& s : before["hands"]["spans"]) {
    grip = {{"supportGrip", {s["first"], s["last"]}}};
    places.grips = {{s["lead"] == "left" ? Role::rightHand : Role::leftHand, s["first"].get<int>() + 30, s["last"].get<int>() - 30}};
    break;
  }
  constexpr int apart = 40;
  std::vector<Flaw> flaws;
  for (const FlawKind kind : kinds) {
    const double least = kind == FlawKind::pop ? 10 * degree : isTurned(kind) ? 60 * degree : 0.01, most = kind == FlawKind::pop ? 25 * degree : isTurned(kind) ? 150 * degree : 0.03;
    for (const Flaw& flaw : drawFlaws(kind, count, map, clean, places, least, most, seed, apart))
      if (std::none_of(flaws.begin(), flaws.end(), [&](const Flaw& other) {
            return limbOfBone("@" + std::string(roleName(other.role))) == limbOfBone("@" + std::string(roleName(flaw.role))) && flaw.first <= other.last + apart && other.first <= flaw.last + apart;
          }))
        flaws.push_back(flaw);
  }
  if (flaws.empty()) return out;
  const Motion flawed = withFlaws(*figure, map, clean, flaws);
  BakedClip baked;
  baked.motion = &flawed;
  for (int j = 0; j < figure->skeleton.size(); ++j) baked.rotated.push_back(j);
  c.performer = folder.file("flawed.bvh");
  if (!writeBvh(*figure, baked, c.performer).ok()) throw std::runtime_error("the flawed clip cannot be written");
  Json truth{{"flaws", Json::array()}, {"broom", grip}};
  for (const Flaw& f : flaws)
    truth["flaws"].push_back(
        {{"kind", flawName(f.kind)}, {"bone", roleName(f.role)}, {"frames", {f.first + 1, f.last + 1}}, {"size", isTurned(f.kind) ? f.size / degree : f.size * 1000}, {"unit", isTurned(f.kind) ? "deg" : "mm"}});
  writeFile(folder.file("truth.json"), truth.dump());
  c.judgePlain = false;
  c.more = {"--truth", folder.file("truth.json")};
  out.judgement = judged(c);
  if (out.judgement.contains("error")) throw std::runtime_error(out.judgement["error"].get<std::string>());
  for (const Json& f : out.judgement["truth"]) {
    ++out.put;
    out.gone += f["gone"] == Json(true);
    if (f["gone"] != Json(true))
      std::printf("  left, %s on %s: %s %s frames %s put %s before %s after %s\n", performer, character, f["kind"].get<std::string>().c_str(), f["role"].dump().c_str(), f["frames"].dump().c_str(),
                  f["put"].dump().c_str(), f["before"].dump().c_str(), f["after"].dump().c_str());
  }
  return out;
}

/// Flaws put into captured clips.
class InjectedFlaws : public testing::TestWithParam<FlawKind> {};

TEST_P(InjectedFlaws, AreGoneAfterFinish) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  if (!canFinish()) GTEST_SKIP() << "finish is not there yet";
  const FlawKind kind = GetParam();
  int put = 0, gone = 0;
  using Pair = std::pair<const char*, const char*>;
  const std::vector<Pair> pairs = kind == FlawKind::gripDrift ? std::vector<Pair>{{"cmu_02_07_swordplay.bvh", "CesiumMan.gltf"}}
                                                              : std::vector<Pair>{{"walk_figure8.bvh", "CesiumMan.gltf"}, {"child_zombie_walk_zup.bvh", "RobotExpressive.glb"}};
  for (const auto& [performer, character] : pairs) {
    const Injected here = injected(performer, character, {kind}, 8, 11);
    put += here.put;
    gone += here.gone;
  }
  std::printf("%s: %d of %d put in are gone\n", flawName(kind).c_str(), gone, put);
  RecordProperty("put", put);
  RecordProperty("gone", gone);
  ASSERT_GT(put, 0);
  if (kind == FlawKind::flip || kind == FlawKind::pop || kind == FlawKind::gripDrift) {
    EXPECT_GE(gone, 0.95 * put);
  }
}

INSTANTIATE_TEST_SUITE_P(Kinds, InjectedFlaws,
                         testing::Values(FlawKind::slide, FlawKind::floating, FlawKind::sink, FlawKind::pop, FlawKind::flip, FlawKind::twist, FlawKind::depth, FlawKind::gripDrift));

/// Flaws of all kinds at once, in every captured clip on one body.
class InjectedInto : public testing::TestWithParam<const char*> {};

TEST_P(InjectedInto, EveryClipIsGone) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  int put = 0, gone = 0;
  for (const char* performer : {"walk_figure8.bvh", "gait_fullbody_walk.bvh", "child_zombie_walk_zup.bvh", "child_dab_zup.bvh", "boxing_toes.bvh", "cmu_02_07_swordplay.bvh",
                                "cmu_02_10_wash_self.bvh", "cmu_12_01_walk_tpose_first.bvh"}) {
    const Injected here =
        injected(performer, GetParam(), {FlawKind::slide, FlawKind::floating, FlawKind::sink, FlawKind::pop, FlawKind::flip, FlawKind::twist, FlawKind::depth}, 3, 11);
    std::printf("%s on %s: %d of %d put in are gone\n", performer, GetParam(), here.gone, here.put);
    put += here.put;
    gone += here.gone;
  }
  std::printf("%s: %d of %d put in are gone\n", GetParam(), gone, put);
  ASSERT_GT(put, 80);
  EXPECT_GE(gone, 0.95 * put);
}

INSTANTIATE_TEST_SUITE_P(Bodies, InjectedInto, testing::Values("CesiumMan.gltf", "KayKit_Knight.glb", "RobotExpressive.glb", "Quaternius_Alien.fbx"), [](const auto& each) {
  return std::string(each.param).substr(0, std::string(each.param).find('.'));
});

}  // namespace
}  // namespace understudy
