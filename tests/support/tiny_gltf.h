// Small glTF files made inside a test.
#pragma once

#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <string_view>
#include <vector>

namespace understudy::test {

/// A folder of its own for one test, removed afterwards.
class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "understudy-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
  }
  ~Folder() {
    std::error_code error;
    std::filesystem::remove_all(path_, error);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string operator/(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

inline void save(const std::string& path, std::string_view bytes) {
  std::ofstream(path, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

inline std::string load(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// Numbers of a type, packed.
template <class T>
std::string packed(const std::vector<T>& values) {
  std::string bytes(values.size() * sizeof(T), '\0');
  if (!values.empty()) std::memcpy(bytes.data(), values.data(), bytes.size());
  return bytes;
}

inline std::string glbOf(std::string json, std::string bin) {
  json.resize((json.size() + 3) / 4 * 4, ' ');
  bin.resize((bin.size() + 3) / 4 * 4, '\0');
  const auto u32 = [](std::size_t v) { return packed(std::vector<std::uint32_t>{static_cast<std::uint32_t>(v)}); };
  std::string out = "glTF" + u32(2) + u32(12 + 8 + json.size() + (bin.empty() ? 0 : 8 + bin.size())) + u32(json.size()) + "JSON" + json;
  if (!bin.empty()) out += u32(bin.size()) + std::string("BIN\0", 4) + bin;
  return out;
}

/// A skinned triangle on two bones with one animation, open to changes before it is put together.
struct TinyGltf {
  std::string bin;
  std::vector<std::string> views, accessors;
  std::string nodes = R"({"name":"root","children":[1,2]},{"name":"upper","translation":[0,1,0],"children":[3]},)"
                      R"({"name":"body","mesh":0,"skin":0},{"name":"lower","translation":[0,1,0]})";
  std::string meshes, skins, animations, more;

  int view(const std::string& bytes, const std::string& members = {}) {
    bin.resize((bin.size() + 3) / 4 * 4, '\0');
    views.push_back(R"({"buffer":0,"byteOffset":)" + std::to_string(bin.size()) + R"(,"byteLength":)" + std::to_string(bytes.size()) + members + "}");
    bin += bytes;
    return static_cast<int>(views.size()) - 1;
  }
  int accessor(const std::string& bytes, int type, int count, const std::string& shape, const std::string& members = {},
               const std::string& viewMembers = {}) {
    const int v = view(bytes, viewMembers);
    accessors.push_back(R"({"bufferView":)" + std::to_string(v) + R"(,"componentType":)" + std::to_string(type) + R"(,"count":)" +
                        std::to_string(count) + R"(,"type":")" + shape + "\"" + members + "}");
    return static_cast<int>(accessors.size()) - 1;
  }
  int floats(const std::vector<float>& values, const std::string& shape, int width, const std::string& members = {}) {
    return accessor(packed(values), 5126, static_cast<int>(values.size()) / width, shape, members);
  }
  [[nodiscard]] static std::string list(const std::vector<std::string>& items) {
    std::string out;
    for (const std::string& i : items) out += (out.empty() ? "" : ",") + i;
    return out;
  }
  /// The JSON; `uri` (with quotation marks) for a buffer outside.
  [[nodiscard]] std::string json(const std::string& uri = {}) const {
    std::string out = R"({"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[)" + nodes + "]";
    if (!meshes.empty()) out += R"(,"meshes":[)" + meshes + "]";
    if (!skins.empty()) out += R"(,"skins":[)" + skins + "]";
    if (!animations.empty()) out += R"(,"animations":[)" + animations + "]";
    if (!accessors.empty()) out += R"(,"accessors":[)" + list(accessors) + "]";
    if (!views.empty()) out += R"(,"bufferViews":[)" + list(views) + "]";
    if (!bin.empty()) out += R"(,"buffers":[{"byteLength":)" + std::to_string(bin.size()) + (uri.empty() ? "" : R"(,"uri":)" + uri) + "}]";
    return out + more + "}";
  }
  [[nodiscard]] std::string glb() const { return glbOf(json(), bin); }

  static TinyGltf standard() {
    TinyGltf g;
    const int positions = g.floats({0, 0, 0, 1, 0, 0, 0, 1, 0}, "VEC3", 3, R"(,"min":[0,0,0],"max":[1,1,0])");
    const int joints = g.accessor(packed<std::uint8_t>({0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0}), 5121, 3, "VEC4");
    const int weights = g.floats({0.5F, 0.5F, 0, 0, 1, 0, 0, 0, 0.25F, 0.75F, 0, 0}, "VEC4", 4);
    const int indices = g.accessor(packed<std::uint16_t>({0, 1, 2}), 5123, 3, "SCALAR");
    const int binds = g.floats({1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, -1, 0, 1, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, -2, 0, 1}, "MAT4", 16);
    const int times = g.floats({0, 0.5F, 1}, "SCALAR", 1, R"(,"min":[0],"max":[1])");
    const int turns = g.floats({0, 0, 0, 1, 0, 0, 0.70710678F, 0.70710678F, 0, 0, 0, 1}, "VEC4", 4);
    const auto n = [](int i) { return std::to_string(i); };
    g.meshes = R"({"name":"coat","primitives":[{"attributes":{"POSITION":)" + n(positions) + R"(,"JOINTS_0":)" + n(joints) + R"(,"WEIGHTS_0":)" +
               n(weights) + R"(},"indices":)" + n(indices) + "}]}";
    g.skins = R"({"joints":[1,3],"inverseBindMatrices":)" + n(binds) + "}";
    g.animations = R"({"name":"sweep","channels":[{"sampler":0,"target":{"node":1,"path":"rotation"}}],"samplers":[{"input":)" + n(times) +
                   R"(,"output":)" + n(turns) + "}]}";
    return g;
  }
};

}  // namespace understudy::test
