#include "core/io/gltf_prop.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace understudy {
namespace {

constexpr int vertexData = 34962, indexData = 34963;

bool isPicture(const Image& image) {
  const auto& b = image.bytes;
  return b.size() > 8 && ((b[0] == 0x89 && b[1] == 'P' && b[2] == 'N' && b[3] == 'G') || (b[0] == 0xFF && b[1] == 0xD8));
}

std::string materialText(GltfPack& pack, const Figure& figure, const Material& material, GltfPropParts& parts) {
  std::array<double, 4> c{};
  for (std::size_t k = 0; k < 4; ++k) c[k] = std::isfinite(material.baseColour[k]) ? std::clamp<double>(material.baseColour[k], 0, 1) : 1;
  std::string base = "\"baseColorFactor\":" + jsonList(c);
  if (material.image >= 0 && material.image < static_cast<int>(figure.images.size()) && isPicture(figure.images[static_cast<std::size_t>(material.image)])) {
    const Image& image = figure.images[static_cast<std::size_t>(material.image)];
    const std::size_t from = pack.bytes.size();
    pack.bytes.append(reinterpret_cast<const char*>(image.bytes.data()), image.bytes.size());
    const std::size_t view = pack.view(from);
    parts.images.push_back(std::string("{\"mimeType\":\"") + (image.bytes[0] == 0x89 ? "image/png" : "image/jpeg") + "\",\"bufferView\":" + std::to_string(view) + "}");
    parts.textures.push_back("{\"source\":" + std::to_string(parts.firstImage + parts.images.size() - 1) + "}");
    base += ",\"baseColorTexture\":{\"index\":" + std::to_string(parts.firstTexture + parts.textures.size() - 1) + "}";
  }
  std::string text = "{" + (material.name.empty() ? std::string() : "\"name\":" + jsonQuoted(material.name) + ",") + "\"pbrMetallicRoughness\":{" + base +
                     ",\"metallicFactor\":0,\"roughnessFactor\":0.9}";
  if (material.alphaCutoff >= 0) text += ",\"alphaMode\":\"MASK\",\"alphaCutoff\":" + jsonNumber(material.alphaCutoff);
  if (material.doubleSided) text += ",\"doubleSided\":true";
  return text + "}";
}

}  // namespace

std::string packPropNode(GltfPack& pack, const Figure& figure, int joint, GltfPropParts& parts) {
  std::vector<int> materialOf(figure.materials.size(), -1);
  std::vector<std::string> primitives;
  for (const Mesh& mesh : figure.meshes) {
    const std::size_t count = mesh.positions.size(), indexCount = mesh.indices.size() / 3 * 3;
    if (mesh.node != joint || mesh.skin >= 0 || count == 0 || indexCount == 0) continue;
    const auto vectors = [&](const std::vector<Vec3f>& values, bool bounds, bool unit) {
      const std::size_t from = pack.bytes.size();
      Vec3f low = values.front(), high = values.front();
      for (Vec3f v : values) {
        if (unit) v = Vec3f(normalised(Vec3d(v), Vec3d{0, 1, 0}));
        for (int c = 0; c < 3; ++c) {
          low[c] = std::min(low[c], v[c]);
          high[c] = std::max(high[c], v[c]);
          pack.put(v[c]);
        }
      }
      const std::size_t view = pack.view(from, vertexData);
      return pack.accessor(view, 0, 5126, values.size(), "VEC3",
                           bounds ? ",\"min\":" + jsonList(std::array<double, 3>{low.x, low.y, low.z}) + ",\"max\":" + jsonList(std::array<double, 3>{high.x, high.y, high.z})
                                  : std::string());
    };
    std::string attributes = "\"POSITION\":" + std::to_string(vectors(mesh.positions, true, false));
    if (mesh.normals.size() == count) attributes += ",\"NORMAL\":" + std::to_string(vectors(mesh.normals, false, true));
    int material = mesh.material >= 0 && mesh.material < static_cast<int>(materialOf.size()) ? mesh.material : -1;
    if (material >= 0) {
      int& known = materialOf[static_cast<std::size_t>(material)];
      if (known < 0) {
        parts.materials.push_back(materialText(pack, figure, figure.materials[static_cast<std::size_t>(material)], parts));
        known = static_cast<int>(parts.firstMaterial + parts.materials.size() - 1);
      }
      material = known;
    }
    if (mesh.texcoords.size() == count && material >= 0 &&
        parts.materials[static_cast<std::size_t>(material) - parts.firstMaterial].find("baseColorTexture") != std::string::npos) {
      const std::size_t from = pack.bytes.size();
      for (const Vec2f& t : mesh.texcoords) {
        pack.put(t.x);
        pack.put(t.y);
      }
      attributes += ",\"TEXCOORD_0\":" + std::to_string(pack.accessor(pack.view(from, vertexData), 0, 5126, count, "VEC2"));
    }
    if (mesh.colours.size() == count) {
      const std::size_t from = pack.bytes.size();
      for (const auto& colour : mesh.colours)
        for (const float v : colour) pack.put(std::isfinite(v) ? std::clamp(v, 0.0F, 1.0F) : 1.0F);
      attributes += ",\"COLOR_0\":" + std::to_string(pack.accessor(pack.view(from, vertexData), 0, 5126, count, "VEC4"));
    }
    const std::size_t from = pack.bytes.size();
    for (std::size_t i = 0; i < indexCount; ++i) pack.put(mesh.indices[i]);
    const std::size_t indices = pack.accessor(pack.view(from, indexData), 0, 5125, indexCount, "SCALAR");
    primitives.push_back("{\"attributes\":{" + attributes + "},\"indices\":" + std::to_string(indices) +
                         (material >= 0 ? ",\"material\":" + std::to_string(material) : std::string()) + "}");
  }
  const Trsd& rest = figure.skeleton.rest[static_cast<std::size_t>(joint)];
  const Quatd q = normalised(rest.rotation);
  const std::string name = "\"name\":" + jsonQuoted(figure.skeleton.names[static_cast<std::size_t>(joint)]);
  std::string node = "{" + name + ",\"translation\":" + jsonList(std::array{rest.translation.x, rest.translation.y, rest.translation.z}) +
                     ",\"rotation\":" + jsonList(std::array{q.x, q.y, q.z, q.w});
  if (!(rest.scale == Vec3d{1, 1, 1})) node += ",\"scale\":" + jsonList(std::array{rest.scale.x, rest.scale.y, rest.scale.z});
  if (!primitives.empty()) {
    parts.meshes.push_back("{" + name + ",\"primitives\":[" + joined(primitives) + "]}");
    node += ",\"mesh\":" + std::to_string(parts.firstMesh + parts.meshes.size() - 1);
  }
  return node + "}";
}

}  // namespace understudy
