#include "core/job/pack.h"

#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cstring>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "core/io/gltf_file.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

std::string lower(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

/// The JSON of a glTF file, as text or in the first chunk of a binary one; discarded where it is none.
Json gltfJson(const std::vector<std::uint8_t>& bytes) {
  std::size_t begin = 0, size = bytes.size();
  if (bytes.size() >= 20 && std::memcmp(bytes.data(), "glTF", 4) == 0) {
    std::uint32_t length = 0;
    for (int i = 3; i >= 0; --i) length = length << 8 | bytes[12 + static_cast<std::size_t>(i)];
    begin = 20;
    size = std::min<std::size_t>(length, bytes.size() - 20);
  }
  const char* text = reinterpret_cast<const char*>(bytes.data()) + begin;
  return Json::parse(text, text + size, nullptr, false);
}

/// Files a glTF file names, as it spells them: buffers and pictures.
std::vector<std::string> gltfNames(const std::vector<std::uint8_t>& bytes) {
  std::vector<std::string> names;
  const Json json = gltfJson(bytes);
  for (const char* list : {"buffers", "images"}) {
    if (!json.is_object() || !json.contains(list) || !json[list].is_array()) continue;
    for (const Json& item : json[list])
      if (item.is_object() && item.contains("uri") && item["uri"].is_string())
        if (const std::string uri = item["uri"]; !isDataUri(uri) && !hasScheme(uri)) names.push_back(uri);
  }
  return names;
}

/// Material files an OBJ file names.
std::vector<std::string> objNames(const std::vector<std::uint8_t>& bytes) {
  std::vector<std::string> names;
  const std::string_view text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    std::string_view line = text.substr(at, end - at);
    while (!line.empty() && (line.back() == '\r' || line.back() == ' ')) line.remove_suffix(1);
    if (line.starts_with("mtllib ")) names.emplace_back(line.substr(7));
    at = end + 1;
  }
  return names;
}

struct Packer {
  fs::path folder;   ///< the temporary one
  const RunControl& control;
  Packed packed;
  std::map<std::string, std::string> known;  ///< absolute path → path in the folder
  std::set<std::string> taken;               ///< names in "files", lower case

  Status write(const std::string& from, const fs::path& to, const std::vector<std::uint8_t>& bytes) {
    std::error_code error;
    fs::create_directories((folder / to).parent_path(), error);
    if (error) return makeError(Fault::output, "The folder cannot be made: " + error.message(), (folder / to).parent_path().string());
    if (const Status s = writeBytes((folder / to).string(), {reinterpret_cast<const char*>(bytes.data()), bytes.size()}); !s) return s;
    packed.files.push_back({from, to.generic_string(), bytes.size()});
    packed.bytes += bytes.size();
    return Done{};
  }

  std::string freeName(const std::string& stem, const std::string& ending) {
    std::string name = stem + ending;
    for (int n = 2; !taken.insert(lower(name)).second; ++n) name = stem + "-" + std::to_string(n) + ending;
    return name;
  }

  /// Copies a source and what belongs to it. `path` becomes its place in the temporary folder.
  Status add(std::string& path, const FileReference* reference) {
    if (path.empty()) return Done{};
    if (control.stopped()) return RunControl::cancelled();
    std::error_code error;
    const fs::path full = fs::absolute(path, error).lexically_normal();
    if (const auto place = known.find(full.string()); place != known.end()) {
      path = (folder / place->second).string();
      return Done{};
    }
    const auto bytes = readBytes(full.string());
    if (!bytes) return bytes.error();
    const std::string ending = lower(full.extension().string());
    const bool gltf = ending == ".gltf" || ending == ".glb" || ending == ".vrm" || ending == ".vrma";

    // Files beside it, by absolute path; those that are missing are the readers' to report.
    std::vector<std::pair<fs::path, std::vector<std::uint8_t>>> beside;
    const auto takeBeside = [&](const std::string& name) {
      for (const std::string& spelling : {percentDecoded(name), name}) {
        const fs::path other = (full.parent_path() / spelling).lexically_normal();
        if (other == full || std::any_of(beside.begin(), beside.end(), [&](const auto& b) { return b.first == other; })) return;
        if (!fs::is_regular_file(other, error)) continue;
        if (auto content = readBytes(other.string())) beside.emplace_back(other, std::move(*content));
        return;
      }
    };
    for (const std::string& name : gltf ? gltfNames(*bytes) : ending == ".obj" ? objNames(*bytes) : std::vector<std::string>{}) takeBeside(name);

    // Alone it lies in "files" itself; with others in a folder of its own that keeps how they lie to each other.
    fs::path root = full.parent_path();
    for (const auto& [other, content] : beside)
      while (other.lexically_relative(root).string().starts_with("..") && root != root.parent_path()) root = root.parent_path();
    const std::string stem = full.stem().string();
    const bool alone = beside.empty() && (gltf || ending == ".bvh");
    const fs::path base = alone ? fs::path("files") : fs::path("files") / freeName(stem, "");
    const fs::path to = alone ? base / freeName(stem, full.extension().string()) : base / full.lexically_relative(root);
    if (const Status s = write(full.string(), to, *bytes); !s) return s;
    for (const auto& [other, content] : beside)
      if (const Status s = write(other.string(), base / other.lexically_relative(root), content); !s) return s;
    known[full.string()] = to.generic_string();
    path = (folder / to).string();
    if (!gltf && ending != ".bvh") return addPictures(full.string(), path, reference);
    return Done{};
  }

  /// FBX, Collada and OBJ name their textures by paths of the machine they were made on: what their reader finds is put beside them,
  /// where it looks as well.
  Status addPictures(const std::string& from, const std::string& to, const FileReference* reference) {
    ReadSettings settings;
    settings.body = reference != nullptr;
    if (reference) {
      settings.metresPerUnit = reference->metresPerUnit;
      settings.up = reference->up;
    }
    const auto original = readFigure(from, settings, control);
    if (!original) return original.error();
    const auto same = [&](const Figure& copy) {
      return copy.images.size() == original->images.size() &&
             std::equal(copy.images.begin(), copy.images.end(), original->images.begin(), [](const Image& a, const Image& b) { return a.bytes == b.bytes; });
    };
    auto copy = readFigure(to, settings, control);
    if (!copy) return copy.error();
    if (same(*copy)) return Done{};
    for (const Image& image : original->images) {
      std::string name = image.name;
      std::replace(name.begin(), name.end(), '\\', '/');
      const std::string bare = fs::path(name).filename().string();
      if (bare.empty() || image.bytes.empty() || bare == fs::path(to).filename()) continue;
      if (const Status s = write(image.name, fs::path(to).parent_path().lexically_relative(folder) / bare, image.bytes); !s) return s;
    }
    copy = readFigure(to, settings, control);
    if (!copy) return copy.error();
    if (!same(*copy)) packed.issues.push_back(makeWarning("Some of its textures could not be packed", from, "Put them beside the packed file by hand"));
    return Done{};
  }
};

}  // namespace

Result<Packed> packReel(const Reel& reel, const std::string& reelPath, const std::string& target, const RunControl& control) {
  std::error_code error;
  const fs::path folder = fs::absolute(target, error).lexically_normal();
  const fs::path end = folder.has_filename() ? folder : folder.parent_path();
  if (fs::exists(end, error) && (!fs::is_directory(end, error) || !fs::is_empty(end, error)))
    return makeError(Fault::output, fs::is_directory(end, error) ? "The folder is not empty" : "There is a file of this name", target, "Name a new folder");
  if (!fs::is_directory(end.parent_path(), error))
    return makeError(Fault::output, "Its folder does not exist", target, "Make the folder " + end.parent_path().string() + " first");
  const fs::path work = end.parent_path() / ("." + end.filename().string() + ".packing-" + std::to_string(getpid()));
  fs::remove_all(work, error);
  if (!fs::create_directories(work, error)) return makeError(Fault::output, "The folder cannot be made: " + error.message(), target);
  struct Remover {
    const fs::path& path;
    ~Remover() {
      std::error_code ignored;
      fs::remove_all(path, ignored);
    }
  } remover{work};

  Packer packer{work, control, {}, {}, {}};
  Reel copy = reel;
  std::size_t done = 0;
  for (Node<Take>& node : copy.takes) {
    control.report(static_cast<double>(done++) / static_cast<double>(copy.takes.size()), "copying");
    Take take = *node;
    for (const bool performer : {true, false}) {
      FileReference file = performer ? *take.performer : *take.character;
      const FileReference asked = file;
      if (const Status s = packer.add(file.path, &asked); !s) return s.error();
      if (!file.path.empty()) file.contentHash = contentHash(file.path);
      (performer ? take.performer : take.character) = std::move(file);
    }
    std::vector<PropItem> props = *take.props;
    for (PropItem& prop : props)
      if (const Status s = packer.add(prop.path, nullptr); !s) return s.error();
    take.props = std::move(props);
    std::vector<SetItem> set = *take.set;
    for (SetItem& item : set)
      if (const Status s = packer.add(item.path, nullptr); !s) return s.error();
    take.set = std::move(set);
    // Where it was handed over last is nobody else's concern; its name is.
    HandOver handOver = *take.handOver;
    if (!handOver.path.empty()) handOver.path = (work / fs::path(handOver.path).filename()).string();
    take.handOver = std::move(handOver);
    node = std::move(take);
  }
  const std::string name = fs::path(reelPath).filename().string();
  if (const Status s = saveReel(copy, (work / name).string()); !s) return s.error();
  packer.packed.bytes += fs::file_size(work / name, error);
  if (control.stopped()) return RunControl::cancelled();
  // An empty folder may be there; rename() replaces it.
  fs::rename(work, end, error);
  if (error) return makeError(Fault::output, "The folder cannot be made: " + error.message(), target);
  packer.packed.reel = (end / name).string();
  return std::move(packer.packed);
}

}  // namespace understudy
