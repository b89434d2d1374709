#include "app/reader/import.h"

#include <assimp/ColladaMetaData.h>
#include <assimp/config.h>
#include <assimp/postprocess.h>
#include <assimp/scene.h>

#include <algorithm>
#include <array>
#include <assimp/Importer.hpp>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <locale>
#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <string_view>
#include <system_error>
#include <vector>

#include "app/reader/clips.h"
#include "app/reader/fbx_names.h"
#include "app/reader/meshes.h"
#include "app/reader/nodes.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
constexpr std::uintmax_t largestFile = 2ULL << 30;

enum class Kind { fbx, collada, obj };

Result<std::vector<char>> contents(const std::string& path) {
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  if (!fs::exists(status)) return makeError(Fault::input, "There is no such file", path, "Check the path");
  if (fs::is_directory(status)) return makeError(Fault::input, "This is a folder, not a file", path);
  if (!fs::is_regular_file(status)) return makeError(Fault::input, "This is no ordinary file", path);
  const std::uintmax_t size = fs::file_size(path, error);
  if (error) return makeError(Fault::input, "The file cannot be read: " + error.message(), path);
  if (size == 0) return makeError(Fault::input, "The file is empty", path, "Export it again");
  if (size > largestFile) return makeError(Fault::input, "The file is larger than 2 GB", path, "Export less of the scene");
  std::ifstream in(path, std::ios::binary);
  std::vector<char> bytes(static_cast<std::size_t>(size));
  if (!in.read(bytes.data(), static_cast<std::streamsize>(size)))
    return makeError(Fault::input, "The file cannot be read", path, "Check that you may read it");
  return bytes;
}

/// Lines of a Wavefront OBJ file begin with one of a few words; the format has no mark of its own.
bool looksLikeObj(std::string_view head) {
  constexpr std::array<std::string_view, 9> words{"v", "vt", "vn", "f", "o", "g", "s", "mtllib", "usemtl"};
  int lines = 0;
  for (std::size_t at = 0; at < head.size() && lines < 8;) {
    const std::size_t end = std::min(head.find_first_of("\r\n", at), head.size());
    const std::string_view line = head.substr(at, end - at);
    at = end + 1;
    const std::size_t first = line.find_first_not_of(" \t");
    if (first == std::string_view::npos || line[first] == '#') continue;
    const std::string_view word = line.substr(first, line.find_first_of(" \t", first) - first);
    if (std::find(words.begin(), words.end(), word) == words.end()) return false;
    ++lines;
  }
  return lines > 0;
}

std::optional<Kind> kindOf(const std::vector<char>& bytes, const std::string& path) {
  const std::string_view head(bytes.data(), std::min<std::size_t>(bytes.size(), 4096));
  if (head.starts_with("Kaydara FBX Binary")) return Kind::fbx;
  if (head.find("<COLLADA") != std::string_view::npos) return Kind::collada;
  if (head.find("FBXHeaderExtension") != std::string_view::npos || head.find("; FBX ") != std::string_view::npos) return Kind::fbx;
  std::string ending = fs::path(path).extension().string();
  for (char& c : ending) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
  if (ending == ".obj" && looksLikeObj(head)) return Kind::obj;
  return {};
}

void configure(Assimp::Importer& importer, bool meshes) {
  importer.SetPropertyBool(AI_CONFIG_IMPORT_COLLADA_USE_COLLADA_NAMES, true);
  // Joints whose weights are all zero still have a bind pose worth knowing.
  importer.SetPropertyBool(AI_CONFIG_IMPORT_REMOVE_EMPTY_BONES, false);
  importer.SetPropertyInteger(AI_CONFIG_PP_SBP_REMOVE, aiPrimitiveType_POINT | aiPrimitiveType_LINE);
  importer.SetPropertyBool(AI_CONFIG_IMPORT_FBX_READ_TEXTURES, meshes);
}

std::optional<double> number(const aiMetadata* data, const char* key) {
  if (!data) return {};
  for (unsigned i = 0; i < data->mNumProperties; ++i) {
    if (std::string_view(data->mKeys[i].C_Str()) != key) continue;
    const aiMetadataEntry& entry = data->mValues[i];
    switch (entry.mType) {
      case AI_INT32:
        return *static_cast<std::int32_t*>(entry.mData);
      case AI_UINT64:
        return static_cast<double>(*static_cast<std::uint64_t*>(entry.mData));
      case AI_FLOAT:
        return *static_cast<float*>(entry.mData);
      case AI_DOUBLE:
        return *static_cast<double*>(entry.mData);
      default:
        return {};
    }
  }
  return {};
}

std::string text(const aiMetadata* data, const char* key) {
  aiString out;
  if (data && data->Get(key, out)) return out.C_Str();
  return {};
}

std::string unitName(double metres) {
  struct Known {
    double metres;
    const char* name;
  };
  for (const Known& known :
       {Known{1, "m"}, {0.01, "cm"}, {0.001, "mm"}, {0.1, "dm"}, {0.0254, "in"}, {0.3048, "ft"}, {0.9144, "yd"}, {1000, "km"}})
    if (std::abs(metres / known.metres - 1) < 1e-4) return known.name;
  char out[32];
  std::snprintf(out, sizeof out, "%.4g m", metres);
  return out;
}

/// A number that went through single precision: 2.54, not 2.5399999618.
double undoSingle(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return std::strtod(text, nullptr);
}

/// FBX time modes; 0 and 14 (the custom rate) have no rate of their own.
double hertzOf(const aiMetadata* data) {
  static constexpr double rates[] = {
      0, 120, 100, 60, 50, 48, 30, 30, 30000.0 / 1001, 30000.0 / 1001, 25, 24, 1000, 24000.0 / 1001, 0, 96, 72, 60000.0 / 1001};
  const double mode = number(data, "FrameRate").value_or(-1);
  const double custom = number(data, "CustomFrameRate").value_or(-1);
  if (mode == 14 && custom > 0 && custom <= 1000) return custom;
  if (mode >= 0 && mode < static_cast<double>(std::size(rates))) return rates[static_cast<std::size_t>(mode)];
  return 0;
}

void fbxSpace(const aiMetadata* data, Figure& figure) {
  Space& space = figure.space;
  const double factor = number(data, "UnitScaleFactor").value_or(0);
  space.unitStated = factor > 0 && std::isfinite(factor);
  space.metresPerUnit = space.unitStated ? 0.01 * undoSingle(factor) : 0.01;
  space.unitName = unitName(space.metresPerUnit);

  // Up, front and right as the file states them; each an axis and a sign.
  const auto axis = [&](const char* name, const char* sign) -> std::optional<Vec3d> {
    const double index = number(data, name).value_or(-1), direction = number(data, sign).value_or(0);
    if (index != 0 && index != 1 && index != 2) return {};
    if (direction != 1 && direction != -1) return {};
    Vec3d out{};
    out[static_cast<int>(index)] = direction;
    return out;
  };
  const auto up = axis("UpAxis", "UpAxisSign"), front = axis("FrontAxis", "FrontAxisSign"), right = axis("CoordAxis", "CoordAxisSign");
  space.upStated = up.has_value();
  if (!up) return;
  for (int i = 0; i < 3; ++i)
    if ((*up)[i] != 0) space.upName = std::string((*up)[i] > 0 ? "+" : "-") + "XYZ"[i];
  if (front && right && std::abs(dot(*up, *front)) < 0.5 && std::abs(dot(cross(*up, *front), *right) - 1) < 1e-9) {
    space.worldFromFile = toQuat(transposed(Mat3d{*right, *up, *front}));
  } else {
    space.worldFromFile = rotationBetween(*up, Vec3d{0, 1, 0});
    if (front && right) figure.issues.push_back(makeNote("The file's axes are not right-handed; only its up axis is used"));
  }
}

/// Collada: Assimp puts unit and up axis into a root of its own. Taken out again, so that the numbers stay the file's.
/// Returns whether the root may be dropped.
bool colladaSpace(const aiScene& scene, Figure& figure) {
  Space& space = figure.space;
  const Affined root = affineOf(scene.mRootNode->mTransformation);
  const Trsd parts = trsOf(root);
  space.unitStated = space.upStated = true;
  const double scale = parts.scale.x;
  const bool similar = scale > 0 && std::abs(parts.scale.y / scale - 1) < 1e-4 && std::abs(parts.scale.z / scale - 1) < 1e-4 &&
                       length(parts.translation) < 1e-9;
  if (!similar || scene.mRootNode->mNumMeshes > 0) return false;
  space.metresPerUnit = undoSingle(scale);
  space.unitName = unitName(space.metresPerUnit);
  space.worldFromFile = angleBetween(parts.rotation, Quatd{}) < 1e-5 ? Quatd{} : parts.rotation;
  const Vec3d up = rotate(conjugate(space.worldFromFile), Vec3d{0, 1, 0});
  for (int i = 0; i < 3; ++i)
    if (std::abs(up[i]) > 0.99) space.upName = std::string(up[i] > 0 ? "+" : "-") + "XYZ"[i];
  return true;
}

/// The different bind shape matrices of a Collada file (16 numbers by rows each).
std::vector<Affined> bindShapesOf(const std::vector<char>& bytes) {
  std::vector<Affined> shapes;
  const std::string_view all(bytes.data(), bytes.size());
  constexpr std::string_view tag = "<bind_shape_matrix";
  for (std::size_t at = all.find(tag); at != std::string_view::npos; at = all.find(tag, at + 1)) {
    const std::size_t begin = all.find('>', at), end = begin == std::string_view::npos ? begin : all.find('<', begin);
    if (end == std::string_view::npos || end - begin > 2000) continue;
    std::istringstream in{std::string(all.substr(begin + 1, end - begin - 1))};
    in.imbue(std::locale::classic());
    double m[16];
    int count = 0;
    while (count < 16 && in >> m[count]) ++count;
    if (count < 16) continue;
    const Affined shape{{{m[0], m[4], m[8]}, {m[1], m[5], m[9]}, {m[2], m[6], m[10]}}, {m[3], m[7], m[11]}};
    if (std::find(shapes.begin(), shapes.end(), shape) == shapes.end() && shapes.size() < 64) shapes.push_back(shape);
  }
  if (shapes.empty()) shapes.emplace_back();
  return shapes;
}

bool animated(const aiScene& scene, const aiNode* node) {
  for (unsigned a = 0; a < scene.mNumAnimations; ++a)
    for (unsigned c = 0; c < scene.mAnimations[a]->mNumChannels; ++c)
      if (scene.mAnimations[a]->mChannels[c]->mNodeName == node->mName) return true;
  return false;
}

std::vector<const aiNode*> allNodes(const aiScene& scene) {
  std::vector<const aiNode*> nodes{scene.mRootNode};
  for (std::size_t i = 0; i < nodes.size(); ++i)
    for (unsigned c = 0; c < nodes[i]->mNumChildren; ++c) nodes.push_back(nodes[i]->mChildren[c]);
  return nodes;
}

bool namesRepeat(const aiScene& scene) {
  std::set<std::string> seen;
  for (const aiNode* node : allNodes(scene))
    if (!seen.insert(node->mName.C_Str()).second) return true;
  return false;
}

bool hasMorphs(const aiScene& scene) {
  for (unsigned m = 0; m < scene.mNumMeshes; ++m)
    if (scene.mMeshes[m]->mNumAnimMeshes > 0) return true;
  return false;
}

std::string nameOf(Kind kind) { return kind == Kind::fbx ? "FBX" : kind == Kind::collada ? "Collada" : "OBJ"; }

Issue unreadable(const Assimp::Importer& importer, const std::string& path, Kind kind) {
  std::string why = importer.GetErrorString();
  std::replace(why.begin(), why.end(), '\n', ' ');
  if (why.size() > 300) why = why.substr(0, 300) + " …";
  return makeError(
      Fault::input,
      "The " + nameOf(kind) + " file cannot be read" + (why.empty() ? "" : ": " + why), path,
      kind == Kind::fbx ? "Export it again (FBX 2013 or later, binary), or as glTF (.glb)" : "Export it again, or as glTF (.glb)");
}

}  // namespace

Result<Figure> importFile(const std::string& path, bool meshes) {
  Result<std::vector<char>> bytes = contents(path);
  if (!bytes) return bytes.error();
  const std::optional<Kind> kind = kindOf(*bytes, path);
  if (!kind)
    return makeError(Fault::input, "This is neither an FBX nor a Collada nor an OBJ file", path, "Export it as FBX, Collada, glTF (.glb) or BVH");

  std::map<std::string, std::string> stoodFor;
  if (*kind == Kind::fbx) stoodFor = separateNames(*bytes);
  // FBX pivots stay as helper nodes (the default): folding them here is right where Assimp's own folding is not.
  const unsigned steps = meshes ? static_cast<unsigned>(aiProcess_Triangulate | aiProcess_SortByPType | aiProcess_FlipUVs) : 0U;
  const char* hint = *kind == Kind::fbx ? "fbx" : *kind == Kind::collada ? "dae" : "obj";
  Assimp::Importer importer;
  configure(importer, meshes);
  // An OBJ file names a second one with its materials, which has to be looked for beside it.
  const aiScene* scene = *kind == Kind::obj ? importer.ReadFile(path, steps) : importer.ReadFileFromMemory(bytes->data(), bytes->size(), steps, hint);
  if (!scene || !scene->mRootNode) return unreadable(importer, path, *kind);

  // Collada: where names repeat, the nodes' ids tell them apart. A second reading has the same tree under its ids.
  std::vector<std::string> readable;
  if (*kind == Kind::collada && namesRepeat(*scene)) {
    for (const aiNode* node : allNodes(*scene)) readable.emplace_back(node->mName.C_Str());
    importer.SetPropertyBool(AI_CONFIG_IMPORT_COLLADA_USE_COLLADA_NAMES, false);
    scene = importer.ReadFileFromMemory(bytes->data(), bytes->size(), steps, hint);
    if (!scene || !scene->mRootNode) return unreadable(importer, path, *kind);
    if (allNodes(*scene).size() != readable.size()) readable.clear();
  }
  const std::vector<Affined> bindShapes = *kind == Kind::collada ? bindShapesOf(*bytes) : std::vector<Affined>{};
  bytes = std::vector<char>{};
  if (meshes && scene->mNumMeshes > 0) {
    // Joining vertices is safe only without morphs, whose offsets it does not compare.
    unsigned more = hasMorphs(*scene) ? 0U : static_cast<unsigned>(aiProcess_JoinIdenticalVertices);
    for (unsigned m = 0; m < scene->mNumMeshes; ++m)
      if (!scene->mMeshes[m]->HasNormals()) more |= aiProcess_GenSmoothNormals;
    if (more != 0) scene = importer.ApplyPostProcessing(more);
    if (!scene) return unreadable(importer, path, *kind);
  }

  Figure figure;
  figure.path = path;
  figure.format = nameOf(*kind);
  bool dropRoot = false;
  double hertz = 0;
  if (*kind == Kind::fbx) {
    fbxSpace(scene->mMetaData, figure);
    hertz = hertzOf(scene->mMetaData);
    dropRoot = scene->mRootNode->mNumMeshes == 0 && scene->mRootNode->mTransformation.IsIdentity() && !animated(*scene, scene->mRootNode);
  } else if (*kind == Kind::obj) {
    // The format states neither unit nor axes; metres and Y up are the custom.
    figure.space.unitStated = figure.space.upStated = false;
  } else {
    dropRoot = colladaSpace(*scene, figure) && !animated(*scene, scene->mRootNode);
    if (!dropRoot) figure.space = {};
  }
  if (dropRoot && scene->mRootNode->mNumChildren == 0)
    return makeError(Fault::input, "The file holds no nodes, so there is no skeleton to read", path,
                     "Export the skeleton along with the scene");

  NodeTable table = buildJoints(*scene, dropRoot, figure);
  if (figure.skeleton.size() > 100000)
    return makeError(Fault::input, "The file holds more than 100,000 nodes", path, "Export only the character");
  for (std::size_t j = 0; j < table.chains.size(); ++j)
    if (const Trsd& rest = figure.skeleton.rest[j]; !isFinite(rest.translation) || !isFinite(rest.rotation) || !isFinite(rest.scale))
      return makeError(Fault::input, "The node '" + figure.skeleton.names[j] + "' is placed by numbers that are not finite", path,
                       "Export it again");
  const std::string generator = text(scene->mMetaData, "SourceAsset_Generator");
  if (meshes) buildMeshes(*scene, table, path, generator.find("Blender") != std::string::npos, bindShapes, figure);
  buildClips(*scene, table, hertz, figure);
  if (!readable.empty()) {
    const std::vector<const aiNode*> nodes = allNodes(*scene);
    for (std::size_t i = 0; i < nodes.size(); ++i)
      if (const auto at = table.jointOf.find(nodes[i]); at != table.jointOf.end())
        figure.skeleton.names[static_cast<std::size_t>(at->second)] = readable[i];
  }
  const auto original = [&](std::string& name) {
    if (const auto at = stoodFor.find(name); at != stoodFor.end()) name = at->second;
  };
  for (std::string& name : figure.skeleton.names) original(name);
  for (Mesh& mesh : figure.meshes) original(mesh.name);
  return figure;
}

}  // namespace understudy
