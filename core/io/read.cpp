#include "core/io/read.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <string_view>

namespace understudy {
namespace {

enum class Kind { empty, bvh, glb, gltfJson, fbx, collada, unknown };

/// The first bytes of a file; the error readBytes gives where there are none to be had.
Result<std::string> headOf(const std::string& path) {
  std::error_code error;
  if (!std::filesystem::is_regular_file(path, error)) {
    // Missing, a folder, a pipe: the full reader knows what to say.
    Result<std::vector<std::uint8_t>> bytes = readBytes(path);
    if (!bytes) return bytes.error();
    return makeError(Fault::input, "This is not a plain file", path, "Copy it to a file first");
  }
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return readBytes(path).error();
  std::string head(8192, '\0');
  std::size_t have = 0;
  while (have < head.size()) {
    const ssize_t count = ::read(fd, head.data() + have, head.size() - have);
    if (count <= 0) break;
    have += static_cast<std::size_t>(count);
  }
  ::close(fd);
  head.resize(have);
  return head;
}

std::string lowered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
  return out;
}

Kind kindOf(std::string_view head) {
  if (head.starts_with("glTF")) return Kind::glb;
  if (head.starts_with("Kaydara FBX Binary")) return Kind::fbx;
  if (head.starts_with("\xEF\xBB\xBF")) head.remove_prefix(3);
  std::string_view rest = head;
  // Past blank and comment lines, the first word tells.
  while (!rest.empty()) {
    if (rest.front() == ' ' || rest.front() == '\t' || rest.front() == '\n' || rest.front() == '\r') {
      rest.remove_prefix(1);
    } else if (rest.front() == ';' || rest.front() == '#' || rest.starts_with("//")) {
      const std::string_view line = rest.substr(0, rest.find_first_of("\r\n"));
      if (line.find("FBX") != std::string_view::npos && line.front() == ';') return Kind::fbx;
      rest.remove_prefix(line.size());
    } else {
      break;
    }
  }
  if (rest.empty()) return Kind::empty;
  if (lowered(rest.substr(0, 9)) == "hierarchy") return Kind::bvh;
  if (rest.starts_with("FBXHeaderExtension")) return Kind::fbx;
  if (rest.front() == '{') return Kind::gltfJson;
  if (rest.front() == '<' && lowered(rest).find("<collada") != std::string::npos) return Kind::collada;
  return Kind::unknown;
}

}  // namespace

Result<Figure> readFigure(const std::string& path, const ReadSettings& settings, const RunControl& control) {
  const Result<std::string> head = headOf(path);
  if (!head) return head.error();
  const std::string extension = lowered(std::filesystem::path(path).extension().string());
  switch (kindOf(*head)) {
    case Kind::empty:
      return makeError(Fault::input, "The file is empty", path, "Export it again");
    case Kind::bvh:
      return readBvh(path, settings, control);
    case Kind::glb:
    case Kind::gltfJson:
      return readGltf(path, settings, control);
    case Kind::fbx:
    case Kind::collada:
      return readThroughChild(path, settings, control);
    case Kind::unknown:
      break;
  }
  // The reader of the format the name promises says more exactly what is wrong.
  if (extension == ".bvh") return readBvh(path, settings, control);
  if (extension == ".glb" || extension == ".gltf" || extension == ".vrm" || extension == ".vrma") return readGltf(path, settings, control);
  // OBJ files have no mark; they hold no skeleton, but props and sets come in them.
  if (extension == ".obj") return readThroughChild(path, settings, control);
  return makeError(Fault::input, "This is no BVH, glTF, FBX or Collada file", path, "Choose a .bvh, .gltf, .glb, .fbx or .dae file");
}

}  // namespace understudy
