// Untwisting, smoothing, holding and offsets, per frame of a 70-bone character.
#include <benchmark/benchmark.h>

#include "core/repair/hold.h"
#include "core/repair/offset.h"
#include "core/repair/smooth.h"
#include "core/repair/untwist.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

/// The stick character with fingers' worth of further joints, 70 in all, walking for 1,000 frames.
const test::Stand& stand() {
  static const test::Stand made = [] {
    const test::Stand stick = test::walkingStick(2, 0);
    auto figure = std::make_shared<Figure>(*stick.context->figure);
    const int hand = stick.context->joint(Role::leftHand);
    while (figure->skeleton.size() < 70) figure->skeleton.add("extra" + std::to_string(figure->skeleton.size()), hand, {{0.05, 0, 0}, {}, {1, 1, 1}}, figure->skeleton.size());
    return test::swinging(figure, stick.context->map, 1000, 40, 3);
  }();
  return made;
}

template <class Make>
void layerOf(benchmark::State& state, RepairAction action, Make make) {
  Repair repair;
  repair.action = std::move(action);
  Issues issues;
  const TiledMotion in = stand().motion;
  for (auto _ : state) {
    // A new layer each time: what it finds out about its input is kept otherwise.
    const RepairLayerPtr layer = make(stand().context, std::vector<const Repair*>{&repair}, issues);
    benchmark::DoNotOptimize(test::runLayer(*layer, in).motion.rotationsAt(0).data());
  }
  state.counters["us_per_frame"] = benchmark::Counter(in.frames() * 1e-6, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}

const auto offsets = [](auto context, auto repairs, Issues& issues) { return makeOffsetLayer(context, repairs, {}, issues); };
BENCHMARK_CAPTURE(layerOf, untwist, UntwistRepair{}, makeUntwistLayer);
BENCHMARK_CAPTURE(layerOf, smooth_all_6_hertz, SmoothRepair{}, makeSmoothLayer);
BENCHMARK_CAPTURE(layerOf, smooth_arm_6_hertz, (SmoothRepair{{"@leftUpperArm", "@leftLowerArm", "@leftHand"}, 6, true}), makeSmoothLayer);
BENCHMARK_CAPTURE(layerOf, still_all, StillRepair{}, makeHoldLayer);
BENCHMARK_CAPTURE(layerOf, offset_own_axes, (OffsetRepair{{{"@leftUpperArm", {0.1, 0.2, 0.3}, {}}}, NudgeSpace::bone, true}), offsets);
BENCHMARK_CAPTURE(layerOf, offset_world, (OffsetRepair{{{"@leftUpperArm", {0.1, 0.2, 0.3}, {}}}, NudgeSpace::world, true}), offsets);

}  // namespace
}  // namespace understudy
