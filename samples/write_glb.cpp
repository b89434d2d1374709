#include "samples/write_glb.h"

#include <cstring>
#include <nlohmann/json.hpp>

namespace understudy::samples {
namespace {

using nlohmann::ordered_json;

class Buffer {
 public:
  // Appends packed values as one accessor; returns its index.
  template <class T>
  int add(const std::vector<T>& values, int componentType, const char* type, std::size_t count, int target, bool bounds = false) {
    while (bytes.size() % 4) bytes.push_back('\0');
    const std::size_t offset = bytes.size(), size = values.size() * sizeof(T);
    bytes.append(reinterpret_cast<const char*>(values.data()), size);
    ordered_json view{{"buffer", 0}, {"byteOffset", offset}, {"byteLength", size}};
    if (target) view["target"] = target;
    views.push_back(view);
    ordered_json accessor{{"bufferView", views.size() - 1}, {"componentType", componentType}, {"count", count}, {"type", type}};
    if (bounds) {
      std::vector<T> low(values.begin(), values.begin() + 3), high = low;
      for (std::size_t i = 0; i < values.size(); ++i) {
        low[i % 3] = std::min(low[i % 3], values[i]);
        high[i % 3] = std::max(high[i % 3], values[i]);
      }
      accessor["min"] = low;
      accessor["max"] = high;
    }
    accessors.push_back(accessor);
    return static_cast<int>(accessors.size()) - 1;
  }
  std::string bytes;
  ordered_json views = ordered_json::array(), accessors = ordered_json::array();
};

std::uint8_t byteOf(float value) {
  return static_cast<std::uint8_t>(std::lround(std::clamp(value, 0.0F, 1.0F) * 255));
}

}  // namespace

std::string glbOf(const Figure& figure, const std::string& meshName) {
  const Skeleton& skeleton = figure.skeleton;
  ordered_json json;
  json["asset"] = {{"version", "2.0"}, {"generator", "make-samples"}};
  json["scene"] = 0;
  ordered_json roots = ordered_json::array(), nodes = ordered_json::array();
  const auto children = childrenOf(skeleton);
  for (int j = 0; j < skeleton.size(); ++j) {
    if (skeleton.parents[j] < 0) roots.push_back(j);
    ordered_json node{{"name", skeleton.names[j]}};
    const Trsd& rest = skeleton.rest[j];
    if (!(rest.translation == Vec3d{})) {
      node["translation"] = {float(rest.translation.x), float(rest.translation.y), float(rest.translation.z)};
    }
    if (!(rest.rotation == Quatd{})) {
      node["rotation"] = {float(rest.rotation.x), float(rest.rotation.y), float(rest.rotation.z), float(rest.rotation.w)};
    }
    if (!children[j].empty()) node["children"] = children[j];
    if (!figure.meshes.empty() && figure.meshes.front().node == j) {
      node["mesh"] = 0;
      if (figure.hasSkin()) node["skin"] = 0;
    }
    nodes.push_back(node);
  }
  json["scenes"] = {{{"nodes", roots}}};
  json["nodes"] = nodes;
  for (const Material& m : figure.materials) {
    const auto& c = m.baseColour;
    json["materials"].push_back(
        {{"name", m.name},
         {"pbrMetallicRoughness", {{"baseColorFactor", {c[0], c[1], c[2], c[3]}}, {"metallicFactor", 0}, {"roughnessFactor", 0.8}}}});
  }

  Buffer buffer;
  ordered_json primitives = ordered_json::array();
  // Parts of one material become one primitive: fewer draw calls for whoever shows it.
  for (std::size_t material = 0; material < figure.materials.size(); ++material) {
    std::vector<float> positions, normals, weights;
    std::vector<std::uint8_t> colours, joints;
    std::vector<std::uint16_t> indices;
    std::size_t count = 0;
    for (const Mesh& mesh : figure.meshes) {
      if (mesh.material != static_cast<int>(material)) continue;
      for (const std::uint32_t i : mesh.indices) indices.push_back(static_cast<std::uint16_t>(i + count));
      for (std::size_t v = 0; v < mesh.positions.size(); ++v) {
        const Vec3f &p = mesh.positions[v], &n = mesh.normals[v];
        positions.insert(positions.end(), {p.x, p.y, p.z});
        normals.insert(normals.end(), {n.x, n.y, n.z});
        for (const float c : mesh.colours[v]) colours.push_back(byteOf(c));
        if (mesh.skin < 0) continue;
        const std::uint32_t first = mesh.influenceStart[v], last = mesh.influenceStart[v + 1];
        for (std::uint32_t k = first; k < first + 4; ++k) {
          joints.push_back(k < last ? static_cast<std::uint8_t>(mesh.influenceJoint[k]) : 0);
          weights.push_back(k < last ? mesh.influenceWeight[k] : 0.0F);
        }
      }
      count += mesh.positions.size();
    }
    constexpr int vertexTarget = 34962, indexTarget = 34963, isFloat = 5126, isByte = 5121, isShort = 5123;
    ordered_json attributes;
    attributes["POSITION"] = buffer.add(positions, isFloat, "VEC3", count, vertexTarget, true);
    attributes["NORMAL"] = buffer.add(normals, isFloat, "VEC3", count, vertexTarget);
    attributes["COLOR_0"] = buffer.add(colours, isByte, "VEC4", count, vertexTarget);
    buffer.accessors.back()["normalized"] = true;
    if (!joints.empty()) {
      attributes["JOINTS_0"] = buffer.add(joints, isByte, "VEC4", count, vertexTarget);
      attributes["WEIGHTS_0"] = buffer.add(weights, isFloat, "VEC4", count, vertexTarget);
    }
    const int indexAccessor = buffer.add(indices, isShort, "SCALAR", indices.size(), indexTarget);
    primitives.push_back({{"attributes", attributes}, {"indices", indexAccessor}, {"material", material}});
  }
  json["meshes"] = {{{"name", meshName}, {"primitives", primitives}}};
  if (figure.hasSkin()) {
    const Skin& skin = figure.skins[0];
    std::vector<float> matrices;
    for (const Affined& m : skin.inverseBind) {
      for (const Vec3d& c : {m.linear.cx, m.linear.cy, m.linear.cz})
        matrices.insert(matrices.end(), {float(c.x), float(c.y), float(c.z), 0.0F});
      matrices.insert(matrices.end(), {float(m.translation.x), float(m.translation.y), float(m.translation.z), 1.0F});
    }
    const int accessor = buffer.add(matrices, 5126, "MAT4", skin.joints.size(), 0);
    json["skins"] = {{{"name", skin.name}, {"inverseBindMatrices", accessor}, {"skeleton", 0}, {"joints", skin.joints}}};
  }
  json["accessors"] = buffer.accessors;
  json["bufferViews"] = buffer.views;
  while (buffer.bytes.size() % 4) buffer.bytes.push_back('\0');
  json["buffers"] = {{{"byteLength", buffer.bytes.size()}}};

  std::string text = json.dump();
  while (text.size() % 4) text.push_back(' ');
  std::string out;
  const auto word = [&out](std::size_t value) {
    for (int i = 0; i < 4; ++i) out.push_back(static_cast<char>((value >> (8 * i)) & 255));
  };
  out += "glTF";
  word(2);
  word(12 + 8 + text.size() + 8 + buffer.bytes.size());
  word(text.size());
  out += "JSON";
  out += text;
  word(buffer.bytes.size());
  out += std::string("BIN\0", 4);
  out += buffer.bytes;
  return out;
}

}  // namespace understudy::samples
