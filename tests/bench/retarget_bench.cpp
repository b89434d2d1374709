// Retargeting, per joint and frame of the performer.
#include <benchmark/benchmark.h>

#include <cstdlib>
#include <filesystem>

#include "core/io/read.h"
#include "core/retarget/retarget.h"

namespace understudy {
namespace {

void retargetClip(benchmark::State& state, const char* performerFile, const char* characterFile) {
  const std::string corpus = UNDERSTUDY_CORPUS;
  if (!std::filesystem::exists(corpus)) return state.SkipWithError("no open corpus beside the project");
  const Result<Figure> performer = readFigure(corpus + "/motion/" + performerFile), character = readFigure(corpus + "/characters/" + characterFile);
  if (!performer || !character) return state.SkipWithError("a file cannot be read");
  const BoneMap map{mapRoles(*performer), mapRoles(*character)};
  const Result<Motion> clip = sample(performer->clips[0], performer->skeleton);
  for (auto _ : state) {
    const Result<Retargeted> result = retarget(*performer, *clip, *character, map);
    if (!result) return state.SkipWithError("retargeting failed");
    benchmark::DoNotOptimize(result->motion.rotations.data());
  }
  int joints = 0;
  for (const std::string& name : performer->skeleton.names) joints += !name.empty();
  state.counters["ns_per_joint_frame"] =
      benchmark::Counter(static_cast<double>(clip->frames) * joints * 1e-9, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
  state.counters["frames"] = clip->frames;
}

BENCHMARK_CAPTURE(retargetClip, swordplay_on_knight, "cmu_02_07_swordplay.bvh", "KayKit_Knight.glb")->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(retargetClip, wash_self_on_robot, "cmu_02_10_wash_self.bvh", "RobotExpressive.glb")->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(retargetClip, boxing_on_cesium_man, "boxing_toes.bvh", "CesiumMan.gltf")->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace understudy

namespace understudy {
namespace {

/// The two figures tests/bench/compare_three.mjs pairs with three.js, on the file UNDERSTUDY_BENCH_FILE names.
void compareRead(benchmark::State& state) {
  const char* file = std::getenv("UNDERSTUDY_BENCH_FILE");
  if (!file) return state.SkipWithError("UNDERSTUDY_BENCH_FILE is not set");
  for (auto _ : state) {
    const Result<Figure> figure = readBvh(file);
    if (!figure) return state.SkipWithError("the file cannot be read");
    benchmark::DoNotOptimize(figure->skeleton.parents.data());
  }
}

void compareRetarget(benchmark::State& state) {
  const char* file = std::getenv("UNDERSTUDY_BENCH_FILE");
  if (!file) return state.SkipWithError("UNDERSTUDY_BENCH_FILE is not set");
  const Result<Figure> figure = readBvh(file);
  if (!figure) return state.SkipWithError("the file cannot be read");
  const SkeletonMap map = mapRoles(*figure);
  const Result<Motion> clip = sample(figure->clips[0], figure->skeleton);
  for (auto _ : state) {
    const Result<Retargeted> result = retarget(*figure, *clip, *figure, {map, map});
    if (!result) return state.SkipWithError("retargeting failed");
    benchmark::DoNotOptimize(result->motion.rotations.data());
  }
}

BENCHMARK(compareRead)->Name("compare/read")->Unit(benchmark::kMillisecond);
BENCHMARK(compareRetarget)->Name("compare/retarget")->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace understudy
