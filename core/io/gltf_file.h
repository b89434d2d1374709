// A glTF 2.0 file taken apart: JSON, buffers, and the numbers behind its accessors. Shared by reader and writer.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.h"
#include "core/io/gltf_json.h"

namespace understudy {

struct GltfBuffer {
  std::span<const std::uint8_t> bytes;   ///< as many as are there; may be more than byteLength
  std::vector<std::uint8_t> own;         ///< storage, where the bytes are not those of the file itself
  bool fromChunk = false;                ///< the binary chunk of a .glb
  bool loaded = false;
  Issue problem;                         ///< why it could not be loaded
};

struct GltfChunk {
  std::uint32_t type = 0;
  std::span<const std::uint8_t> bytes;
};

/// The numbers of an accessor, before they are read out.
struct GltfNumbers {
  const std::uint8_t* data = nullptr;  ///< null: all zero
  std::size_t count = 0;
  std::size_t stride = 0;
  int components = 0;                  ///< 1 … 16
  int componentType = 0;               ///< 5120 … 5126
  bool normalised = false;
};

/// An accessor's numbers, unpacked from a compressed mesh: one element after the other, in the accessor's own type.
struct GltfUnpacked {
  std::vector<std::uint8_t> bytes;
  std::size_t count = 0;
};

class GltfFile {
 public:
  std::string path;
  bool binary = false;
  JsonText json;
  std::vector<GltfBuffer> buffers;
  std::vector<GltfChunk> extraChunks;    ///< chunks of a .glb other than JSON and BIN
  std::span<const std::uint8_t> binChunk;
  bool hasBinChunk = false;

  [[nodiscard]] JsonView root() const { return json.root(); }
  /// Reads container and JSON, checks the version, loads the buffers. Errors: unreadable, truncated, not glTF 2.0.
  [[nodiscard]] Status open(const std::string& filePath);

  /// An accessor read as floats, components one after the other; normalised integers become −1 … 1 or 0 … 1, sparse
  /// values are put in. Errors name the accessor.
  [[nodiscard]] Status floats(std::int64_t accessor, int components, std::vector<float>& out) const;
  /// An accessor read as whole numbers.
  [[nodiscard]] Status integers(std::int64_t accessor, int components, std::vector<std::uint32_t>& out) const;
  /// How many components the accessor's type has and how many elements it says it holds; 0 where it is missing.
  [[nodiscard]] int componentsOf(std::int64_t accessor) const;
  [[nodiscard]] std::int64_t countOf(std::int64_t accessor) const;

  /// Unpacks a primitive's mesh that is compressed with KHR_draco_mesh_compression, so that its accessors can be read
  /// like any other. `where` names the primitive in errors: damaged data, an accessor that does not fit.
  [[nodiscard]] Status unpackDraco(const JsonView& primitive, const std::string& where);

  /// The bytes of a buffer view.
  [[nodiscard]] Result<std::span<const std::uint8_t>> viewBytes(std::int64_t view) const;
  /// The bytes a URI means: data URI or a file relative to this one.
  [[nodiscard]] Result<std::vector<std::uint8_t>> uriBytes(std::string_view uri, const std::string& what) const;

 private:
  [[nodiscard]] Result<GltfNumbers> numbers(std::int64_t accessor, int components) const;
  template <class T>
  [[nodiscard]] Status decode(std::int64_t accessor, int components, std::vector<T>& out) const;

  std::vector<std::uint8_t> bytes_;
  std::map<std::int64_t, GltfUnpacked> unpacked_;  ///< by accessor
};

[[nodiscard]] std::string base64(std::span<const std::uint8_t> bytes);
[[nodiscard]] bool isDataUri(std::string_view uri);
/// "http:", "file:" and the like: neither a data URI nor a relative path.
[[nodiscard]] bool hasScheme(std::string_view uri);
/// %20 and the like as the bytes they mean.
[[nodiscard]] std::string percentDecoded(std::string_view uri);

}  // namespace understudy
