// BVH text → local quaternions, in bytes of text a second.
#include <benchmark/benchmark.h>

#include <filesystem>

#include "core/io/bvh.h"

namespace {

void readClip(benchmark::State& state, const std::string& path) {
  const auto bytes = understudy::readBytes(path);
  if (!bytes) {
    state.SkipWithError("clip not found");
    return;
  }
  const std::string_view text{reinterpret_cast<const char*>(bytes->data()), bytes->size()};
  for (auto _ : state) {
    auto figure = understudy::readBvhText(text, path);
    benchmark::DoNotOptimize(figure);
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * static_cast<std::int64_t>(text.size()));
}

void readClipFromDisk(benchmark::State& state, const std::string& path) {
  for (auto _ : state) {
    auto figure = understudy::readBvh(path);
    benchmark::DoNotOptimize(figure);
  }
  std::error_code error;
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * static_cast<std::int64_t>(std::filesystem::file_size(path, error)));
}

const int registered = [] {
  const std::string folder = std::string(UNDERSTUDY_CORPUS) + "/motion/";
  for (const char* name : {"cmu_02_07_swordplay.bvh", "cmu_02_10_wash_self.bvh", "boxing_toes.bvh", "walk_figure8.bvh"}) {
    benchmark::RegisterBenchmark((std::string("bvh/text/") + name).c_str(), readClip, folder + name);
    benchmark::RegisterBenchmark((std::string("bvh/file/") + name).c_str(), readClipFromDisk, folder + name);
  }
  return 0;
}();

}  // namespace
