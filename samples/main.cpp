// make-samples: makes the demo files, the same bytes for the same seed.
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

#include "core/io/write.h"
#include "samples/keeper.h"
#include "samples/performance.h"
#include "samples/write_glb.h"

namespace {

using namespace understudy;
using namespace understudy::samples;

constexpr const char* help =
    R"(make-samples: makes the demo files of the lighthouse keeper.

  make-samples [--seed N] [--out DIR] [--t-pose] [--clean]

  --seed N    a whole number from 1; 1 makes the committed files, others vary timing, sizes and proportions
  --out DIR   where to write (made if missing); default: the current folder
  --t-pose    the character with straight arms instead of the A-pose
  --clean     the performance without the flaws put in on purpose

Exit codes: 0 written, 1 wrong options, 4 could not write.
)";

int say(const Issue& issue, int code) {
  std::fprintf(stderr, "%s\n", issue.text().c_str());
  return code;
}

}  // namespace

int main(int argc, char** argv) {
  KeeperSettings settings;
  PerformanceSettings performanceSettings;
  std::string out = ".";
  for (int i = 1; i < argc; ++i) {
    const std::string option = argv[i];
    if (option == "--help" || option == "-h") {
      std::fputs(help, stdout);
      return 0;
    }
    if (option == "--t-pose") {
      settings.tPose = true;
    } else if (option == "--clean") {
      performanceSettings.clean = true;
    } else if (option == "--out" && i + 1 < argc) {
      out = argv[++i];
    } else if (option == "--seed" && i + 1 < argc) {
      char* end = nullptr;
      settings.seed = std::strtoull(argv[++i], &end, 10);
      if (*end != '\0' || settings.seed == 0)
        return say(makeError(Fault::usage, std::string(argv[i]) + " is no seed", "--seed", "give a whole number from 1"), 1);
    } else {
      return say(makeError(Fault::usage, "unknown option or missing value: " + option, {}, "see make-samples --help"), 1);
    }
  }
  std::error_code failed;
  std::filesystem::create_directories(out, failed);
  const auto write = [&](const std::string& name, const std::string& bytes) {
    const Status status = writeBytes(out + "/" + name, bytes);
    if (!status) say(status.error(), 4);
    return status.ok();
  };
  if (!write("keeper.glb", glbOf(makeKeeper(settings), "keeper_body"))) return 4;
  performanceSettings.seed = settings.seed;
  const Performance performance = makePerformance(performanceSettings);
  if (!write("broom.glb", glbOf(makeBroom(performance.broomLength), "broom"))) return 4;
  if (!write("sweep.bvh", bvhOf(performance))) return 4;
  if (!write("truth.json", truthOf(performance, settings.seed))) return 4;
  if (performance.worstReach > 2e-4) {
    std::fprintf(stderr, "a hand falls %.1f mm short of the shaft\n", performance.worstReach * 1000);
  }
  return 0;
}
