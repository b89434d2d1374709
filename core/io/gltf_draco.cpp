// Meshes compressed with KHR_draco_mesh_compression.
#include <cstring>
#include <exception>

#include <draco/compression/decode.h>

#include "core/io/gltf_file.h"

namespace understudy {
namespace {

constexpr const char* again = "Export the file again, or without compression";

template <class T>
bool take(const draco::Mesh& mesh, const draco::PointAttribute& attribute, int components, std::vector<std::uint8_t>& out) {
  const std::size_t element = static_cast<std::size_t>(components) * sizeof(T);
  std::vector<T> values(static_cast<std::size_t>(components));
  out.resize(mesh.num_points() * element);
  for (draco::PointIndex i(0); i < mesh.num_points(); ++i) {
    if (!attribute.ConvertValue<T>(attribute.mapped_index(i), static_cast<std::int8_t>(components), values.data())) return false;
    std::memcpy(out.data() + i.value() * element, values.data(), element);
  }
  return true;
}

bool take(const draco::Mesh& mesh, const draco::PointAttribute& attribute, int components, int componentType, std::vector<std::uint8_t>& out) {
  switch (componentType) {
    case 5120: return take<std::int8_t>(mesh, attribute, components, out);
    case 5121: return take<std::uint8_t>(mesh, attribute, components, out);
    case 5122: return take<std::int16_t>(mesh, attribute, components, out);
    case 5123: return take<std::uint16_t>(mesh, attribute, components, out);
    case 5125: return take<std::uint32_t>(mesh, attribute, components, out);
    case 5126: return take<float>(mesh, attribute, components, out);
    default: return false;
  }
}

}  // namespace

Status GltfFile::unpackDraco(const JsonView& primitive, const std::string& where) {
  const JsonView extension = primitive["extensions"]["KHR_draco_mesh_compression"];
  const auto damaged = [&](std::string what) { return makeError(Fault::input, "The compressed mesh (Draco) " + std::move(what), where, again); };
  Result<std::span<const std::uint8_t>> bytes = viewBytes(extension["bufferView"].integer(-1));
  if (!bytes.ok()) return damaged("cannot be reached: " + bytes.error().text());
  std::unique_ptr<draco::Mesh> mesh;
  try {
    draco::DecoderBuffer buffer;
    buffer.Init(reinterpret_cast<const char*>(bytes->data()), bytes->size());
    auto decoded = draco::Decoder().DecodeMeshFromBuffer(&buffer);
    if (!decoded.ok()) return damaged("cannot be unpacked: " + decoded.status().error_msg_string());
    mesh = std::move(decoded).value();
  } catch (const std::exception& problem) {
    return damaged(std::string("cannot be unpacked: ") + problem.what());
  }
  const JsonView accessors = root()["accessors"], ids = extension["attributes"];
  const auto typeOf = [&](std::int64_t accessor) {
    return accessor < 0 ? 0 : static_cast<int>(accessors[static_cast<std::size_t>(accessor)]["componentType"].integer(0));
  };
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const std::string name(ids.key(i));
    const std::int64_t accessor = primitive["attributes"][name].integer(-1), id = ids[i].integer(-1);
    const draco::PointAttribute* attribute = id < 0 ? nullptr : mesh->GetAttributeByUniqueId(static_cast<std::uint32_t>(id));
    const int components = componentsOf(accessor);
    if (!attribute || components == 0) return damaged("does not hold its " + name);
    GltfUnpacked& to = unpacked_[accessor];
    to.count = mesh->num_points();
    if (!take(*mesh, *attribute, components, typeOf(accessor), to.bytes)) return damaged("holds its " + name + " in a form that cannot be read");
  }
  const std::int64_t indices = primitive["indices"].integer(-1);
  const int type = typeOf(indices);
  if (type != 5121 && type != 5123 && type != 5125) return damaged("has no accessor for its triangles");
  const std::size_t size = type == 5121 ? 1 : type == 5123 ? 2 : 4;
  GltfUnpacked& to = unpacked_[indices];
  to.count = mesh->num_faces() * std::size_t{3};
  to.bytes.resize(to.count * size);
  for (draco::FaceIndex f(0); f < mesh->num_faces(); ++f)
    for (std::size_t k = 0; k < 3; ++k) {
      const std::uint32_t vertex = mesh->face(f)[k].value();
      if (size < 4 && vertex >> (8 * size) != 0) return damaged("has more vertices than its accessor can name");
      std::memcpy(to.bytes.data() + (f.value() * std::size_t{3} + k) * size, &vertex, size);
    }
  return Done{};
}

}  // namespace understudy
