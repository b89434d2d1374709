// The program that makes the demo files: what it promises about them, for several seeds.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "core/io/read.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

std::string contentOf(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

// A folder of its own with the files of a seed; removed at the end.
class Made {
 public:
  explicit Made(const std::string& options) {
    static int count = 0;
    folder = fs::temp_directory_path() / ("understudy-samples-" + std::to_string(::getpid()) + "-" + std::to_string(count++));
    const std::string command = std::string(UNDERSTUDY_BINARY) + "/bin/make-samples " + options + " --out " + folder.string();
    status = std::system(command.c_str());
  }
  Made(const Made&) = delete;
  Made& operator=(const Made&) = delete;
  ~Made() {
    std::error_code ignored;
    fs::remove_all(folder, ignored);
  }
  [[nodiscard]] std::string bytes(const std::string& name) const { return contentOf(folder / name); }
  fs::path folder;
  int status = -1;
};

struct Glb {
  nlohmann::json json;
  std::string buffer;

  explicit Glb(const std::string& bytes) {
    std::uint32_t size = 0;
    std::memcpy(&size, bytes.data() + 12, 4);
    json = nlohmann::json::parse(bytes.substr(20, size));
    buffer = bytes.substr(20 + size + 8);
  }
  template <class T>
  [[nodiscard]] std::vector<T> values(int accessor, std::size_t perElement) const {
    const auto& a = json["accessors"][accessor];
    std::vector<T> out(a["count"].get<std::size_t>() * perElement);
    std::memcpy(out.data(), buffer.data() + json["bufferViews"][a["bufferView"].get<int>()]["byteOffset"].get<std::size_t>(),
                out.size() * sizeof(T));
    return out;
  }
};

class SamplesOfSeed : public ::testing::TestWithParam<int> {};

TEST_P(SamplesOfSeed, KeeperIsClosedWeightedAndLight) {
  const Made made("--seed " + std::to_string(GetParam()));
  ASSERT_EQ(made.status, 0);
  const Glb keeper(made.bytes("keeper.glb"));
  std::size_t triangles = 0;
  float lowest = 9, highest = -9;
  for (const auto& primitive : keeper.json["meshes"][0]["primitives"]) {
    const auto indices = keeper.values<std::uint16_t>(primitive["indices"], 1);
    triangles += indices.size() / 3;
    std::map<std::pair<int, int>, int> balance;
    for (std::size_t i = 0; i < indices.size(); i += 3)
      for (int c = 0; c < 3; ++c) {
        const int a = indices[i + c], b = indices[i + (c + 1) % 3];
        balance[{std::min(a, b), std::max(a, b)}] += a < b ? 1 : -1;
      }
    for (const auto& [edge, count] : balance) ASSERT_EQ(count, 0) << "open edge in material " << primitive["material"];
    const auto weights = keeper.values<float>(primitive["attributes"]["WEIGHTS_0"], 4);
    for (std::size_t v = 0; v < weights.size(); v += 4) ASSERT_EQ(weights[v] + weights[v + 1] + weights[v + 2] + weights[v + 3], 1.0F);
    const auto normals = keeper.values<float>(primitive["attributes"]["NORMAL"], 3);
    const auto positions = keeper.values<float>(primitive["attributes"]["POSITION"], 3);
    double volume = 0;  // positive when the triangles face outwards
    const auto corner = [&](std::uint16_t i) { return Vec3d{positions[3 * i], positions[3 * i + 1], positions[3 * i + 2]}; };
    for (std::size_t i = 0; i < indices.size(); i += 3)
      volume += dot(corner(indices[i]), cross(corner(indices[i + 1]), corner(indices[i + 2])));
    EXPECT_GT(volume, 0) << primitive["material"];
    for (std::size_t v = 0; v < normals.size(); v += 3) {
      ASSERT_NEAR(std::hypot(normals[v], normals[v + 1], normals[v + 2]), 1, 1e-5);
      lowest = std::min(lowest, positions[v + 1]);
      highest = std::max(highest, positions[v + 1]);
    }
  }
  EXPECT_GE(triangles, 8000U);
  EXPECT_LE(triangles, 20000U);
  EXPECT_NEAR(lowest, 0, 0.002);
  EXPECT_NEAR(highest, 1.33, 0.07);
}

TEST_P(SamplesOfSeed, CleanPerformanceStandsAndHolds) {
  const Made made("--clean --seed " + std::to_string(GetParam()));
  ASSERT_EQ(made.status, 0);
  const auto truth = nlohmann::json::parse(made.bytes("truth.json"));
  EXPECT_TRUE(truth["flaws"].empty());
  const Result<Figure> figure = readBvh((made.folder / "sweep.bvh").string());
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const Motion& motion = *figure->clips.at(0).sampled;
  ASSERT_EQ(motion.frames, truth["frames"].get<int>());
  EXPECT_EQ(motion.rate, (FrameRate{30, 1}));
  const auto joint = [&](const char* name) { return findJoint(figure->skeleton, name).value(); };
  const auto world = [&](int frame, int j) { return worldAt(figure->skeleton, motion, frame)[j]; };  // centimetres

  int checked = 0;
  for (const char* foot : {"LFoot", "RFoot"}) {
    const int toes = joint(foot[0] == 'L' ? "LToes" : "RToes");
    int firstOfStance = -1, end = -10;
    Vec3d stood;
    for (const auto& phase : truth["feet"][foot]) {
      const std::string what = phase["phase"];
      if (what != "flat" && what != "ball" && what != "spin") continue;
      const int first = phase["frames"][0].get<int>() - 1, last = phase["frames"][1].get<int>() - 1;
      if (first > end + 1) {
        firstOfStance = first;
        stood = world(first, toes).translation;
      }
      end = last;
      for (int f = first; f <= last; ++f, ++checked)
        ASSERT_LT(distance(world(f, toes).translation, stood) * 10, 0.5)
            << foot << " frame " << f + 1 << ", standing since " << firstOfStance + 1;
    }
  }
  EXPECT_GT(checked, motion.frames);  // both feet stand more than half of the time

  const auto& broom = truth["broom"];
  const auto point = [&](const char* hand) {
    const auto& p = broom["gripPointInHand"][hand];
    return Vec3d{p[0].get<double>(), p[1].get<double>(), p[2].get<double>()} * 100.0;
  };
  const int left = joint("LHand"), right = joint("RHand");
  const double lead = broom["leadAlongShaft"].get<double>(), apart = (lead - broom["supportAlongShaft"].get<double>()) * 100;
  for (int f = broom["supportGrip"][0].get<int>() - 1; f < broom["supportGrip"][1].get<int>(); ++f)
    ASSERT_NEAR(distance(apply(world(f, left), point("LHand")), apply(world(f, right), point("RHand"))), apart, 0.05) << "frame " << f + 1;
  // The line through both hands leads to the mark.
  const auto& at = truth["set"]["marks"][0]["at"];
  const Vec3d mark = Vec3d{at[0].get<double>(), at[1].get<double>(), at[2].get<double>()} * 100.0;
  for (const auto& stroke : truth["strokes"]) {
    EXPECT_TRUE(stroke["touchesMark"].get<bool>());
    const int f = stroke["markFrame"].get<int>() - 1;
    const Vec3d upper = apply(world(f, right), point("RHand")), lower = apply(world(f, left), point("LHand"));
    const Vec3d head = upper + normalised(lower - upper) * (lead * 100);
    EXPECT_LT(distance(head, mark) * 10, 2.0) << "frame " << f + 1;
  }
}

TEST_P(SamplesOfSeed, SameSeedSameBytes) {
  const std::string options = "--seed " + std::to_string(GetParam());
  const Made one(options), two(options);
  for (const char* name : {"keeper.glb", "broom.glb", "sweep.bvh", "truth.json"}) {
    ASSERT_FALSE(one.bytes(name).empty()) << name;
    EXPECT_TRUE(one.bytes(name) == two.bytes(name)) << name;
  }
}

INSTANTIATE_TEST_SUITE_P(Seeds, SamplesOfSeed, ::testing::Values(1, 2, 3));

TEST(Samples, CommittedFilesAreWhatTheProgramMakes) {
  const Made made("--seed 1");
  for (const char* name : {"keeper.glb", "broom.glb", "sweep.bvh", "truth.json"})
    EXPECT_TRUE(made.bytes(name) == contentOf(fs::path(UNDERSTUDY_SOURCE) / "samples" / name))
        << name << ": run make-samples --out samples and commit";
}

TEST(Samples, FlawsAreWhereTheTruthSays) {
  const Made flawed("--seed 1"), clean("--seed 1 --clean");
  const auto truth = nlohmann::json::parse(flawed.bytes("truth.json"));
  const Result<Figure> a = readBvh((flawed.folder / "sweep.bvh").string()), b = readBvh((clean.folder / "sweep.bvh").string());
  ASSERT_TRUE(a.ok() && b.ok());
  const Motion &with = *a->clips[0].sampled, &without = *b->clips[0].sampled;
  ASSERT_EQ(with.frames, without.frames);
  std::map<std::string, int> kinds;
  for (const auto& flaw : truth["flaws"]) {
    const std::string kind = flaw["kind"], bone = flaw["bone"];
    ++kinds[kind];
    const int j = findJoint(a->skeleton, bone).value();
    const int first = flaw["frames"][0].get<int>() - 1, last = flaw["frames"][1].get<int>() - 1;
    const bool angle = flaw["unit"] == "deg";
    const auto gap = [&](int f) {
      if (angle) return angleBetween(Quatd(with.rotationsAt(f)[j]), Quatd(without.rotationsAt(f)[j])) * 180 / M_PI;
      return distance(worldAt(a->skeleton, with, f)[j].translation, worldAt(b->skeleton, without, f)[j].translation) * 10;
    };
    double most = 0;
    for (int f = first; f <= last; ++f) most = std::max(most, gap(f));
    // Where the whole broom goes astray, the hand that leads it moves less than its far end.
    if (kind != "missed mark")
      EXPECT_NEAR(most, flaw["size"].get<double>(), angle ? 3.0 : 8.0) << kind;
    else
      EXPECT_GT(most, 3) << kind;
    // Well before it, nothing but capture noise.
    const int before = std::max(0, first - 12);
    EXPECT_LT(gap(before), angle ? 2.0 : 8.0) << kind;
  }
  for (const char* kind : {"slide", "float", "sink", "pop", "flip", "twist", "hand leaves shaft", "missed mark"})
    EXPECT_EQ(kinds[kind], 1) << kind;
}

TEST(Samples, WrongOptionsAreRefused) {
  EXPECT_NE(Made("--seed zero 2>/dev/null").status, 0);
  EXPECT_NE(Made("--sead 3 2>/dev/null").status, 0);
}

}  // namespace
}  // namespace understudy
