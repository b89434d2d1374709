#include <benchmark/benchmark.h>

#include <string>

#include "core/mapping/bone_map.h"

namespace {

// A plain figure with toes and five fingers, filled up to the wanted number of joints with hair chains on the head.
understudy::Figure figureOf(int joints) {
  using namespace understudy;
  Figure f;
  f.format = "glTF 2.0";
  Skeleton& sk = f.skeleton;
  const auto add = [&](const std::string& name, int parent, Vec3d t) {
    Trsd rest;
    rest.translation = t;
    return sk.add(name, parent, rest, sk.size());
  };
  const int hips = add("Hips", -1, {0, 1, 0}), spine = add("Spine", hips, {0, .1, 0}), chest = add("Chest", spine, {0, .2, 0}),
            neck = add("Neck", chest, {0, .2, 0}), head = add("Head", neck, {0, .1, 0});
  for (const int s : {1, -1}) {
    const std::string side = s > 0 ? "Left" : "Right";
    int j = add(side + "UpLeg", hips, {.1 * s, -.05, 0});
    j = add(side + "Leg", j, {0, -.43, .01});
    j = add(side + "Foot", j, {0, -.43, -.02});
    add(side + "ToeBase", j, {0, -.07, .13});
    j = add(side + "Shoulder", chest, {.04 * s, .15, 0});
    j = add(side + "Arm", j, {.14 * s, 0, 0});
    j = add(side + "ForeArm", j, {.28 * s, 0, -.01});
    const int hand = add(side + "Hand", j, {.25 * s, 0, .01});
    for (int finger = 0; finger < 5; ++finger) {
      static const char* names[] = {"Thumb", "Index", "Middle", "Ring", "Pinky"};
      int k = hand;
      for (int i = 1; i <= 3; ++i)
        k = add(side + "Hand" + names[finger] + std::to_string(i), k, {(i == 1 ? .08 : .03) * s, 0, i == 1 ? .04 - .02 * finger : 0});
    }
  }
  for (int strand = 0; sk.size() < joints; ++strand) {
    int k = head;
    for (int i = 0; i < 4 && sk.size() < joints; ++i)
      k = add("Hair" + std::to_string(strand) + "_" + std::to_string(i), k, {.01 * (strand % 7 - 3), -.04, -.03});
  }
  return f;
}

void mapFigure(benchmark::State& state) {
  const understudy::Figure f = figureOf(static_cast<int>(state.range(0)));
  understudy::MapSettings settings;
  settings.useNames = state.range(1) != 0;
  for (auto _ : state) benchmark::DoNotOptimize(understudy::mapRoles(f, settings));
}
BENCHMARK(mapFigure)
    ->ArgNames({"joints", "names"})
    ->Args({60, 1})
    ->Args({100, 1})
    ->Args({100, 0})
    ->Args({400, 1})
    ->Unit(benchmark::kMillisecond);

}  // namespace
