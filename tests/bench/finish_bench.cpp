// Repairs and the whole job, on the samples and on a clip of 36,000 frames made of them.
#include <benchmark/benchmark.h>

#include <cmath>
#include <filesystem>

#include "core/io/read.h"
#include "core/job/finish.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

/// The keeper's performance, repeated until it has `frames` frames; `varied`: each time a little differently, so that no pose comes twice.
Sources longSources(int frames, bool varied = false) {
  const std::string folder = UNDERSTUDY_SOURCE "/samples/";
  Sources sources;
  Result<Figure> performer = readFigure(folder + "sweep.bvh"), character = readFigure(folder + "keeper.glb");
  if (!performer || !character) return sources;
  Result<Motion> once = sample(performer->clips[0], performer->skeleton);
  if (!once) return sources;
  if (frames > once->frames) {
    Motion whole;
    whole.rate = once->rate;
    whole.joints = once->joints;
    whole.movedJoints = once->movedJoints;
    while (whole.frames < frames) {
      const auto part = static_cast<std::size_t>(std::min(once->frames, frames - whole.frames));
      whole.rotations.insert(whole.rotations.end(), once->rotations.begin(), once->rotations.begin() + static_cast<std::ptrdiff_t>(part * static_cast<std::size_t>(once->joints)));
      whole.translations.insert(whole.translations.end(), once->translations.begin(),
                                once->translations.begin() + static_cast<std::ptrdiff_t>(part * once->movedJoints.size()));
      if (varied)
        for (std::size_t k = 0; k < part * static_cast<std::size_t>(once->joints); ++k) {
          const auto joint = static_cast<double>(k % static_cast<std::size_t>(once->joints)), loop = static_cast<double>(whole.frames / once->frames);
          Quatf& turn = whole.rotations[static_cast<std::size_t>(whole.frames) * static_cast<std::size_t>(once->joints) + k];
          turn = Quatf(Quatd(turn) * fromAxisAngle(Vec3d{0, 0, 1}, 0.004 * std::sin(1.7 * loop + joint)));
        }
      whole.frames += static_cast<int>(part);
    }
    makeContinuous(whole);
    performer->clips[0].sampled = std::make_shared<const Motion>(std::move(whole));
  }
  sources.performer = std::make_shared<const Figure>(std::move(*performer));
  sources.character = std::make_shared<const Figure>(std::move(*character));
  return sources;
}

Take takeOf() {
  Take take;
  take.performer = FileReference{UNDERSTUDY_SOURCE "/samples/sweep.bvh"};
  take.character = FileReference{UNDERSTUDY_SOURCE "/samples/keeper.glb"};
  return take;
}

RunControl oneThread() {
  RunControl control;
  control.threads = 1;
  return control;
}

/// find and accept everything, files read apart.
void finishSources(benchmark::State& state, const Sources& sources, const RunControl& control) {
  if (!sources.performer) return state.SkipWithError("the samples cannot be read");
  for (auto _ : state) {
    const Result<Finished> done = finishTake(takeOf(), sources, {}, nullptr, control);
    if (!done) return state.SkipWithError(done.error().text().c_str());
    benchmark::DoNotOptimize(done->evaluated.motion.rotationsAt(0).data());
  }
  state.counters["us_per_frame"] =
      benchmark::Counter(static_cast<double>(state.range(0)) * 1e-6, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}

/// On one thread.
void finishClip(benchmark::State& state) { finishSources(state, longSources(static_cast<int>(state.range(0))), oneThread()); }
BENCHMARK(finishClip)->Arg(612)->Arg(36000)->Unit(benchmark::kMillisecond);

/// On all cores.
void finishOnAll(benchmark::State& state) { finishSources(state, longSources(static_cast<int>(state.range(0))), {}); }
BENCHMARK(finishOnAll)->Arg(36000)->Unit(benchmark::kMillisecond)->UseRealTime();

/// Of a clip in which nothing comes twice, on one thread: what a clip as long as that costs that no memory helps.
void finishVaried(benchmark::State& state) { finishSources(state, longSources(static_cast<int>(state.range(0)), true), oneThread()); }
BENCHMARK(finishVaried)->Arg(6120)->Unit(benchmark::kMillisecond);

/// All repairs of a finished take, evaluated anew on the retargeted clip: the stack without retargeting and analyses.
void repairStack(benchmark::State& state) {
  const Sources sources = longSources(612);
  if (!sources.performer) return state.SkipWithError("the samples cannot be read");
  EvaluationCache cache;
  const Result<Finished> done = finishTake(takeOf(), sources, {}, &cache, oneThread());
  if (!done) return state.SkipWithError(done.error().text().c_str());
  Take bare = done->take;
  bare = setRepairs(bare, {});
  for (auto _ : state) {
    state.PauseTiming();
    const auto none = evaluate(bare, sources, &cache, oneThread());
    state.ResumeTiming();
    const auto all = evaluate(done->take, sources, &cache, oneThread());
    if (!none || !all) return state.SkipWithError("the evaluation failed");
    benchmark::DoNotOptimize(all->motion.rotationsAt(0).data());
  }
  state.counters["us_per_frame"] = benchmark::Counter(612 * 1e-6, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
  state.counters["repairs"] = static_cast<double>(done->take.repairs->size());
}
BENCHMARK(repairStack)->Unit(benchmark::kMillisecond);

/// A nudge is dragged in the middle of 36,000 frames under range(0) of the clip's repairs: until the pose there is known.
void nudgeInLongClip(benchmark::State& state) {
  const Sources sources = longSources(36000);
  if (!sources.performer) return state.SkipWithError("the samples cannot be read");
  EvaluationCache cache;
  Result<Finished> done = finishTake(takeOf(), sources, {}, &cache);
  if (!done) return state.SkipWithError(done.error().text().c_str());
  Nudge nudge = nudgeAt(done->evaluated, 18000);
  nudge.joints = {{"@spine", {0.1, 0, 0}, {}}};
  // Those nearest to the nudge.
  Repairs kept = *done->take.repairs;
  const double middle = nudge.time;
  std::stable_sort(kept.begin(), kept.end(), [&](const Node<Repair>& a, const Node<Repair>& b) {
    const auto away = [&](const Repair& r) { return r.span ? std::abs((r.span->first + r.span->last) / 2 - middle) : 0.0; };
    return away(*a) < away(*b);
  });
  if (static_cast<int>(kept.size()) > state.range(0)) kept.resize(static_cast<std::size_t>(state.range(0)));
  Take take = addNudge(setRepairs(done->take, kept), nudge, &nudge.id);
  double turn = 0.1;
  long before = 0, after = 0;
  if (!evaluate(take, sources, &cache)) return state.SkipWithError("the evaluation failed");
  for (auto _ : state) {
    nudge.joints[0].rotation.x = turn += 0.001;
    take = changeNudge(take, nudge);
    const auto seen = evaluate(take, sources, &cache);
    if (!seen) return state.SkipWithError("the evaluation failed");
    benchmark::DoNotOptimize(seen->motion.rotationsAt(18000).data());
    before = after;
    after = 0;
    for (const long frames : seen->framesRun) after += frames;
  }
  state.counters["frames_run"] = static_cast<double>(after - before);
  state.counters["repairs"] = static_cast<double>(take.repairs->size());
}
BENCHMARK(nudgeInLongClip)->Arg(12)->Arg(100000)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace understudy
