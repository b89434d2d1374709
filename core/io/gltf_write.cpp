// Adds an animation to the artist's own glTF file. The JSON is never written anew: new text is put in between what is
// there, so that everything else stays as it was, to the byte.
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>

#include "core/io/gltf_file.h"
#include "core/io/gltf_node.h"
#include "core/io/gltf_pack.h"
#include "core/io/gltf_prop.h"
#include "core/io/read.h"
#include "core/io/write.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

struct Insertion {
  std::size_t at = 0, removed = 0;
  std::string text;
};

class Edits {
 public:
  explicit Edits(const JsonView& root) : root_(root) {}

  void replace(std::size_t begin, std::size_t end, std::string text) { list_.push_back({begin, end - begin, std::move(text)}); }
  /// Items behind the last one of a list at the document's root, which is made where it is missing.
  void append(const char* name, const std::vector<std::string>& items) {
    if (items.empty()) return;
    const JsonView list = root_[name];
    if (list.isArray() && list.size() > 0)
      insert(list[list.size() - 1].end(), "," + joined(items));
    else if (list.isArray())
      insert(list.end() - 1, joined(items));
    else
      insert(root_[root_.size() - 1].end(), ",\"" + std::string(name) + "\":[" + joined(items) + "]");
  }
  /// Items behind the last one of an array.
  void appendTo(const JsonView& array, const std::vector<std::string>& items) {
    if (items.empty()) return;
    insert(array.size() > 0 ? array[array.size() - 1].end() : array.end() - 1, (array.size() > 0 ? "," : "") + joined(items));
  }
  /// A member behind the last one of an object that has members.
  void addMember(const JsonView& object, const std::string& text) { insert(object[object.size() - 1].end(), "," + text); }
  void removeMember(const JsonView& object, std::string_view name) {
    for (std::size_t i = 0; i < object.size(); ++i) {
      if (object.key(i) != name) continue;
      if (i > 0)
        replace(object[i - 1].end(), object[i].end(), {});
      else if (object.size() > 1)
        replace(object.keyBegin(0), object.keyBegin(1), {});
      else
        replace(object.keyBegin(0), object[std::size_t{0}].end(), {});
      return;
    }
  }

  [[nodiscard]] std::string apply(const std::string& text) {
    std::stable_sort(list_.begin(), list_.end(), [](const Insertion& a, const Insertion& b) { return a.at < b.at; });
    std::string out;
    std::size_t from = text.starts_with("\xEF\xBB\xBF") ? 3 : 0, more = 0;
    for (const Insertion& e : list_) more += e.text.size();
    out.reserve(text.size() + more);
    for (const Insertion& e : list_) {
      out.append(text, from, e.at - from);
      out += e.text;
      from = e.at + e.removed;
    }
    out.append(text, from);
    return out;
  }

 private:
  void insert(std::size_t at, std::string text) { list_.push_back({at, 0, std::move(text)}); }
  JsonView root_;
  std::vector<Insertion> list_;
};

std::string_view asText(std::span<const std::uint8_t> bytes) { return {reinterpret_cast<const char*>(bytes.data()), bytes.size()}; }
std::span<const std::uint8_t> asBytes(std::string_view text) { return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}; }

std::string dataUri(std::string_view mime, std::span<const std::uint8_t> bytes) { return "data:" + std::string(mime) + ";base64," + base64(bytes); }
std::string bufferUri(std::span<const std::uint8_t> bytes) { return dataUri("application/octet-stream", bytes); }

std::string lowerExtension(const std::string& path) {
  std::string e = fs::path(path).extension().string();
  std::transform(e.begin(), e.end(), e.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
  return e;
}

bool sameFolder(const std::string& a, const std::string& b) {
  std::error_code error;
  const auto folder = [&](const std::string& p) { return fs::weakly_canonical(fs::absolute(fs::path(p), error).parent_path(), error); };
  return folder(a) == folder(b);
}

std::string pictureType(std::span<const std::uint8_t> bytes, std::string_view stated) {
  if (!stated.empty()) return std::string(stated);
  if (asText(bytes).starts_with("\xFF\xD8")) return "image/jpeg";
  if (asText(bytes).starts_with("RIFF")) return "image/webp";
  if (asText(bytes).starts_with("\xABKTX")) return "image/ktx2";
  return "image/png";
}

/// A relative path that stays below its folder.
bool staysInside(const fs::path& path) {
  return !path.is_absolute() && std::none_of(path.begin(), path.end(), [](const fs::path& part) { return part == ".."; });
}

struct Companion {
  std::string path;
  std::vector<std::uint8_t> bytes;
};

/// Pictures beside the original go along to another folder; where that is not possible they move into the JSON.
void carryImages(const GltfFile& file, const std::string& path, Edits& edits, std::vector<Companion>& copies) {
  const JsonView images = file.root()["images"];
  for (std::size_t i = 0; i < images.size(); ++i) {
    const JsonView uri = images[i]["uri"];
    if (!uri.isString() || isDataUri(uri.string()) || hasScheme(uri.string())) continue;
    Result<std::vector<std::uint8_t>> bytes = file.uriBytes(uri.string(), "image " + std::to_string(i));
    if (!bytes.ok()) continue;  // it was missing before
    const fs::path relative(percentDecoded(uri.string()));
    const std::string target = (fs::path(path).parent_path() / relative).string();
    std::error_code error;
    bool copy = staysInside(relative);
    if (copy && fs::exists(target, error)) {
      const Result<std::vector<std::uint8_t>> there = readBytes(target);
      if (there.ok() && *there == *bytes) continue;
      copy = false;
    }
    if (copy)
      copies.push_back({target, std::move(bytes).value()});
    else
      edits.replace(uri.begin(), uri.end(), "\"" + dataUri(pictureType(*bytes, images[i]["mimeType"].string()), *bytes) + "\"");
  }
}

}  // namespace

Status writeIntoOwnGltf(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control) {
  const Skeleton& skeleton = character.skeleton;
  if (Status status = checkBaked(skeleton, clip); !status.ok()) return status;
  const std::string extension = lowerExtension(path);
  const bool toBinary = extension == ".glb" || extension == ".vrm" || extension == ".vrma";
  if (!toBinary && extension != ".gltf")
    return makeError(Fault::usage, "'" + extension + "' is no glTF extension", path, "Name the file .glb or .gltf");
  control.report(0, "Reading the character's file");
  GltfFile file;
  if (Status status = file.open(character.path); !status.ok()) return status;
  if (control.stopped()) return RunControl::cancelled();
  const JsonView root = file.root(), nodes = root["nodes"], bufferList = root["buffers"];
  Edits edits(root);

  // Joints that are no nodes of the file are props: they get nodes of their own behind the file's.
  std::vector<int> added;
  for (int j = 0; j < skeleton.size(); ++j)
    if (skeleton.fileNodes[static_cast<std::size_t>(j)] < 0 && skeleton.parents[static_cast<std::size_t>(j)] < 0) added.push_back(j);

  // A node that shows a skin ignores its own transform (glTF 2.0, 3.7.3.3): without children a track on it does nothing.
  const auto trackNode = [&](int j) {
    if (const auto at = std::find(added.begin(), added.end(), j); at != added.end()) return static_cast<int>(nodes.size()) + static_cast<int>(at - added.begin());
    const int n = skeleton.fileNodes[static_cast<std::size_t>(j)];
    const JsonView node = n < 0 ? JsonView{} : nodes[static_cast<std::size_t>(n)];
    return node["skin"] && node["mesh"] && node["children"].size() == 0 ? -1 : n;
  };

  // The joints must still be the nodes they were.
  std::vector<char> moves(skeleton.parents.size(), 0);
  for (const auto* list : {&clip.rotated, &clip.motion->movedJoints, &clip.motion->scaledJoints})
    for (int j : *list) moves[static_cast<std::size_t>(j)] = trackNode(j) >= 0;
  for (int j = 0; j < skeleton.size(); ++j) {
    if (!moves[static_cast<std::size_t>(j)] || std::find(added.begin(), added.end(), j) != added.end()) continue;
    const int n = skeleton.fileNodes[static_cast<std::size_t>(j)];
    const JsonView node = n < 0 ? JsonView{} : nodes[static_cast<std::size_t>(n)];
    if (!node.isObject() || validUtf8(node["name"].string()) != skeleton.names[static_cast<std::size_t>(j)])
      return makeError(Fault::input, "The file has changed since it was read: node " + std::to_string(n) + " is no longer '" +
                                         skeleton.names[static_cast<std::size_t>(j)] + "'",
                       character.path, "Open the character again");
    if (!node["matrix"]) continue;
    // Only translation, rotation and scale can be animated.
    Result<Trsd> trs = gltfNodeTransform(node, character.path + ", node " + std::to_string(n), nullptr);
    if (!trs.ok()) return trs.error();
    const std::array t{trs->translation.x, trs->translation.y, trs->translation.z};
    const std::array r{trs->rotation.x, trs->rotation.y, trs->rotation.z, trs->rotation.w};
    const std::array s{trs->scale.x, trs->scale.y, trs->scale.z};
    for (std::size_t i = 0; i < node.size(); ++i)
      if (node.key(i) == "matrix")
        edits.replace(node.keyBegin(i), node[i].end(),
                      "\"translation\":" + jsonList(t) + ",\"rotation\":" + jsonList(r) + ",\"scale\":" + jsonList(s));
  }

  if (std::find(moves.begin(), moves.end(), 1) == moves.end())
    return makeError(Fault::mapping, "The clip moves nothing but nodes that show a skin, which follows its own bones", path, "Map at least the hips and try again");

  // Where the new bytes go: behind those of the binary chunk, else into a buffer of their own.
  const bool chunkBuffer = !file.buffers.empty() && file.buffers[0].loaded && (file.buffers[0].fromChunk || (!file.binary && toBinary));
  const bool newChunk = toBinary && bufferList.size() == 0 && !file.hasBinChunk;
  const bool intoChunk = toBinary && (chunkBuffer || newChunk);
  std::string_view head;
  GltfPack pack;
  pack.firstView = root["bufferViews"].size();
  pack.firstAccessor = root["accessors"].size();
  pack.buffer = intoChunk ? 0 : bufferList.size();
  std::string padding;
  if (intoChunk && chunkBuffer) {
    const auto stated = static_cast<std::size_t>(bufferList[std::size_t{0}]["byteLength"].integer(0));
    const auto have = file.buffers[0].bytes;
    // A file's padding behind the stated length is not carried as content, anything beyond that is.
    const std::size_t kept = have.size() > (stated + 3) / 4 * 4 ? have.size() : stated;
    head = asText(have).substr(0, kept);
    padding.assign((kept + 3) / 4 * 4 - kept, '\0');
    pack.firstByte = kept + padding.size();
  }
  std::vector<std::string> taken;
  for (std::size_t i = 0; i < root["animations"].size(); ++i) taken.emplace_back(root["animations"][i]["name"].string());
  const std::string animation = packAnimation(pack, clip, uniqueName(validUtf8(clip.name), taken), trackNode);
  if (control.stopped()) return RunControl::cancelled();
  control.report(0.5, "Adding the animation");
  if (!added.empty()) {
    GltfPropParts parts{root["meshes"].size(), root["materials"].size(), root["textures"].size(), root["images"].size(), {}, {}, {}, {}};
    std::vector<std::string> made, indices;
    for (const int j : added) {
      made.push_back(packPropNode(pack, character, j, parts));
      indices.push_back(std::to_string(nodes.size() + made.size() - 1));
    }
    edits.append("nodes", made);
    edits.append("meshes", parts.meshes);
    edits.append("materials", parts.materials);
    edits.append("textures", parts.textures);
    edits.append("images", parts.images);
    const JsonView scene = root["scenes"][static_cast<std::size_t>(std::max<std::int64_t>(0, root["scene"].integer(0)))];
    if (scene["nodes"].isArray())
      edits.appendTo(scene["nodes"], indices);
    else if (scene.isObject() && scene.size() > 0)
      edits.addMember(scene, "\"nodes\":[" + joined(indices) + "]");
  }
  edits.append("animations", {animation});
  edits.append("accessors", pack.accessors);
  edits.append("bufferViews", pack.views);

  const bool elsewhere = !sameFolder(character.path, path);
  for (std::size_t i = 0; i < file.buffers.size(); ++i) {
    const GltfBuffer& buffer = file.buffers[i];
    const JsonView entry = bufferList[i], uri = entry["uri"];
    if (i == 0 && intoChunk) {
      const JsonView length = entry["byteLength"];
      edits.replace(length.begin(), length.end(), std::to_string(pack.firstByte + pack.bytes.size()));
      if (uri) edits.removeMember(entry, "uri");
    } else if (buffer.fromChunk) {
      const auto stated = static_cast<std::size_t>(entry["byteLength"].integer(0));
      edits.addMember(entry, "\"uri\":\"" + bufferUri(buffer.bytes.first(stated)) + "\"");
    } else if (uri.isString() && elsewhere && buffer.loaded && !isDataUri(uri.string())) {
      edits.replace(uri.begin(), uri.end(), "\"" + bufferUri(buffer.bytes) + "\"");
    }
  }
  if (newChunk)
    edits.append("buffers", {"{\"byteLength\":" + std::to_string(pack.bytes.size()) + "}"});
  else if (!intoChunk)
    edits.append("buffers", {"{\"byteLength\":" + std::to_string(pack.bytes.size()) + ",\"uri\":\"" + bufferUri(asBytes(pack.bytes)) + "\"}"});
  std::vector<Companion> copies;
  if (elsewhere) carryImages(file, path, edits, copies);

  std::string text = edits.apply(file.json.text());
  std::string out;
  if (toBinary) {
    while (!text.empty() && (text.back() == ' ' || text.back() == '\0' || text.back() == '\n' || text.back() == '\r' || text.back() == '\t')) text.pop_back();
    const bool hasBin = intoChunk || file.hasBinChunk;
    Result<std::string> glb = assembleGlb(std::move(text), hasBin, intoChunk ? head : asText(file.binChunk),
                                          intoChunk ? std::string_view(padding += pack.bytes) : std::string_view{}, file.extraChunks, path);
    if (!glb.ok()) return glb.error();
    out = std::move(glb).value();
  } else {
    while (!text.empty() && text.back() == '\0') text.pop_back();
    out = std::move(text);
  }
  if (control.stopped()) return RunControl::cancelled();
  control.report(0.8, "Writing");
  // Pictures first, so that the file never stands there without them; taken back if the file cannot be written.
  std::vector<std::string> made;
  Status status = Done{};
  for (const Companion& copy : copies) {
    std::error_code error;
    fs::create_directories(fs::path(copy.path).parent_path(), error);
    status = writeBytes(copy.path, asText(copy.bytes));
    if (!status.ok()) break;
    made.push_back(copy.path);
  }
  if (status.ok()) status = writeBytes(path, out);
  if (!status.ok()) {
    for (const std::string& m : made) {
      std::error_code error;
      fs::remove(m, error);
    }
    return status;
  }
  control.report(1, "Writing");
  return status;
}

}  // namespace understudy
