#include <benchmark/benchmark.h>

#include <filesystem>
#include <fstream>

#include "core/io/gltf_json.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "tests/support/tiny_gltf.h"

namespace understudy {
namespace {

const std::string knight = std::string(UNDERSTUDY_CORPUS) + "/characters/KayKit_Knight.glb";

void readKnight(benchmark::State& state) {
  if (!std::filesystem::exists(knight)) return state.SkipWithError("corpus missing");
  for (auto _ : state) benchmark::DoNotOptimize(readGltf(knight).ok());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(std::filesystem::file_size(knight)));
}
BENCHMARK(readKnight)->Name("glTF read, 8,839 accessors and 76 clips")->Unit(benchmark::kMillisecond);

void parseKnight(benchmark::State& state) {
  if (!std::filesystem::exists(knight)) return state.SkipWithError("corpus missing");
  const std::string bytes = test::load(knight);
  std::uint32_t size = 0;
  std::memcpy(&size, bytes.data() + 12, 4);
  for (auto _ : state) {
    JsonText json;
    benchmark::DoNotOptimize(json.parse(bytes.substr(20, size), "bench").ok());
  }
  state.SetBytesProcessed(state.iterations() * size);
}
BENCHMARK(parseKnight)->Name("glTF parse JSON")->Unit(benchmark::kMillisecond);

void writeKnight(benchmark::State& state) {
  if (!std::filesystem::exists(knight)) return state.SkipWithError("corpus missing");
  const Figure figure = readGltf(knight).value();
  Motion motion = restMotion(figure.skeleton, 2251, {120, 1}, {0});
  for (int f = 0; f < motion.frames; ++f)
    for (Quatf& q : motion.rotationsAt(f)) q = q * fromAxisAngle(Vec3f{0, 0, 1}, 0.001F * static_cast<float>(f % 500));
  BakedClip clip;
  clip.motion = &motion;
  clip.rotated = figure.skins[0].joints;
  const test::Folder folder;
  for (auto _ : state) benchmark::DoNotOptimize(writeIntoOwnGltf(figure, clip, folder / "out.glb").ok());
}
BENCHMARK(writeKnight)->Name("glTF add 2,251 frames to the character's own file")->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace understudy
