#include "app/reader/meshes.h"

#include <assimp/material.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>
#include <system_error>

namespace understudy {
namespace {

namespace fs = std::filesystem;
constexpr std::size_t mostInfluences = 8;
constexpr std::uintmax_t largestTexture = 64ULL << 20;

float linearOf(float srgb) {
  // IEC 61966-2-1, the sRGB transfer function.
  return srgb <= 0.04045F ? srgb / 12.92F : std::pow((srgb + 0.055F) / 1.055F, 2.4F);
}

std::string mimeOf(const std::vector<std::uint8_t>& bytes) {
  if (bytes.size() > 8 && std::memcmp(bytes.data(), "\x89PNG", 4) == 0) return "image/png";
  if (bytes.size() > 3 && bytes[0] == 0xFF && bytes[1] == 0xD8) return "image/jpeg";
  return {};
}

std::vector<std::uint8_t> fileBytes(const fs::path& path) {
  std::error_code error;
  const std::uintmax_t size = fs::file_size(path, error);
  if (error || size == 0 || size > largestTexture || !fs::is_regular_file(path, error)) return {};
  std::ifstream in(path, std::ios::binary);
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(size));
  in.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(size));
  return in ? bytes : std::vector<std::uint8_t>{};
}

/// The texture as named in the file; else by its bare name beside the file and in the usual folders.
std::vector<std::uint8_t> findTexture(std::string name, const std::string& figurePath) {
  if (name.starts_with("file://")) name = name.substr(7);
  std::replace(name.begin(), name.end(), '\\', '/');
  for (std::size_t at = name.find("%20"); at != std::string::npos; at = name.find("%20")) name.replace(at, 3, " ");
  const fs::path folder = fs::path(figurePath).parent_path(), named(name), bare = named.filename();
  std::vector<fs::path> places;
  if (named.is_absolute())
    places.push_back(named);
  else
    places.push_back(folder / named);
  for (const char* sub : {"", "textures", "Textures", "texture", "tex", "images", "maps", "../textures", "../Textures", "../images"})
    places.push_back(folder / sub / bare);
  places.push_back(folder / (fs::path(figurePath).stem().string() + ".fbm") / bare);
  for (const fs::path& place : places)
    if (std::vector<std::uint8_t> bytes = fileBytes(place); !bytes.empty()) return bytes;
  return {};
}

class MaterialBuilder {
 public:
  MaterialBuilder(const aiScene& scene, const std::string& path, bool linearColours, Figure& figure)
      : scene_(scene), path_(path), linear_(linearColours), figure_(figure) {}

  void run() {
    for (unsigned m = 0; m < scene_.mNumMaterials; ++m) figure_.materials.push_back(one(*scene_.mMaterials[m]));
  }

 private:
  Material one(const aiMaterial& from) {
    Material material;
    aiString text;
    if (from.Get(AI_MATKEY_NAME, text) == AI_SUCCESS) material.name = text.C_Str();
    aiColor4D colour(1, 1, 1, 1);
    if (aiGetMaterialColor(&from, AI_MATKEY_BASE_COLOR, &colour) != AI_SUCCESS)
      if (aiGetMaterialColor(&from, AI_MATKEY_COLOR_DIFFUSE, &colour) != AI_SUCCESS) colour = {1, 1, 1, 1};
    const float rgb[3] = {colour.r, colour.g, colour.b};
    for (int i = 0; i < 3; ++i) {
      const float c = std::isfinite(rgb[i]) ? std::clamp(rgb[i], 0.0F, 1.0F) : 1.0F;
      material.baseColour[static_cast<std::size_t>(i)] = linear_ ? c : linearOf(c);
    }
    float opacity = 1;
    if (aiGetMaterialFloat(&from, AI_MATKEY_OPACITY, &opacity) != AI_SUCCESS || !std::isfinite(opacity)) opacity = 1;
    // Some exporters write the transparency where the opacity belongs; nobody rigs an invisible character.
    material.baseColour[3] = opacity < 0.01F ? 1.0F : std::min(opacity, 1.0F);
    int twoSided = 0;
    if (aiGetMaterialInteger(&from, AI_MATKEY_TWOSIDED, &twoSided) == AI_SUCCESS) material.doubleSided = twoSided != 0;
    for (const aiTextureType type : {aiTextureType_BASE_COLOR, aiTextureType_DIFFUSE}) {
      if (aiGetMaterialTexture(&from, type, 0, &text) != aiReturn_SUCCESS || text.length == 0) continue;
      material.image = image(text.C_Str());
      // A texture takes the colour's place in these formats.
      if (material.image >= 0) material.baseColour[0] = material.baseColour[1] = material.baseColour[2] = 1;
      break;
    }
    return material;
  }

  int image(const std::string& name) {
    if (const auto known = images_.find(name); known != images_.end()) return known->second;
    int index = -1;
    Image made;
    const aiTexture* embedded = scene_.GetEmbeddedTexture(name.c_str());
    if (embedded && embedded->mHeight == 0 && embedded->pcData) {
      const auto* data = reinterpret_cast<const std::uint8_t*>(embedded->pcData);
      made.bytes.assign(data, data + embedded->mWidth);
    } else {
      made.bytes = findTexture(name, path_);
    }
    made.mimeType = mimeOf(made.bytes);
    std::string bare = name;
    std::replace(bare.begin(), bare.end(), '\\', '/');
    made.name = fs::path(bare).filename().string();
    if (made.bytes.empty()) {
      figure_.issues.push_back(
          makeNote("The texture '" + made.name + "' was not found; the material's colour is shown", {}, "Put it beside the file"));
    } else if (made.mimeType.empty()) {
      figure_.issues.push_back(makeNote("The texture '" + made.name + "' is neither PNG nor JPEG; the material's colour is shown"));
    } else {
      index = static_cast<int>(figure_.images.size());
      figure_.images.push_back(std::move(made));
    }
    images_[name] = index;
    return index;
  }

  const aiScene& scene_;
  const std::string& path_;
  bool linear_;
  Figure& figure_;
  std::map<std::string, int> images_;
};

bool alike(const Affined& a, const Affined& b) {
  const auto near = [](const Vec3d& p, const Vec3d& q, double size) { return distance(p, q) <= 1e-5 * size + 1e-12; };
  const double size = length(a.linear.cx) + length(a.linear.cy) + length(a.linear.cz);
  return near(a.linear.cx, b.linear.cx, size) && near(a.linear.cy, b.linear.cy, size) && near(a.linear.cz, b.linear.cz, size) &&
         near(a.translation, b.translation, size + length(a.translation));
}

class MeshBuilder {
 public:
  MeshBuilder(const aiScene& scene, const NodeTable& table, const std::vector<Affined>& bindShapes, Figure& figure)
      : scene_(scene), table_(table), bindShapes_(bindShapes), figure_(figure) {}

  void run() {
    for (std::size_t j = 0; j < table_.chains.size(); ++j)
      for (const ChainLink& link : table_.chains[j].links)
        for (unsigned m = 0; m < link.node->mNumMeshes; ++m)
          if (link.node->mMeshes[m] < scene_.mNumMeshes) one(*scene_.mMeshes[link.node->mMeshes[m]], link.node, static_cast<int>(j));
    if (dropped_ > 0)
      figure_.issues.push_back(makeNote(std::to_string(dropped_) + " vertices have more than " + std::to_string(mostInfluences) +
                                        " influences; the largest are kept"));
    if (!unbound_.empty())
      figure_.issues.push_back(makeWarning("The skin has weights on '" + unbound_ + "', which is no joint of the file; left out"));
    if (unweighted_ > 0)
      figure_.issues.push_back(
          makeNote(std::to_string(unweighted_) + " vertices of skinned meshes have no weights; they follow a joint near by"));
    if (broken_ > 0)
      figure_.issues.push_back(
          makeWarning(std::to_string(broken_) + " vertices had numbers that are not finite; they were moved to the origin"));
  }

 private:
  struct Influence {
    std::uint16_t joint;
    float weight;
  };

  void one(const aiMesh& from, const aiNode* node, int joint) {
    Mesh mesh;
    mesh.name = from.mName.length > 0 ? from.mName.C_Str() : figure_.skeleton.names[static_cast<std::size_t>(joint)];
    mesh.node = joint;
    mesh.material = from.mMaterialIndex < figure_.materials.size() ? static_cast<int>(from.mMaterialIndex) : -1;
    for (unsigned f = 0; f < from.mNumFaces; ++f) {
      const aiFace& face = from.mFaces[f];
      if (face.mNumIndices != 3) continue;
      if (std::any_of(face.mIndices, face.mIndices + 3, [&](unsigned i) { return i >= from.mNumVertices; })) continue;
      for (int k = 0; k < 3; ++k) mesh.indices.push_back(face.mIndices[k]);
    }
    if (from.mNumVertices == 0 || mesh.indices.empty()) return;
    const bool skinned = from.mNumBones > 0;
    // Skinned vertices go to the file's world, where their inverse bind matrices are the joints' own; others to the joint.
    const Affined nodeWorld = table_.world.at(node);
    const Affined& jointWorld = table_.chains[static_cast<std::size_t>(joint)].fileWorld;
    const bool flat = std::abs(determinant(jointWorld.linear)) < 1e-30 || std::abs(determinant(nodeWorld.linear)) < 1e-30;
    const Affined place = skinned ? bindPlace(from, nodeWorld) : flat ? Affined{} : inverse(jointWorld) * nodeWorld;
    if (skinned && std::abs(determinant(place.linear)) < 1e-30) {
      figure_.issues.push_back(makeWarning("The mesh's node is scaled to nothing; the mesh is left out", "mesh '" + mesh.name + "'"));
      return;
    }
    const Mat3d normalPlace = transposed(inverse(place.linear));
    const auto point = [&](const aiVector3D& v) {
      const Vec3f p(apply(place, Vec3d{v.x, v.y, v.z}));
      if (isFinite(p)) return p;
      ++broken_;
      return Vec3f{};
    };
    for (unsigned v = 0; v < from.mNumVertices; ++v) mesh.positions.push_back(point(from.mVertices[v]));
    if (from.HasNormals())
      for (unsigned v = 0; v < from.mNumVertices; ++v) {
        const Vec3f n(normalised(normalPlace * Vec3d{from.mNormals[v].x, from.mNormals[v].y, from.mNormals[v].z}, Vec3d{0, 1, 0}));
        mesh.normals.push_back(isFinite(n) ? n : Vec3f{0, 1, 0});
      }
    if (from.HasTextureCoords(0))
      for (unsigned v = 0; v < from.mNumVertices; ++v) {
        const aiVector3D& t = from.mTextureCoords[0][v];
        mesh.texcoords.push_back(std::isfinite(t.x) && std::isfinite(t.y) ? Vec2f{t.x, t.y} : Vec2f{});
      }
    if (from.HasVertexColors(0))
      for (unsigned v = 0; v < from.mNumVertices; ++v) {
        const aiColor4D& c = from.mColors[0][v];
        std::array<float, 4> rgba{linearOf(c.r), linearOf(c.g), linearOf(c.b), c.a};
        for (float& part : rgba) part = std::isfinite(part) ? part : 1.0F;
        mesh.colours.push_back(rgba);
      }
    if (determinant(place.linear) < 0)
      for (std::size_t i = 0; i + 2 < mesh.indices.size(); i += 3) std::swap(mesh.indices[i + 1], mesh.indices[i + 2]);
    for (unsigned m = 0; m < from.mNumAnimMeshes; ++m) {
      const aiAnimMesh& to = *from.mAnimMeshes[m];
      if (!to.mVertices || to.mNumVertices != from.mNumVertices) continue;
      MorphTarget morph;
      morph.name = to.mName.C_Str();
      for (unsigned v = 0; v < to.mNumVertices; ++v) morph.positions.push_back(point(to.mVertices[v]) - mesh.positions[v]);
      mesh.morphs.push_back(std::move(morph));
      mesh.morphWeights.push_back(0);  // the base shape, whatever the exporter left standing
    }
    if (skinned) bind(from, place, mesh);
    if (skinned && mesh.skin < 0 && !flat) {
      // No weight led anywhere: the mesh moves with its node.
      const Affined back = inverse(jointWorld);
      for (Vec3f& p : mesh.positions) p = Vec3f(apply(back, Vec3d(p)));
    }
    figure_.meshes.push_back(std::move(mesh));
  }

  /// Where the mesh stood in the file's world when it was bound.
  Affined bindPlace(const aiMesh& from, const Affined& nodeWorld) const {
    if (bindShapes_.empty()) return nodeWorld;
    // Which of the file's matrices is this mesh's: the one that brings the joints' bind pose nearest to their rest pose.
    Affined best = bindShapes_.front();
    double least = 1e300;
    for (const Affined& shape : bindShapes_) {
      if (bindShapes_.size() == 1 || std::abs(determinant(shape.linear)) < 1e-30) continue;
      const Affined back = inverse(shape);
      double sum = 0;
      for (unsigned b = 0; b < from.mNumBones; ++b) {
        const aiNode* node = nodeNamed(table_, from.mBones[b]->mName.C_Str());
        if (!node) continue;
        const Affined left = table_.world.at(node) * affineOf(from.mBones[b]->mOffsetMatrix) * back;
        const double size = length(left.translation) + length(apply(inverse(table_.world.at(node)), Vec3d{}));
        sum += distance(left.linear.cx, {1, 0, 0}) + distance(left.linear.cy, {0, 1, 0}) + distance(left.linear.cz, {0, 0, 1}) +
               (size > 0 ? length(left.translation) / size : 0);
      }
      if (sum < least) least = sum, best = shape;
    }
    return best;
  }

  void bind(const aiMesh& from, const Affined& place, Mesh& mesh) {
    const Affined meshFromWorld = inverse(place);
    std::vector<int> joints;
    std::vector<Affined> inverseBind;
    std::vector<const aiBone*> bones;
    for (unsigned b = 0; b < from.mNumBones; ++b) {
      const aiBone* bone = from.mBones[b];
      const aiNode* node = nodeNamed(table_, bone->mName.C_Str());
      const Affined offset = affineOf(bone->mOffsetMatrix) * meshFromWorld;
      if (!node || std::abs(determinant(offset.linear)) < 1e-30) {
        if (bone->mNumWeights > 0) unbound_ = bone->mName.C_Str();
        continue;
      }
      joints.push_back(table_.jointOf.at(node));
      inverseBind.push_back(offset);
      bones.push_back(bone);
    }
    if (joints.empty()) return;
    std::vector<std::uint16_t> slots;
    const int skin = skinFor(joints, inverseBind, mesh.name, slots);
    std::vector<std::vector<Influence>> influences(from.mNumVertices);
    for (std::size_t b = 0; b < bones.size(); ++b)
      for (unsigned w = 0; w < bones[b]->mNumWeights; ++w) {
        const aiVertexWeight& weight = bones[b]->mWeights[w];
        if (weight.mVertexId < from.mNumVertices && weight.mWeight > 0 && std::isfinite(weight.mWeight))
          influences[weight.mVertexId].push_back({slots[b], weight.mWeight});
      }
    if (std::all_of(influences.begin(), influences.end(), [](const auto& list) { return list.empty(); })) return;
    mesh.skin = skin;
    mesh.influenceStart.push_back(0);
    std::vector<Influence> before{{slots[0], 1.0F}};
    for (const auto& list : influences)
      if (!list.empty()) {
        before = list;
        break;
      }
    for (std::vector<Influence>& list : influences) {
      if (list.empty()) list = before, ++unweighted_;
      std::stable_sort(list.begin(), list.end(), [](const Influence& a, const Influence& b) { return a.weight > b.weight; });
      if (list.size() > mostInfluences) list.resize(mostInfluences), ++dropped_;
      float sum = 0;
      for (const Influence& i : list) sum += i.weight;
      for (const Influence& i : list) {
        mesh.influenceJoint.push_back(i.joint);
        mesh.influenceWeight.push_back(i.weight / sum);
      }
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceJoint.size()));
      before = list;
    }
  }

  /// Meshes split by material, and meshes that share a bind pose, share one skin.
  int skinFor(const std::vector<int>& joints, const std::vector<Affined>& inverseBind, const std::string& name,
              std::vector<std::uint16_t>& slots) {
    for (std::size_t s = 0; s <= figure_.skins.size(); ++s) {
      if (s == figure_.skins.size()) {
        figure_.skins.push_back({name, {}, {}});
      }
      Skin& skin = figure_.skins[s];
      std::map<int, std::size_t> known;
      for (std::size_t i = 0; i < skin.joints.size(); ++i) known.emplace(skin.joints[i], i);
      bool fits = skin.joints.size() + joints.size() < 65535, shared = skin.joints.empty();
      for (std::size_t i = 0; i < joints.size() && fits; ++i)
        if (const auto at = known.find(joints[i]); at != known.end()) {
          fits = alike(skin.inverseBind[at->second], inverseBind[i]);
          shared = true;
        }
      if (!fits || !shared) continue;
      slots.clear();
      for (std::size_t i = 0; i < joints.size(); ++i) {
        const auto [at, fresh] = known.emplace(joints[i], skin.joints.size());
        if (fresh) {
          skin.joints.push_back(joints[i]);
          skin.inverseBind.push_back(inverseBind[i]);
        }
        slots.push_back(static_cast<std::uint16_t>(at->second));
      }
      return static_cast<int>(s);
    }
    return -1;
  }

  const aiScene& scene_;
  const NodeTable& table_;
  const std::vector<Affined>& bindShapes_;
  Figure& figure_;
  std::size_t dropped_ = 0, unweighted_ = 0, broken_ = 0;
  std::string unbound_;
};

}  // namespace

void buildMeshes(const aiScene& scene, const NodeTable& table, const std::string& path, bool linearColours,
                 const std::vector<Affined>& bindShapes, Figure& figure) {
  MaterialBuilder(scene, path, linearColours, figure).run();
  MeshBuilder(scene, table, bindShapes, figure).run();
}

}  // namespace understudy
