#include "tests/support/fixtures.h"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <stdexcept>

namespace understudy {
namespace {

constexpr double pi = 3.14159265358979323846;

struct Bone {
  const char* name;
  int parent;
  Vec3d offset;  // metres
};

// Offsets of a T-posed body of 1.7 m; lengths near those of Drillis & Contini (Winter, Biomechanics and Motor Control).
const std::vector<Bone>& walkBones() {
  static const std::vector<Bone> bones{
      {"Hips", -1, {0, 0.93, 0}},
      {"Spine", 0, {0, 0.10, 0}},
      {"Chest", 1, {0, 0.20, 0}},
      {"Neck", 2, {0, 0.25, 0}},
      {"Head", 3, {0, 0.10, 0.01}},
      {"LeftShoulder", 2, {0.04, 0.20, 0}},
      {"LeftArm", 5, {0.14, 0, 0}},
      {"LeftForeArm", 6, {0.30, 0, 0}},
      {"LeftHand", 7, {0.25, 0, 0}},
      {"RightShoulder", 2, {-0.04, 0.20, 0}},
      {"RightArm", 9, {-0.14, 0, 0}},
      {"RightForeArm", 10, {-0.30, 0, 0}},
      {"RightHand", 11, {-0.25, 0, 0}},
      {"LeftUpLeg", 0, {0.09, -0.03, 0}},
      {"LeftLeg", 13, {0, -0.41, 0.005}},
      {"LeftFoot", 14, {0, -0.42, -0.005}},
      {"LeftToeBase", 15, {0, -0.05, 0.14}},
      {"RightUpLeg", 0, {-0.09, -0.03, 0}},
      {"RightLeg", 17, {0, -0.41, 0.005}},
      {"RightFoot", 18, {0, -0.42, -0.005}},
      {"RightToeBase", 19, {0, -0.05, 0.14}},
  };
  return bones;
}

Vec3d endOf(const std::string& name) {
  if (name == "Head") return {0, 0.2, 0};
  if (name == "LeftHand") return {0.17, 0, 0};
  if (name == "RightHand") return {-0.17, 0, 0};
  return {0, 0, 0.06};
}

}  // namespace

TemporaryFolder::TemporaryFolder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "understudy-test-XXXXXX").string();
  if (!mkdtemp(pattern.data())) throw std::runtime_error("no temporary folder");
  path_ = pattern;
}

TemporaryFolder::~TemporaryFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

void writeFile(const std::string& path, const std::string& bytes) {
  std::ofstream out(path, std::ios::binary);
  out << bytes;
  if (!out.flush()) throw std::runtime_error("cannot write " + path);
}

std::string readFile(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream bytes;
  bytes << in.rdbuf();
  return bytes.str();
}

std::string makeWalkBvh(const WalkOptions& options) {
  const auto& bones = walkBones();
  std::ostringstream out;
  out.precision(9);
  out << "HIERARCHY\n";
  const auto line = [&](int depth) -> std::ostream& { return out << std::string(static_cast<std::size_t>(depth) * 2, ' '); };
  const auto offset = [&](int depth, const Vec3d& v) {
    line(depth) << "OFFSET " << v.x * options.scale << ' ' << v.y * options.scale << ' ' << v.z * options.scale << '\n';
  };
  const auto six = [&](std::size_t j) { return j == 0 || (options.moveSpine && std::string(bones[j].name) == "Spine"); };
  const auto write = [&](const auto& self, std::size_t j, int depth) -> void {
    line(depth) << (j == 0 ? "ROOT " : "JOINT ") << bones[j].name << '\n';
    line(depth) << "{\n";
    offset(depth + 1, bones[j].offset);
    line(depth + 1) << (six(j) ? "CHANNELS 6 Xposition Yposition Zposition " : "CHANNELS 3 ") << "Zrotation Xrotation Yrotation\n";
    bool leaf = true;
    for (std::size_t c = 0; c < bones.size(); ++c)
      if (bones[c].parent == static_cast<int>(j)) leaf = false, self(self, c, depth + 1);
    if (leaf) {
      line(depth + 1) << "End Site\n";
      line(depth + 1) << "{\n";
      offset(depth + 2, endOf(bones[j].name));
      line(depth + 1) << "}\n";
    }
    line(depth) << "}\n";
  };
  write(write, 0, 0);
  out << "MOTION\nFrames: " << options.frames << "\nFrame Time: " << options.frameTime << '\n';
  for (int f = 0; f < options.frames; ++f) {
    const double t = f * options.frameTime, phase = 2 * pi * t;  // one step cycle a second
    for (std::size_t j = 0; j < bones.size(); ++j) {
      const std::string name = bones[j].name;
      double z = 0, x = 0, y = 0;
      const double side = name.starts_with("Left") ? 0 : pi;
      if (name.ends_with("UpLeg")) x = -25 * std::sin(phase + side);
      if (name == "LeftLeg" || name == "RightLeg") x = 25 + 20 * std::sin(phase + side + pi / 3);
      if (name.ends_with("Foot")) x = -8 + 10 * std::sin(phase + side);
      if (name == "LeftArm") z = -70, y = 20 * std::sin(phase);
      if (name == "RightArm") z = 70, y = 20 * std::sin(phase);
      if (name == "LeftForeArm") y = -25;
      if (name == "RightForeArm") y = 25;
      if (name == "Chest") y = 6 * std::sin(phase);
      if (j == 0) {
        out << 0 << ' ' << (0.91 + 0.02 * std::cos(2 * phase)) * options.scale << ' ' << 1.2 * t * options.scale << ' ';
        y = 4 * std::sin(phase);
      } else if (six(j)) {
        const Vec3d& o = bones[j].offset;
        out << (o.x + 0.01 * std::sin(phase)) * options.scale << ' ' << o.y * options.scale << ' ' << o.z * options.scale << ' ';
      }
      out << z << ' ' << x << ' ' << y << (j + 1 == bones.size() ? '\n' : ' ');
    }
  }
  return out.str();
}

std::string makeStickCharacterGlb(const StickOptions& options) {
  const double down = options.armsDown * pi / 180, leg = options.legLength / 2;
  const Vec3d leftArm{std::cos(down), -std::sin(down), 0}, rightArm{-std::cos(down), -std::sin(down), 0};
  const std::vector<Bone> bones{
      {"pelvis", -1, {0, options.legLength + 0.12, 0}},
      {"belly", 0, {0, 0.08, 0}},
      {"ribs", 1, {0, 0.12, 0}},
      {"bosom", 2, {0, 0.14, 0}},
      {"neck", 3, {0, 0.16, 0}},
      {"head", 4, {0, 0.08, 0}},
      {"clavicle_l", 3, {0.05, 0.12, 0}},
      {"upperarm_l", 6, {0.15, 0, 0}},
      {"lowerarm_l", 7, leftArm * 0.26},
      {"hand_l", 8, leftArm * 0.24},
      {"clavicle_r", 3, {-0.05, 0.12, 0}},
      {"upperarm_r", 10, {-0.15, 0, 0}},
      {"lowerarm_r", 11, rightArm * 0.26},
      {"hand_r", 12, rightArm * 0.24},
      {"thigh_l", 0, {0.11, -0.04, 0}},
      {"calf_l", 14, {0, -leg, 0.01}},
      {"foot_l", 15, {0, -leg, -0.01}},
      {"ball_l", 16, {0, -0.06, 0.13}},
      {"thigh_r", 0, {-0.11, -0.04, 0}},
      {"calf_r", 18, {0, -leg, 0.01}},
      {"foot_r", 19, {0, -leg, -0.01}},
      {"ball_r", 20, {0, -0.06, 0.13}},
  };
  const std::size_t count = bones.size();
  std::vector<Vec3d> world(count);
  for (std::size_t j = 0; j < count; ++j) world[j] = bones[j].offset + (bones[j].parent < 0 ? Vec3d{} : world[static_cast<std::size_t>(bones[j].parent)]);

  std::string buffer;
  nlohmann::ordered_json views = nlohmann::ordered_json::array(), accessors = nlohmann::ordered_json::array();
  const auto accessor = [&](const void* data, std::size_t bytes, int component, const char* type, std::size_t elements) {
    while (buffer.size() % 4) buffer += '\0';
    views.push_back({{"buffer", 0}, {"byteOffset", buffer.size()}, {"byteLength", bytes}});
    buffer.append(static_cast<const char*>(data), bytes);
    accessors.push_back({{"bufferView", views.size() - 1}, {"componentType", component}, {"count", elements}, {"type", type}});
    return accessors.size() - 1;
  };
  std::vector<float> positions, weights;
  std::vector<std::uint8_t> joints;
  std::vector<std::uint16_t> indices;
  const auto box = [&](std::size_t joint, const Vec3d& low, const Vec3d& high) {
    const auto first = static_cast<std::uint16_t>(positions.size() / 3);
    for (int corner = 0; corner < 8; ++corner) {
      const Vec3d p{corner & 1 ? high.x : low.x, corner & 2 ? high.y : low.y, corner & 4 ? high.z : low.z};
      for (int a = 0; a < 3; ++a) positions.push_back(static_cast<float>(p[a] / options.scale));
      for (int k = 0; k < 4; ++k) joints.push_back(k == 0 ? static_cast<std::uint8_t>(joint) : 0), weights.push_back(k == 0 ? 1.0F : 0.0F);
    }
    static const int faces[12][3] = {{0, 2, 1}, {1, 2, 3}, {4, 5, 6}, {5, 7, 6}, {0, 1, 4}, {1, 5, 4}, {2, 6, 3}, {3, 6, 7}, {0, 4, 2}, {2, 4, 6}, {1, 3, 5}, {3, 7, 5}};
    for (const auto& face : faces)
      for (int corner : face) indices.push_back(static_cast<std::uint16_t>(first + corner));
  };
  for (std::size_t j = 0; j < count; ++j) {
    Vec3d end = world[j] + (std::string(bones[j].name) == "head" ? Vec3d{0, 0.22, 0.02} : Vec3d{0, 0, 0.06});
    for (std::size_t c = 0; c < count; ++c)
      if (bones[c].parent == static_cast<int>(j)) end = world[c];
    const bool foot = std::string(bones[j].name).starts_with("foot") || std::string(bones[j].name).starts_with("ball");
    const double girth = foot ? 0.03 : 0.045;
    Vec3d low, high;
    for (int a = 0; a < 3; ++a) {
      low[a] = std::min(world[j][a], end[a]) - girth;
      high[a] = std::max(world[j][a], end[a]) + girth;
    }
    if (foot) low.y = 0;
    box(j, low, high);
  }
  const std::size_t vertices = positions.size() / 3;
  nlohmann::ordered_json json;
  json["asset"] = {{"version", "2.0"}, {"generator", "test fixture"}};
  json["scene"] = 0;
  json["scenes"] = {{{"nodes", {0, count}}}};
  json["nodes"] = nlohmann::ordered_json::array();
  for (std::size_t j = 0; j < count; ++j) {
    const Vec3d t = bones[j].offset / options.scale;
    nlohmann::ordered_json node = {{"name", bones[j].name}, {"translation", {t.x, t.y, t.z}}};
    for (std::size_t c = 0; c < count; ++c)
      if (bones[c].parent == static_cast<int>(j)) node["children"].push_back(c);
    json["nodes"].push_back(node);
  }
  json["nodes"].push_back({{"name", "body"}, {"mesh", 0}, {"skin", 0}});
  std::vector<float> inverse;
  for (std::size_t j = 0; j < count; ++j) {
    const Vec3d t = world[j] / options.scale;
    for (double v : {1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, -t.x, -t.y, -t.z, 1.0}) inverse.push_back(static_cast<float>(v));
  }
  const auto position = accessor(positions.data(), positions.size() * 4, 5126, "VEC3", vertices);
  float low[3] = {positions[0], positions[1], positions[2]}, high[3] = {low[0], low[1], low[2]};
  for (std::size_t i = 0; i < positions.size(); ++i) low[i % 3] = std::min(low[i % 3], positions[i]), high[i % 3] = std::max(high[i % 3], positions[i]);
  accessors[position]["min"] = {low[0], low[1], low[2]};
  accessors[position]["max"] = {high[0], high[1], high[2]};
  const auto joint = accessor(joints.data(), joints.size(), 5121, "VEC4", vertices);
  const auto weight = accessor(weights.data(), weights.size() * 4, 5126, "VEC4", vertices);
  const auto index = accessor(indices.data(), indices.size() * 2, 5123, "SCALAR", indices.size());
  const auto bind = accessor(inverse.data(), inverse.size() * 4, 5126, "MAT4", count);
  json["materials"] = {{{"name", "oilskin"}, {"pbrMetallicRoughness", {{"baseColorFactor", {0.9, 0.7, 0.1, 1.0}}}}}};
  json["meshes"] = {{{"name", "body"},
                     {"primitives", {{{"attributes", {{"POSITION", position}, {"JOINTS_0", joint}, {"WEIGHTS_0", weight}}}, {"indices", index}, {"material", 0}}}}}};
  std::vector<std::size_t> all(count);
  for (std::size_t j = 0; j < count; ++j) all[j] = j;
  json["skins"] = {{{"joints", all}, {"inverseBindMatrices", bind}, {"skeleton", 0}}};
  if (options.existingClip) {
    const float times[] = {0, 1}, turns[] = {0, 0, 0, 1, 0, 0.0871557F, 0, 0.9961947F};
    const auto time = accessor(times, sizeof times, 5126, "SCALAR", 2);
    accessors[time]["min"] = {0.0};
    accessors[time]["max"] = {1.0};
    const auto turn = accessor(turns, sizeof turns, 5126, "VEC4", 2);
    json["animations"] = {{{"name", "idle"},
                           {"samplers", {{{"input", time}, {"output", turn}}}},
                           {"channels", {{{"sampler", 0}, {"target", {{"node", 5}, {"path", "rotation"}}}}}}}};
  }
  while (buffer.size() % 4) buffer += '\0';
  json["bufferViews"] = views;
  json["accessors"] = accessors;
  json["buffers"] = {{{"byteLength", buffer.size()}}};
  std::string text = json.dump();
  while (text.size() % 4) text += ' ';
  std::string glb;
  const auto word = [&](std::size_t value) {
    const auto v = static_cast<std::uint32_t>(value);
    glb.append(reinterpret_cast<const char*>(&v), 4);
  };
  word(0x46546C67);
  word(2);
  word(12 + 8 + text.size() + 8 + buffer.size());
  word(text.size());
  word(0x4E4F534A);
  glb += text;
  word(buffer.size());
  word(0x004E4942);
  return glb + buffer;
}

}  // namespace understudy
