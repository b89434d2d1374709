#include "core/io/gltf_file.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <filesystem>

#include "core/io/read.h"

namespace understudy {
namespace {

constexpr std::uint32_t glbMagic = 0x46546C67, chunkJson = 0x4E4F534A, chunkBin = 0x004E4942;
constexpr const char* again = "Export the file again, or copy it again from where it came from";

std::uint32_t u32At(std::span<const std::uint8_t> bytes, std::size_t at) {
  return static_cast<std::uint32_t>(bytes[at]) | static_cast<std::uint32_t>(bytes[at + 1]) << 8 |
         static_cast<std::uint32_t>(bytes[at + 2]) << 16 | static_cast<std::uint32_t>(bytes[at + 3]) << 24;
}

int componentsOfType(std::string_view type) {
  if (type == "SCALAR") return 1;
  if (type == "VEC2") return 2;
  if (type == "VEC3") return 3;
  if (type == "VEC4" || type == "MAT2") return 4;
  if (type == "MAT3") return 9;
  if (type == "MAT4") return 16;
  return 0;
}

std::size_t sizeOfComponent(std::int64_t type) {
  switch (type) {
    case 5120: case 5121: return 1;
    case 5122: case 5123: return 2;
    case 5125: case 5126: return 4;
    default: return 0;
  }
}

/// Byte offset of component c inside an element: matrix columns start at multiples of four bytes.
std::size_t componentOffset(int c, int components, std::size_t size, bool matrix) {
  if (!matrix) return static_cast<std::size_t>(c) * size;
  const int rows = components == 4 ? 2 : components == 9 ? 3 : 4;
  const std::size_t column = (static_cast<std::size_t>(rows) * size + 3) / 4 * 4;
  return static_cast<std::size_t>(c / rows) * column + static_cast<std::size_t>(c % rows) * size;
}

template <class T>
T load(const std::uint8_t* at) {
  T value;
  std::memcpy(&value, at, sizeof value);
  return value;
}

float asFloat(const std::uint8_t* at, int type, bool normalised) {
  switch (type) {
    case 5120: {
      const float v = load<std::int8_t>(at);
      return normalised ? std::max(v / 127.0F, -1.0F) : v;
    }
    case 5121: return normalised ? static_cast<float>(*at) / 255.0F : static_cast<float>(*at);
    case 5122: {
      const float v = load<std::int16_t>(at);
      return normalised ? std::max(v / 32767.0F, -1.0F) : v;
    }
    case 5123: return normalised ? static_cast<float>(load<std::uint16_t>(at)) / 65535.0F : static_cast<float>(load<std::uint16_t>(at));
    case 5125: return static_cast<float>(load<std::uint32_t>(at));
    default: return load<float>(at);
  }
}

std::uint32_t asInteger(const std::uint8_t* at, int type) {
  switch (type) {
    case 5120: return static_cast<std::uint32_t>(std::max<int>(load<std::int8_t>(at), 0));
    case 5121: return *at;
    case 5122: return static_cast<std::uint32_t>(std::max<int>(load<std::int16_t>(at), 0));
    case 5123: return load<std::uint16_t>(at);
    case 5125: return load<std::uint32_t>(at);
    default: {
      const float v = load<float>(at);  // some exporters write joint indices as floats
      return v >= 0 && v < 4.0e9F ? static_cast<std::uint32_t>(v) : 0xFFFFFFFFU;
    }
  }
}

bool decodeBase64(std::string_view text, std::vector<std::uint8_t>& out) {
  static constexpr auto table = [] {
    std::array<std::int8_t, 256> t{};
    for (auto& v : t) v = -1;
    constexpr std::string_view alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (std::size_t i = 0; i < alphabet.size(); ++i) t[static_cast<unsigned char>(alphabet[i])] = static_cast<std::int8_t>(i);
    return t;
  }();
  while (!text.empty() && text.back() == '=') text.remove_suffix(1);
  if (text.size() % 4 == 1) return false;
  out.resize(text.size() / 4 * 3 + (text.size() % 4 ? text.size() % 4 - 1 : 0));
  std::size_t to = 0;
  for (std::size_t i = 0; i < text.size(); i += 4) {
    const std::size_t n = std::min<std::size_t>(4, text.size() - i);
    std::uint32_t bits = 0;
    for (std::size_t k = 0; k < 4; ++k) {
      const int v = k < n ? table[static_cast<unsigned char>(text[i + k])] : 0;
      if (v < 0) return false;
      bits = bits << 6 | static_cast<std::uint32_t>(v);
    }
    for (std::size_t k = 0; k + 1 < n; ++k) out[to++] = static_cast<std::uint8_t>(bits >> (16 - 8 * k));
  }
  return true;
}

}  // namespace

std::string base64(std::span<const std::uint8_t> bytes) {
  constexpr char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t n = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t bits = 0;
    for (std::size_t k = 0; k < 3; ++k) bits = bits << 8 | (k < n ? bytes[i + k] : 0U);
    for (std::size_t k = 0; k < 4; ++k) out.push_back(k <= n ? alphabet[bits >> (18 - 6 * k) & 63] : '=');
  }
  return out;
}

bool isDataUri(std::string_view uri) {
  if (uri.size() < 5) return false;
  constexpr std::string_view scheme = "data:";
  return std::equal(scheme.begin(), scheme.end(), uri.begin(), [](char a, char b) { return a == (b >= 'A' && b <= 'Z' ? b + 32 : b); });
}

bool hasScheme(std::string_view uri) {
  const std::size_t colon = uri.find(':');
  if (colon == std::string_view::npos || colon < 2) return false;
  return uri.find_first_of("/\\") > colon && !isDataUri(uri);
}

std::string percentDecoded(std::string_view uri) {
  std::string out;
  const auto digit = [](char c) { return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1; };
  for (std::size_t i = 0; i < uri.size(); ++i) {
    if (uri[i] == '%' && i + 2 < uri.size() && digit(uri[i + 1]) >= 0 && digit(uri[i + 2]) >= 0) {
      out.push_back(static_cast<char>(digit(uri[i + 1]) * 16 + digit(uri[i + 2])));
      i += 2;
    } else {
      out.push_back(uri[i]);
    }
  }
  return out;
}

Result<std::vector<std::uint8_t>> GltfFile::uriBytes(std::string_view uri, const std::string& what) const {
  const std::string where = path + ", " + what;
  if (isDataUri(uri)) {
    const std::size_t comma = uri.find(',');
    if (comma == std::string_view::npos) return makeError(Fault::input, "The data URI has no data", where, again);
    const std::string_view head = uri.substr(0, comma), data = uri.substr(comma + 1);
    std::vector<std::uint8_t> out;
    if (head.ends_with(";base64")) {
      const bool plain = data.find_first_of("% \r\n\t") == std::string_view::npos;
      std::string cleaned;
      if (!plain) {
        cleaned = percentDecoded(data);
        std::erase_if(cleaned, [](char c) { return c == ' ' || c == '\r' || c == '\n' || c == '\t'; });
      }
      if (!decodeBase64(plain ? data : std::string_view(cleaned), out))
        return makeError(Fault::input, "The base64 data is damaged", where, again);
    } else {
      const std::string text = percentDecoded(data);
      out.assign(text.begin(), text.end());
    }
    return out;
  }
  if (hasScheme(uri))
    return makeError(Fault::input, "The data lies at the address '" + validUtf8(uri.substr(0, 200)) + "', which is not read", where,
                     "Save the file with its data beside it or inside it");
  std::string name = percentDecoded(uri);
  if (name.empty() || name.find('\0') != std::string::npos) return makeError(Fault::input, "The name of its file is empty or damaged", where, again);
  const std::filesystem::path folder = std::filesystem::path(path).parent_path();
  Result<std::vector<std::uint8_t>> bytes = readBytes((folder / name).string());
  // Some exporters write names with blanks or '%' as they are.
  if (!bytes.ok() && name != uri) {
    Result<std::vector<std::uint8_t>> literal = readBytes((folder / std::string(uri)).string());
    if (literal.ok()) return literal;
  }
  if (!bytes.ok()) {
    Issue issue = bytes.error();
    issue.what = "'" + validUtf8(name) + "', which belongs to the file, cannot be read: " + issue.what;
    issue.where = where;
    issue.todo = "Put it beside the file, or export as .glb, which holds everything";
    return issue;
  }
  return bytes;
}

Status GltfFile::open(const std::string& filePath) {
  path = filePath;
  Result<std::vector<std::uint8_t>> read = readBytes(path);
  if (!read.ok()) return read.error();
  bytes_ = std::move(read).value();
  const std::span<const std::uint8_t> all(bytes_);
  if (all.empty()) return makeError(Fault::input, "The file is empty", path, again);
  std::string text;
  binary = all.size() >= 4 && u32At(all, 0) == glbMagic;
  if (binary) {
    if (all.size() < 20) return makeError(Fault::input, "The file is cut off: its header is not complete", path, again);
    const std::uint32_t version = u32At(all, 4), stated = u32At(all, 8);
    if (version != 2)
      return makeError(Fault::input, "The file is binary glTF version " + std::to_string(version) + "; only version 2 is read", path, "Export as glTF 2.0");
    if (stated > all.size())
      return makeError(Fault::input,
                       "The file is cut off: it should have " + std::to_string(stated) + " bytes and has " + std::to_string(all.size()), path, again);
    bool haveJson = false;
    for (std::size_t at = 12; at + 8 <= stated;) {
      const std::size_t size = u32At(all, at);
      const std::uint32_t type = u32At(all, at + 4);
      at += 8;
      if (size > stated - at) return makeError(Fault::input, "A chunk is longer than the file", path + ", byte " + std::to_string(at - 8), again);
      const auto chunk = all.subspan(at, size);
      if (!haveJson) {
        if (type != chunkJson) return makeError(Fault::input, "The first chunk is not JSON", path + ", byte " + std::to_string(at - 8), again);
        text.assign(reinterpret_cast<const char*>(chunk.data()), chunk.size());
        haveJson = true;
      } else if (type == chunkBin && !hasBinChunk) {
        binChunk = chunk;
        hasBinChunk = true;
      } else {
        extraChunks.push_back({type, chunk});
      }
      at += (size + 3) / 4 * 4;
    }
    if (!haveJson) return makeError(Fault::input, "The file holds no JSON", path, again);
  } else {
    const auto first = std::find_if(all.begin(), all.end(), [](std::uint8_t c) { return c > ' '; });
    const bool mark = all.size() >= 3 && all[0] == 0xEF && all[1] == 0xBB && all[2] == 0xBF;
    if (!mark && (first == all.end() || *first != '{'))
      return makeError(Fault::input, "This is no glTF file: it begins with neither '{' nor 'glTF'", path, "Choose a .gltf or .glb file");
    text.assign(reinterpret_cast<const char*>(all.data()), all.size());
    bytes_ = {};
  }
  if (Status parsed = json.parse(std::move(text), path); !parsed.ok()) return parsed;
  const JsonView asset = root()["asset"];
  if (!root().isObject() || !asset.isObject() || !asset["version"].isString())
    return makeError(Fault::input, "This is no glTF file: its JSON states no asset version", path, "Choose a .gltf or .glb file");
  if (!asset["version"].string().starts_with("2"))
    return makeError(Fault::input, "The file is glTF version " + validUtf8(asset["version"].string().substr(0, 20)) + "; only version 2 is read",
                     path + ", asset", "Export as glTF 2.0");

  const JsonView list = root()["buffers"];
  buffers.resize(list.size());
  for (std::size_t i = 0; i < buffers.size(); ++i) {
    GltfBuffer& buffer = buffers[i];
    const std::string what = "buffer " + std::to_string(i);
    const JsonView uri = list[i]["uri"];
    if (uri.isString()) {
      Result<std::vector<std::uint8_t>> loaded = uriBytes(uri.string(), what);
      if (loaded.ok()) {
        buffer.own = std::move(loaded).value();
        buffer.bytes = buffer.own;
        buffer.loaded = true;
      } else {
        buffer.problem = loaded.error();
      }
    } else if (i == 0 && hasBinChunk) {
      buffer.bytes = binChunk;
      buffer.fromChunk = true;
      buffer.loaded = true;
    } else {
      buffer.problem = makeError(Fault::input, binary && i == 0 ? "The file's binary chunk is missing" : "The buffer has no data", path + ", " + what, again);
    }
    const std::int64_t length = list[i]["byteLength"].integer(-1);
    if (buffer.loaded && (length < 0 || static_cast<std::uint64_t>(length) > buffer.bytes.size())) {
      buffer.loaded = false;
      buffer.problem = makeError(Fault::input,
                                 length < 0 ? "The buffer's byteLength is missing or no whole number"
                                            : "The buffer is cut off: it should have " + std::to_string(length) + " bytes and has " +
                                                  std::to_string(buffer.bytes.size()),
                                 path + ", " + what, again);
    }
  }
  return Done{};
}

Result<std::span<const std::uint8_t>> GltfFile::viewBytes(std::int64_t view) const {
  const std::string where = path + ", bufferView " + std::to_string(view);
  const JsonView views = root()["bufferViews"];
  if (view < 0 || view >= static_cast<std::int64_t>(views.size())) return makeError(Fault::input, "There is no such buffer view", where, again);
  const JsonView v = views[static_cast<std::size_t>(view)];
  const std::int64_t buffer = v["buffer"].integer(-1);
  const bool known = buffer >= 0 && buffer < static_cast<std::int64_t>(buffers.size());
  for (const char* name : {"EXT_meshopt_compression", "KHR_meshopt_compression"})
    if (v["extensions"][name] && (!known || !buffers[static_cast<std::size_t>(buffer)].loaded))
      return makeError(Fault::input, std::string("The data is compressed with ") + name + ", which is not read", where, "Export without compression");
  if (!known) return makeError(Fault::input, "It names a buffer that does not exist", where, again);
  const GltfBuffer& from = buffers[static_cast<std::size_t>(buffer)];
  if (!from.loaded) return from.problem;
  const std::int64_t offset = v["byteOffset"].integer(0), length = v["byteLength"].integer(-1);
  const auto size = static_cast<std::int64_t>(from.bytes.size());
  if (offset < 0 || length < 0 || offset > size || length > size - offset)
    return makeError(Fault::input, "It reaches outside its buffer, which has " + std::to_string(size) + " bytes", where, again);
  return from.bytes.subspan(static_cast<std::size_t>(offset), static_cast<std::size_t>(length));
}

int GltfFile::componentsOf(std::int64_t accessor) const {
  return accessor < 0 ? 0 : componentsOfType(root()["accessors"][static_cast<std::size_t>(accessor)]["type"].string());
}

std::int64_t GltfFile::countOf(std::int64_t accessor) const {
  return accessor < 0 ? 0 : std::max<std::int64_t>(root()["accessors"][static_cast<std::size_t>(accessor)]["count"].integer(0), 0);
}

Result<GltfNumbers> GltfFile::numbers(std::int64_t accessor, int components) const {
  const std::string where = path + ", accessor " + std::to_string(accessor);
  const JsonView all = root()["accessors"];
  if (accessor < 0 || accessor >= static_cast<std::int64_t>(all.size())) return makeError(Fault::input, "There is no such accessor", where, again);
  const JsonView a = all[static_cast<std::size_t>(accessor)];
  GltfNumbers out;
  out.components = componentsOfType(a["type"].string());
  const std::int64_t type = a["componentType"].integer(0), count = a["count"].integer(-1);
  const std::size_t size = sizeOfComponent(type);
  if (size == 0 || out.components == 0) return makeError(Fault::input, "Its type is none that glTF 2.0 knows", where, again);
  if (out.components != components)
    return makeError(Fault::input,
                     "It is " + std::string(a["type"].string()) + " where " + std::to_string(components) + " components are needed", where, again);
  if (count < 0 || count > std::int64_t{1} << 31) return makeError(Fault::input, "Its count is missing or absurd", where, again);
  out.componentType = static_cast<int>(type);
  out.count = static_cast<std::size_t>(count);
  out.normalised = a["normalized"].boolean();
  const bool matrix = a["type"].string().starts_with("MAT");
  const std::size_t element = componentOffset(components - 1, components, size, matrix) + size;
  if (const auto unpacked = unpacked_.find(accessor); unpacked != unpacked_.end()) {
    out.count = unpacked->second.count;
    out.stride = element;
    out.data = unpacked->second.bytes.data();
    return out;
  }
  if (!a["bufferView"]) {
    // Zeros cost nothing in the file, so that the count is all there is to judge by.
    if (out.count * element > std::size_t{1} << 28) return makeError(Fault::input, "It holds no data, yet counts " + std::to_string(count) + " elements", where, again);
    return out;
  }
  const std::int64_t view = a["bufferView"].integer(-1);
  Result<std::span<const std::uint8_t>> bytes = viewBytes(view);
  if (!bytes.ok()) {
    Issue issue = bytes.error();
    issue.where += " (accessor " + std::to_string(accessor) + ")";
    return issue;
  }
  const std::int64_t stride = root()["bufferViews"][static_cast<std::size_t>(view)]["byteStride"].integer(0), offset = a["byteOffset"].integer(0);
  out.stride = stride == 0 ? (matrix ? (element + 3) / 4 * 4 : element) : static_cast<std::size_t>(stride);
  if (stride < 0 || stride > 65536 || (stride > 0 && out.stride < element)) return makeError(Fault::input, "Its byteStride is wrong", where, again);
  const std::size_t available = bytes->size();
  if (offset < 0 || static_cast<std::uint64_t>(offset) > available ||
      (out.count > 0 && (element > available - static_cast<std::size_t>(offset) ||
                         (out.count - 1) > (available - static_cast<std::size_t>(offset) - element) / out.stride)))
    return makeError(Fault::input, "Its " + std::to_string(count) + " elements do not fit into its buffer view of " + std::to_string(available) + " bytes",
                     where, again);
  out.data = bytes->data() + offset;
  return out;
}

template <class T>
Status GltfFile::decode(std::int64_t accessor, int components, std::vector<T>& out) const {
  Result<GltfNumbers> found = numbers(accessor, components);
  if (!found.ok()) return found.error();
  const GltfNumbers& n = *found;
  const auto width = static_cast<std::size_t>(components);
  const JsonView a = root()["accessors"][static_cast<std::size_t>(accessor)];
  const bool matrix = a["type"].string().starts_with("MAT");
  const std::size_t size = sizeOfComponent(n.componentType);
  out.assign(n.count * width, T{});
  const auto read = [&](const std::uint8_t* element, T* to) {
    for (int c = 0; c < components; ++c) {
      const std::uint8_t* at = element + componentOffset(c, components, size, matrix);
      if constexpr (std::is_same_v<T, float>)
        to[c] = asFloat(at, n.componentType, n.normalised);
      else
        to[c] = asInteger(at, n.componentType);
    }
  };
  if (n.data) {
    if (std::is_same_v<T, float> && n.componentType == 5126 && n.stride == width * 4) {
      std::memcpy(out.data(), n.data, n.count * width * 4);
    } else {
      for (std::size_t i = 0; i < n.count; ++i) read(n.data + i * n.stride, out.data() + i * width);
    }
  }
  const JsonView sparse = a["sparse"];
  if (!sparse) return Done{};
  const std::string where = path + ", accessor " + std::to_string(accessor) + ", sparse";
  const std::int64_t count = sparse["count"].integer(-1), indexType = sparse["indices"]["componentType"].integer(0);
  const std::size_t indexSize = sizeOfComponent(indexType);
  if (count < 0 || count > static_cast<std::int64_t>(n.count) || (indexType != 5121 && indexType != 5123 && indexType != 5125))
    return makeError(Fault::input, "Its count or index type is wrong", where, again);
  const std::size_t element = matrix ? (componentOffset(components - 1, components, size, true) + size + 3) / 4 * 4 : width * size;
  const auto part = [&](const char* name, std::size_t each) -> Result<const std::uint8_t*> {
    Result<std::span<const std::uint8_t>> bytes = viewBytes(sparse[name]["bufferView"].integer(-1));
    if (!bytes.ok()) return bytes.error();
    const std::int64_t offset = sparse[name]["byteOffset"].integer(0);
    if (offset < 0 || static_cast<std::uint64_t>(offset) > bytes->size() ||
        static_cast<std::size_t>(count) > (bytes->size() - static_cast<std::size_t>(offset)) / each)
      return makeError(Fault::input, std::string("Its ") + name + " do not fit into their buffer view", where, again);
    return bytes->data() + offset;
  };
  Result<const std::uint8_t*> indices = part("indices", indexSize);
  if (!indices.ok()) return indices.error();
  Result<const std::uint8_t*> values = part("values", element);
  if (!values.ok()) return values.error();
  for (std::size_t i = 0; i < static_cast<std::size_t>(count); ++i) {
    const std::uint32_t index = asInteger(*indices + i * indexSize, static_cast<int>(indexType));
    if (index >= n.count) return makeError(Fault::input, "It replaces element " + std::to_string(index) + ", which does not exist", where, again);
    read(*values + i * element, out.data() + index * width);
  }
  return Done{};
}

Status GltfFile::floats(std::int64_t accessor, int components, std::vector<float>& out) const { return decode(accessor, components, out); }
Status GltfFile::integers(std::int64_t accessor, int components, std::vector<std::uint32_t>& out) const { return decode(accessor, components, out); }

}  // namespace understudy
