#include <algorithm>
#include <filesystem>

#include "core/io/with_props.h"

namespace understudy {
namespace {

std::string endingOf(const std::string& path) {
  std::string extension = std::filesystem::path(path).extension().string();
  std::transform(extension.begin(), extension.end(), extension.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
  return extension;
}

}  // namespace

std::optional<Issue> propsLeftOut(const BakedClip& clip, const std::string& path) {
  const std::string extension = endingOf(path);
  if (clip.props.empty() || extension == ".glb" || extension == ".gltf") return std::nullopt;
  std::string names;
  for (const BakedProp& prop : clip.props) names += (names.empty() ? "'" : ", '") + prop.name + "'";
  return makeWarning("A " + extension + " file holds the skeleton alone: " + names + (clip.props.size() == 1 ? " is" : " are") + " left out", path,
                     "Write a .glb as well to have the props with their movement");
}

Status handOver(const Figure& character, const BakedClip& clip, const std::string& path, bool animationOnly, const RunControl& control) {
  if (!clip.motion) return makeError(Fault::internal, "There is no animation to hand over", path);
  std::error_code error;
  if (!character.path.empty() && std::filesystem::equivalent(path, character.path, error))
    return makeError(Fault::output, "This would overwrite the character's own file", path, "Choose another name");
  const std::string extension = endingOf(path);
  if (extension == ".bvh") return writeBvh(character, clip, path, control);
  if (extension == ".csv") return writeCsv(character, clip, path, control);
  if (extension == ".glb" || extension == ".gltf") {
    const bool own = character.format.starts_with("glTF") && !animationOnly;
    if (!clip.props.empty() && (own || extension == ".glb")) {
      const Result<std::unique_ptr<const WithProps>> with = withProps(character, clip, !own);
      if (!with) return with.error();
      const WithProps& all = **with;
      if (own) return writeIntoOwnGltf(all.figure, all.clip, path, control);
      return animationOnly ? writeAnimationGlb(all.figure, all.clip, path, control) : writeNewGlb(all.figure, all.clip, path, control);
    }
    if (own) return writeIntoOwnGltf(character, clip, path, control);
    if (extension == ".gltf")
      return makeError(Fault::usage,
                       animationOnly ? "An animation alone is written as .glb, not .gltf" : "A " + character.format + " character is written as .glb, not .gltf",
                       path, "Give the file the ending .glb");
    return animationOnly ? writeAnimationGlb(character, clip, path, control) : writeNewGlb(character, clip, path, control);
  }
  return makeError(Fault::usage, extension.empty() ? std::string("The output file has no ending that names a format") : "'" + extension + "' is no format that can be written",
                   path, "End the name in .glb, .gltf, .bvh or .csv");
}

}  // namespace understudy
