// Prints what whole runs of 'understudy-cli finish' cost: processor time, memory, and the steps as report.json tells them.
// Usage: understudy-finish-figures BIN-FOLDER SAMPLES [--long] [--three FOLDER] [--pair PERFORMER CHARACTER]...
//   --long    adds 36,000 frames on a character of 70 bones and 20,000 vertices, made on the spot
//   --three   a folder with three.js and retarget_three.mjs in it: adds its retargeting of the same clip, for comparison
// One thread, no pictures. The first run of a character builds its body ("built"), the second finds it kept.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "core/io/read.h"
#include "core/io/write.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

struct Cost {
  int code = -1;
  double seconds = 0;    // of the processor, user and system
  double megabytes = 0;  // at the most
};

Cost run(const std::vector<std::string>& words) {
  std::fflush(stdout);  // else the child prints it again
  const pid_t child = fork();
  if (child == 0) {
    std::vector<char*> list;
    for (const std::string& word : words) list.push_back(const_cast<char*>(word.c_str()));
    list.push_back(nullptr);
    if (!std::freopen("/dev/null", "w", stdout)) _exit(127);
    execv(list[0], list.data());
    _exit(127);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  const auto seconds = [](const timeval& t) { return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec); };
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, seconds(used.ru_utime) + seconds(used.ru_stime), static_cast<double>(used.ru_maxrss) / 1024};
}

/// The performance forwards and backwards until it has `frames` frames.
std::string longClip(const std::string& bvh, int frames) {
  const std::size_t motion = bvh.find("MOTION"), time = bvh.find("Frame Time", motion), first = bvh.find('\n', time) + 1;
  std::vector<std::string> rows;
  for (std::size_t at = first; at < bvh.size();) {
    const std::size_t end = std::min(bvh.find('\n', at), bvh.size());
    if (end > at + 1) rows.push_back(bvh.substr(at, end - at));
    at = end + 1;
  }
  std::string out = bvh.substr(0, motion) + "MOTION\nFrames: " + std::to_string(frames) + "\n" + bvh.substr(time, first - time);
  const int last = static_cast<int>(rows.size()) - 1;
  for (int f = 0; f < frames; ++f) {
    const int k = f % (2 * last);
    out += rows[static_cast<std::size_t>(k <= last ? k : 2 * last - k)] + "\n";
  }
  return out;
}

/// Every triangle becomes four.
void divide(Mesh& mesh) {
  std::map<std::pair<std::uint32_t, std::uint32_t>, std::uint32_t> middles;
  std::vector<std::uint32_t> indices;
  const auto middle = [&](std::uint32_t a, std::uint32_t b) {
    const auto [at, fresh] = middles.try_emplace({std::min(a, b), std::max(a, b)}, static_cast<std::uint32_t>(mesh.positions.size()));
    if (!fresh) return at->second;
    mesh.positions.push_back((mesh.positions[a] + mesh.positions[b]) * 0.5f);
    if (!mesh.normals.empty()) mesh.normals.push_back(normalised(mesh.normals[a] + mesh.normals[b]));
    if (!mesh.texcoords.empty()) mesh.texcoords.push_back(mesh.texcoords[a]);
    if (!mesh.colours.empty()) mesh.colours.push_back(mesh.colours[a]);
    if (mesh.skin >= 0) {
      std::map<std::uint16_t, float> weights;
      for (const std::uint32_t v : {a, b})
        for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) weights[mesh.influenceJoint[k]] += mesh.influenceWeight[k];
      std::vector<std::pair<float, std::uint16_t>> heaviest;
      for (const auto& [joint, weight] : weights) heaviest.emplace_back(-weight, joint);
      std::sort(heaviest.begin(), heaviest.end());
      if (heaviest.size() > 4) heaviest.resize(4);
      float sum = 0;
      for (const auto& [weight, joint] : heaviest) sum -= weight;
      for (const auto& [weight, joint] : heaviest) mesh.influenceJoint.push_back(joint), mesh.influenceWeight.push_back(-weight / sum);
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceJoint.size()));
    }
    return at->second;
  };
  for (std::size_t i = 0; i + 2 < mesh.indices.size(); i += 3) {
    const std::uint32_t a = mesh.indices[i], b = mesh.indices[i + 1], c = mesh.indices[i + 2];
    const std::uint32_t ab = middle(a, b), bc = middle(b, c), ca = middle(c, a);
    for (const std::uint32_t v : {a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca}) indices.push_back(v);
  }
  mesh.indices = std::move(indices);
  mesh.morphs.clear();
  mesh.morphWeights.clear();
}

/// The keeper with at least `bones` bones (strands on his head) and `vertices` vertices.
bool bigCharacter(const std::string& from, const std::string& to, int bones, std::size_t vertices) {
  Result<Figure> figure = readFigure(from);
  if (!figure) return false;
  const auto count = [&] {
    std::size_t sum = 0;
    for (const Mesh& mesh : figure->meshes) sum += mesh.positions.size();
    return sum;
  };
  std::sort(figure->meshes.begin(), figure->meshes.end(), [](const Mesh& a, const Mesh& b) { return a.positions.size() > b.positions.size(); });
  for (std::size_t m = figure->meshes.size(); m-- > 0 && count() < vertices;) divide(figure->meshes[m]);
  Skeleton& skeleton = figure->skeleton;
  const Result<int> head = findJoint(skeleton, "head");
  int above = head ? *head : 0;
  while (skeleton.size() < bones) {
    Trsd rest;
    rest.translation = {0, 0.01, -0.01};
    above = skeleton.add("strand_" + std::to_string(skeleton.size()), skeleton.size() % 5 == 0 && head ? *head : above, rest, skeleton.size());
    for (Skin& skin : figure->skins) skin.joints.push_back(above), skin.inverseBind.push_back({});
  }
  Motion still;
  still.joints = skeleton.size();
  still.frames = 1;
  for (const Trsd& rest : skeleton.rest) still.rotations.emplace_back(rest.rotation);
  BakedClip clip;
  clip.motion = &still;
  clip.rotated = {0};
  const Status written = writeNewGlb(*figure, clip, to);
  if (!written) std::fprintf(stderr, "%s\n", written.error().text().c_str());
  return static_cast<bool>(written);
}

struct Pair {
  std::string name, performer, character;
};

bool measure(const std::string& bin, const std::string& work, const Pair& pair, const std::string& three) {
  const std::string out = work + "/out", cache = work + "/cache-" + pair.name;
  double frames = 0;
  for (const char* body : {"built", "kept"}) {
    const Cost cost = run({bin + "/understudy-cli", "finish", "--performer", pair.performer, "--character", pair.character, "--out", out, "--no-pictures", "--quiet", "--threads", "1", "--cache", cache});
    if (cost.code != 0) {
      std::printf("%-24s failed with code %d\n", pair.name.c_str(), cost.code);
      return false;
    }
    const Json report = Json::parse(readFile(out + "/report.json"));
    frames = report["frames"].get<double>();
    std::printf("%-24s body %-5s  %6.0f frames  %7.2f s  %6.3f s a 1,000 frames  %5.0f MB |", pair.name.c_str(), body, frames, cost.seconds, 1000 * cost.seconds / frames, cost.megabytes);
    for (const auto& [step, seconds] : report["seconds"].items()) std::printf(" %s %.3f", step.c_str(), seconds.get<double>());
    std::printf("\n");
    if (three.empty() || std::string(body) == "built") continue;
    const Cost other = run({"/usr/bin/env", "node", three + "/retarget_three.mjs", pair.performer, work + "/three.txt"});
    const double seconds = other.code == 0 ? std::strtod(readFile(work + "/three.txt").c_str(), nullptr) : 0;
    if (seconds > 0) std::printf("%-24s three.js retargets the clip alone in %.2f s: finish takes %.2f times as long\n", "", seconds, cost.seconds / seconds);
  }
  std::fflush(stdout);
  return true;
}

}  // namespace
}  // namespace understudy

int main(int argc, char** argv) {
  using namespace understudy;
  if (argc < 3) {
    std::fprintf(stderr, "Usage: understudy-finish-figures BIN-FOLDER SAMPLES [--long] [--three FOLDER] [--pair PERFORMER CHARACTER]...\n");
    return 2;
  }
  const std::string bin = argv[1], samples = argv[2];
  std::string three;
  std::vector<Pair> pairs{{"demo", samples + "/sweep.bvh", samples + "/keeper.glb"}};
  bool big = false;
  for (int i = 3; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--long") big = true;
    else if (word == "--three" && i + 1 < argc) three = argv[++i];
    else if (word == "--pair" && i + 2 < argc) pairs.push_back({fs::path(argv[i + 1]).stem().string() + "-" + std::to_string(pairs.size()), argv[i + 1], argv[i + 2]}), i += 2;
    else return std::fprintf(stderr, "'%s' is not understood\n", word.c_str()), 2;
  }
  const TemporaryFolder work;
  if (big) {
    writeFile(work.file("long.bvh"), longClip(readFile(samples + "/sweep.bvh"), 36000));
    if (!bigCharacter(samples + "/keeper.glb", work.file("big.glb"), 70, 20000)) return std::fprintf(stderr, "The big character cannot be made\n"), 1;
    pairs.push_back({"36,000 frames, 70 bones", work.file("long.bvh"), work.file("big.glb")});
  }
  bool good = true;
  for (const Pair& pair : pairs) good = measure(bin, work.path(), pair, three) && good;
  return good ? 0 : 1;
}
