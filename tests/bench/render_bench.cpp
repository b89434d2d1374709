// How long the stage takes to draw: 30,000 triangles, 80 bones, 1280 × 720.
#include <benchmark/benchmark.h>

#include <cmath>
#include <numbers>

#include "render/offscreen.h"
#include "render/stage.h"

namespace understudy {
namespace {

/// A buoy chain of 80 bones: a tube of 30,000 triangles, four influences a vertex.
std::shared_ptr<const Figure> chain() {
  constexpr int bones = 80, rings = 250, around = 60;
  auto figure = std::make_shared<Figure>();
  Skin skin;
  const auto restAt = [](int j) { return Vec3d{0, 1.8 * j / bones, 0}; };
  for (int j = 0; j < bones; ++j) {
    skin.joints.push_back(figure->skeleton.add("link" + std::to_string(j), j - 1, {j == 0 ? restAt(0) : restAt(1), {}, {1, 1, 1}}, j));
    skin.inverseBind.push_back({Mat3d{}, -restAt(j)});
  }
  figure->skins.push_back(skin);
  Mesh mesh;
  mesh.skin = 0;
  mesh.node = 0;
  mesh.influenceStart.push_back(0);
  for (int r = 0; r <= rings; ++r) {
    const double h = 1.8 * r / rings, radius = 0.25 + 0.08 * std::sin(h * 9);
    for (int k = 0; k < around; ++k) {
      const double a = 2 * std::numbers::pi * k / around;
      mesh.positions.push_back(Vec3f(Vec3d{radius * std::cos(a), h, radius * std::sin(a)}));
      for (int i = 0; i < 4; ++i) {
        mesh.influenceJoint.push_back(static_cast<std::uint16_t>(std::clamp(r * bones / rings - 1 + i, 0, bones - 1)));
        mesh.influenceWeight.push_back(0.25f);
      }
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceWeight.size()));
      if (r == rings) continue;
      const auto at = [&](int row, int col) { return static_cast<std::uint32_t>(row * around + col % around); };
      for (const std::uint32_t v : {at(r, k), at(r + 1, k), at(r + 1, k + 1), at(r, k), at(r + 1, k + 1), at(r, k + 1)}) mesh.indices.push_back(v);
    }
  }
  figure->meshes.push_back(std::move(mesh));
  return figure;
}

void drawStage(benchmark::State& state) {
  auto context = OffscreenContext::create();
  if (!context) {
    state.SkipWithError(context.error().text().c_str());
    return;
  }
  Scene scene;
  FigureInstance instance;
  const auto figure = chain();
  instance.figure = prepareFigure(figure);
  instance.showSkeleton = true;
  std::vector<Affined> pose = restWorld(figure->skeleton);
  instance.jointWorld = pose;
  scene.figures.push_back(instance);
  Camera camera = framed(Camera{}, boundsOf(instance), 1280.0 / 720, 0.15);
  StageStyle style;
  style.samples = static_cast<int>(state.range(0));
  for (auto _ : state) {
    camera.orbit(0.01, 0);
    for (Affined& joint : pose) joint.translation.x += 1e-4;
    benchmark::DoNotOptimize((*context)->render(scene, camera, style, 1280, 720));
  }
  state.counters["frames/s"] = benchmark::Counter(static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}
BENCHMARK(drawStage)->Name("stage, moving")->Arg(1)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(drawStage)->Name("stage, idle, 4 samples")->Arg(4)->Unit(benchmark::kMillisecond)->UseRealTime();

}  // namespace
}  // namespace understudy
