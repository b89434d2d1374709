// Writes a new .glb from any figure: nodes, skins, meshes, base colours, morph targets, animations.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <tuple>

#include "core/io/gltf_pack.h"
#include "core/io/write.h"

namespace understudy {
namespace {

std::string bounds(const std::vector<Vec3f>& v) {
  Vec3f low = v.front(), high = v.front();
  for (const Vec3f& p : v)
    for (int c = 0; c < 3; ++c) low[c] = std::min(low[c], p[c]), high[c] = std::max(high[c], p[c]);
  return ",\"min\":" + jsonList(std::array<double, 3>{low.x, low.y, low.z}) + ",\"max\":" + jsonList(std::array<double, 3>{high.x, high.y, high.z});
}

bool isPicture(const Image& image) {
  const auto& b = image.bytes;
  return b.size() > 8 && ((b[0] == 0x89 && b[1] == 'P' && b[2] == 'N' && b[3] == 'G') || (b[0] == 0xFF && b[1] == 0xD8));
}

class NewGlb {
 public:
  NewGlb(const Figure& figure, const BakedClip& clip, bool meshes) : figure_(figure), clip_(clip), withMeshes_(meshes) {}

  Result<std::string> build(const std::string& path, const RunControl& control) {
    const Skeleton& skeleton = figure_.skeleton;
    if (skeleton.size() == 0) return makeError(Fault::input, "The character has no skeleton", figure_.path, "Choose a file with a skeleton");
    if (Status status = checkBaked(skeleton, clip_); !status.ok()) return status.error();
    nodes_.resize(skeleton.parents.size());
    children_ = childrenOf(skeleton);
    for (int j = 0; j < skeleton.size(); ++j) nodes_[static_cast<std::size_t>(j)] = nodeText(j);
    for (int j = 0; j < skeleton.size(); ++j)
      if (skeleton.parents[static_cast<std::size_t>(j)] < 0) roots_.push_back(j);
    if (withMeshes_) {
      materials();
      skins();
      if (Status status = meshes(control); !status.ok()) return status.error();
    }
    wrap();
    std::vector<std::string> animations;
    const auto nodeOf = [](int j) { return j; };
    // The result alone: the character's own clips stay in its own file, where they are whole.
    animations.push_back(packAnimation(pack_, clip_, validUtf8(clip_.name), nodeOf));
    for (std::size_t n = 0; n < nodes_.size(); ++n) {
      if (n < children_.size() && !children_[n].empty()) {
        std::string list;
        for (int c : children_[n]) list += (list.empty() ? "" : ",") + std::to_string(c);
        nodes_[n] += ",\"children\":[" + list + "]";
      }
      nodes_[n] = "{" + nodes_[n] + "}";
    }
    std::string sceneRoots;
    for (int r : roots_) sceneRoots += (sceneRoots.empty() ? "" : ",") + std::to_string(r);
    std::string json = "{\"asset\":{\"version\":\"2.0\",\"generator\":\"Understudy\"},\"scene\":0,\"scenes\":[{\"nodes\":[" + sceneRoots + "]}]";
    const auto list = [&](const char* name, const std::vector<std::string>& items) {
      if (!items.empty()) json += ",\"" + std::string(name) + "\":[" + joined(items) + "]";
    };
    list("nodes", nodes_);
    list("meshes", meshes_);
    list("skins", skins_);
    list("materials", materials_);
    list("textures", textures_);
    list("images", images_);
    list("animations", animations);
    list("accessors", pack_.accessors);
    list("bufferViews", pack_.views);
    json += ",\"buffers\":[{\"byteLength\":" + std::to_string(pack_.bytes.size()) + "}]}";
    return assembleGlb(std::move(json), true, pack_.bytes, {}, {}, path);
  }

 private:
  /// The members of a node, without braces and children; never empty, so that more can follow a comma.
  std::string nodeText(int j) const {
    const Trsd& rest = figure_.skeleton.rest[static_cast<std::size_t>(j)];
    const std::string& name = figure_.skeleton.names[static_cast<std::size_t>(j)];
    const Quatd q = normalised(rest.rotation);
    std::string text = name.empty() ? "" : "\"name\":" + jsonQuoted(name) + ",";
    text += "\"translation\":" + jsonList(std::array{rest.translation.x, rest.translation.y, rest.translation.z});
    if (!(q == Quatd{})) text += ",\"rotation\":" + jsonList(std::array{q.x, q.y, q.z, q.w});
    if (!(rest.scale == Vec3d{1, 1, 1})) text += ",\"scale\":" + jsonList(std::array{rest.scale.x, rest.scale.y, rest.scale.z});
    return text;
  }

  int addNode(std::string text) {
    nodes_.push_back(std::move(text));
    children_.emplace_back();
    return static_cast<int>(nodes_.size()) - 1;
  }

  /// One node above all joints carries unit and axes, so that the character keeps its own numbers.
  void wrap() {
    const double scale = figure_.space.metresPerUnit;
    const Quatd q = normalised(figure_.space.worldFromFile);
    const bool plain = scale == 1 && std::abs(std::abs(q.w) - 1) < 1e-12;
    const bool several = !skins_.empty() && std::count(figure_.skeleton.parents.begin(), figure_.skeleton.parents.end(), -1) > 1;
    if (plain && !several) {
      roots_.insert(roots_.end(), skinnedNodes_.begin(), skinnedNodes_.end());
      return;
    }
    std::string text = "\"name\":\"Space\"";
    if (std::abs(std::abs(q.w) - 1) >= 1e-12) text += ",\"rotation\":" + jsonList(std::array{q.x, q.y, q.z, q.w});
    if (scale != 1) text += ",\"scale\":" + jsonList(std::array{scale, scale, scale});
    const int wrapper = addNode(text);
    children_[static_cast<std::size_t>(wrapper)] = roots_;
    // Skinned meshes ignore what is above them and stay outside.
    roots_ = {wrapper};
    roots_.insert(roots_.end(), skinnedNodes_.begin(), skinnedNodes_.end());
  }

  void materials() {
    std::vector<int> textureOf(figure_.images.size(), -1);
    std::vector<char> used(figure_.materials.size(), 0);
    for (const Mesh& mesh : figure_.meshes)
      if (mesh.material >= 0 && mesh.material < static_cast<int>(used.size())) used[static_cast<std::size_t>(mesh.material)] = 1;
    materialOf_.assign(figure_.materials.size(), -1);
    textured_.assign(figure_.materials.size(), 0);
    for (std::size_t i = 0; i < figure_.materials.size(); ++i) {
      if (!used[i]) continue;
      const Material& m = figure_.materials[i];
      std::string base;
      std::array<double, 4> c{};
      for (std::size_t k = 0; k < 4; ++k) c[k] = std::isfinite(m.baseColour[k]) ? std::clamp<double>(m.baseColour[k], 0, 1) : 1;
      base = "\"baseColorFactor\":" + jsonList(c);
      if (m.image >= 0 && m.image < static_cast<int>(figure_.images.size())) {
        const auto at = static_cast<std::size_t>(m.image);
        const Image& image = figure_.images[at];
        if (textureOf[at] < 0 && isPicture(image)) {
          const std::size_t from = pack_.bytes.size();
          pack_.bytes.append(reinterpret_cast<const char*>(image.bytes.data()), image.bytes.size());
          const std::size_t view = pack_.view(from);
          images_.push_back("{" + (image.name.empty() ? std::string() : "\"name\":" + jsonQuoted(image.name) + ",") + "\"mimeType\":\"" +
                            (image.bytes[0] == 0x89 ? "image/png" : "image/jpeg") + "\",\"bufferView\":" + std::to_string(view) + "}");
          textureOf[at] = static_cast<int>(textures_.size());
          textures_.push_back("{\"source\":" + std::to_string(images_.size() - 1) + "}");
        }
        if (textureOf[at] >= 0) {
          base += ",\"baseColorTexture\":{\"index\":" + std::to_string(textureOf[at]) + "}";
          textured_[i] = 1;
        }
      }
      std::string text = "{" + (m.name.empty() ? std::string() : "\"name\":" + jsonQuoted(m.name) + ",") + "\"pbrMetallicRoughness\":{" + base +
                         ",\"metallicFactor\":0,\"roughnessFactor\":0.9}";
      if (m.alphaCutoff >= 0) text += ",\"alphaMode\":\"MASK\",\"alphaCutoff\":" + jsonNumber(m.alphaCutoff);
      if (m.doubleSided) text += ",\"doubleSided\":true";
      materialOf_[i] = static_cast<int>(materials_.size());
      materials_.push_back(text + "}");
    }
  }

  void skins() {
    std::vector<char> used(figure_.skins.size(), 0);
    for (const Mesh& mesh : figure_.meshes)
      if (mesh.skin >= 0 && !mesh.indices.empty()) used[static_cast<std::size_t>(mesh.skin)] = 1;
    skinOf_.assign(figure_.skins.size(), -1);
    slotOf_.resize(figure_.skins.size());
    for (std::size_t s = 0; s < figure_.skins.size(); ++s) {
      const Skin& skin = figure_.skins[s];
      if (!used[s] || skin.joints.empty()) continue;
      const std::size_t from = pack_.bytes.size();
      std::string joints;
      // A node may stand in a skin once only; its first entry counts.
      std::map<int, int> first;
      std::size_t count = 0;
      for (std::size_t i = 0; i < skin.joints.size(); ++i) {
        const auto [at, isNew] = first.emplace(skin.joints[i], static_cast<int>(count));
        slotOf_[s].push_back(static_cast<std::uint16_t>(at->second));
        if (!isNew) continue;
        ++count;
        joints += (joints.empty() ? "" : ",") + std::to_string(skin.joints[i]);
        const Affined a = i < skin.inverseBind.size() ? skin.inverseBind[i] : Affined{};
        for (const Vec3d& column : {a.linear.cx, a.linear.cy, a.linear.cz}) {
          for (int c = 0; c < 3; ++c) pack_.put(static_cast<float>(column[c]));
          pack_.put(0.0F);
        }
        for (int c = 0; c < 3; ++c) pack_.put(static_cast<float>(a.translation[c]));
        pack_.put(1.0F);
      }
      const std::size_t accessor = pack_.accessor(pack_.view(from), 0, 5126, count, "MAT4");
      skinOf_[s] = static_cast<int>(skins_.size());
      skins_.push_back("{" + (skin.name.empty() ? std::string() : "\"name\":" + jsonQuoted(skin.name) + ",") +
                       "\"inverseBindMatrices\":" + std::to_string(accessor) + ",\"joints\":[" + joints + "]}");
    }
  }

  Status meshes(const RunControl& control) {
    // Primitives of one glTF mesh must have the same number of morph targets; one node shows one mesh.
    std::map<std::tuple<int, int, std::size_t>, std::vector<const Mesh*>> groups;
    for (const Mesh& mesh : figure_.meshes) {
      if (mesh.indices.size() < 3 || mesh.positions.empty()) continue;
      const int skin = mesh.skin >= 0 ? skinOf_[static_cast<std::size_t>(mesh.skin)] : -1;
      groups[{mesh.node, skin, mesh.morphs.size()}].push_back(&mesh);
    }
    std::vector<char> shows(figure_.skeleton.parents.size(), 0);
    for (const auto& [key, members] : groups) {
      if (control.stopped()) return RunControl::cancelled();
      const auto [joint, skin, morphCount] = key;
      std::vector<std::string> primitives;
      for (const Mesh* mesh : members) {
        Result<std::string> text = primitive(*mesh, skin >= 0);
        if (!text.ok()) return text.error();
        primitives.push_back(std::move(text).value());
      }
      const Mesh& first = *members.front();
      const std::string name = first.name.empty() ? std::string() : "\"name\":" + jsonQuoted(first.name) + ",";
      std::string text = "{" + name + "\"primitives\":[" + joined(primitives) + "]";
      if (morphCount > 0) {
        std::vector<double> weights(morphCount, 0.0);
        std::string names;
        for (std::size_t t = 0; t < morphCount; ++t) {
          if (t < first.morphWeights.size()) weights[t] = first.morphWeights[t];
          names += (t ? "," : "") + jsonQuoted(first.morphs[t].name);
        }
        text += ",\"weights\":" + jsonList(weights) + ",\"extras\":{\"targetNames\":[" + names + "]}";
      }
      meshes_.push_back(text + "}");
      const std::string member = "\"mesh\":" + std::to_string(meshes_.size() - 1);
      int node = joint;
      if (skin >= 0) {
        node = addNode(name + member + ",\"skin\":" + std::to_string(skin));
        skinnedNodes_.push_back(node);
      } else if (joint >= 0 && !shows[static_cast<std::size_t>(joint)]) {
        shows[static_cast<std::size_t>(joint)] = 1;
        nodes_[static_cast<std::size_t>(joint)] += "," + member;
      } else {
        node = addNode(name + member);
        if (joint >= 0)
          children_[static_cast<std::size_t>(joint)].push_back(node);
        else
          roots_.push_back(node);
      }
    }
    return Done{};
  }

  std::size_t vec3Accessor(const std::vector<Vec3f>& v, bool bounded, int target) {
    const std::size_t from = pack_.bytes.size();
    for (const Vec3f& p : v)
      for (int c = 0; c < 3; ++c) pack_.put(p[c]);
    return pack_.accessor(pack_.view(from, target), 0, 5126, v.size(), "VEC3", bounded ? bounds(v) : std::string());
  }

  Result<std::string> primitive(const Mesh& mesh, bool skinned) {
    constexpr int vertexData = 34962, indexData = 34963;
    const std::size_t count = mesh.positions.size();
    for (const Vec3f& p : mesh.positions)
      if (!isFinite(p)) return makeError(Fault::input, "The mesh '" + mesh.name + "' has a vertex that is nowhere", figure_.path, "Repair the mesh and export it again");
    for (std::uint32_t i : mesh.indices)
      if (i >= count) return makeError(Fault::internal, "The mesh '" + mesh.name + "' has a triangle without vertices", figure_.path);
    std::string attributes = "\"POSITION\":" + std::to_string(vec3Accessor(mesh.positions, true, vertexData));
    if (mesh.normals.size() == count) {
      std::vector<Vec3f> normals = mesh.normals;
      for (Vec3f& n : normals) {
        n = isFinite(n) ? normalised(n, Vec3f{0, 1, 0}) : Vec3f{0, 1, 0};
        if (std::abs(length(n) - 1) > 1e-3F) n = {0, 1, 0};
      }
      attributes += ",\"NORMAL\":" + std::to_string(vec3Accessor(normals, false, vertexData));
    }
    const bool known = mesh.material >= 0 && mesh.material < static_cast<int>(materialOf_.size());
    if (mesh.texcoords.size() == count && known && textured_[static_cast<std::size_t>(mesh.material)]) {
      const std::size_t from = pack_.bytes.size();
      for (const Vec2f& t : mesh.texcoords) {
        pack_.put(std::isfinite(t.x) ? t.x : 0.0F);
        pack_.put(std::isfinite(t.y) ? t.y : 0.0F);
      }
      attributes += ",\"TEXCOORD_0\":" + std::to_string(pack_.accessor(pack_.view(from, vertexData), 0, 5126, count, "VEC2"));
    }
    if (mesh.colours.size() == count) {
      const std::size_t from = pack_.bytes.size();
      for (const auto& colour : mesh.colours)
        for (float c : colour) pack_.put(std::isfinite(c) ? std::clamp(c, 0.0F, 1.0F) : 1.0F);
      attributes += ",\"COLOR_0\":" + std::to_string(pack_.accessor(pack_.view(from, vertexData), 0, 5126, count, "VEC4"));
    }
    if (skinned) attributes += influences(mesh);
    std::size_t from = pack_.bytes.size();
    const bool small = count < 65535;
    const std::size_t indexCount = mesh.indices.size() / 3 * 3;
    for (std::size_t i = 0; i < indexCount; ++i) {
      if (small)
        pack_.put(static_cast<std::uint16_t>(mesh.indices[i]));
      else
        pack_.put(mesh.indices[i]);
    }
    const std::size_t indices = pack_.accessor(pack_.view(from, indexData), 0, small ? 5123 : 5125, indexCount, "SCALAR");
    std::string text = "{\"attributes\":{" + attributes + "},\"indices\":" + std::to_string(indices);
    if (known) text += ",\"material\":" + std::to_string(materialOf_[static_cast<std::size_t>(mesh.material)]);
    if (!mesh.morphs.empty()) {
      std::string targets;
      for (const MorphTarget& target : mesh.morphs) {
        std::vector<Vec3f> offsets = target.positions;
        offsets.resize(count);
        for (Vec3f& o : offsets)
          if (!isFinite(o)) o = {};
        targets += (targets.empty() ? "" : ",") + ("{\"POSITION\":" + std::to_string(vec3Accessor(offsets, true, vertexData)) + "}");
      }
      text += ",\"targets\":[" + targets + "]";
    }
    return text + "}";
  }

  std::string influences(const Mesh& mesh) {
    constexpr std::size_t most = 8;
    constexpr int vertexData = 34962;
    const std::size_t count = mesh.positions.size();
    const std::vector<std::uint16_t>& slot = slotOf_[static_cast<std::size_t>(mesh.skin)];
    std::vector<std::array<std::pair<float, std::uint16_t>, most>> rows(count);
    std::size_t widest = 1;
    std::vector<std::pair<float, std::uint16_t>> own;
    for (std::size_t v = 0; v < count; ++v) {
      own.clear();
      for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) {
        const float w = mesh.influenceWeight[k];
        if (!(w > 1e-7F) || !std::isfinite(w)) continue;
        const std::uint16_t joint = slot[mesh.influenceJoint[k]];
        const auto same = std::find_if(own.begin(), own.end(), [&](const auto& p) { return p.second == joint; });
        if (same != own.end())
          same->first += w;
        else
          own.emplace_back(w, joint);
      }
      std::stable_sort(own.begin(), own.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
      if (own.size() > most) own.resize(most);
      if (own.empty()) own.emplace_back(1.0F, std::uint16_t{0});
      double sum = 0;
      for (const auto& p : own) sum += p.first;
      // The largest takes what rounding leaves over.
      double rest = 1;
      for (std::size_t k = own.size(); k-- > 1;) {
        own[k].first = static_cast<float>(own[k].first / sum);
        rest -= own[k].first;
      }
      own[0].first = static_cast<float>(rest);
      widest = std::max(widest, own.size());
      for (std::size_t k = 0; k < most; ++k) rows[v][k] = k < own.size() ? own[k] : std::pair<float, std::uint16_t>{0.0F, 0};
    }
    std::string text;
    for (std::size_t set = 0; set * 4 < widest; ++set) {
      std::size_t from = pack_.bytes.size();
      for (const auto& row : rows)
        for (std::size_t k = 0; k < 4; ++k) pack_.put(row[set * 4 + k].second);
      text += ",\"JOINTS_" + std::to_string(set) + "\":" + std::to_string(pack_.accessor(pack_.view(from, vertexData), 0, 5123, count, "VEC4"));
      from = pack_.bytes.size();
      for (const auto& row : rows)
        for (std::size_t k = 0; k < 4; ++k) pack_.put(row[set * 4 + k].first);
      text += ",\"WEIGHTS_" + std::to_string(set) + "\":" + std::to_string(pack_.accessor(pack_.view(from, vertexData), 0, 5126, count, "VEC4"));
    }
    return text;
  }

  const Figure& figure_;
  const BakedClip& clip_;
  bool withMeshes_;
  GltfPack pack_;
  std::vector<std::string> nodes_, meshes_, skins_, materials_, textures_, images_;
  std::vector<std::vector<int>> children_;
  std::vector<int> roots_, skinnedNodes_;
  std::vector<int> materialOf_, skinOf_;
  std::vector<char> textured_;
  std::vector<std::vector<std::uint16_t>> slotOf_;
};

Status writeNew(const Figure& character, const BakedClip& clip, const std::string& path, bool meshes, const RunControl& control) {
  control.report(0, "Building the file");
  Result<std::string> glb = NewGlb(character, clip, meshes).build(path, control);
  if (!glb.ok()) return glb.error();
  if (control.stopped()) return RunControl::cancelled();
  control.report(0.7, "Writing");
  Status status = writeBytes(path, *glb);
  if (status.ok()) control.report(1, "Writing");
  return status;
}

}  // namespace

Status writeNewGlb(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control) {
  return writeNew(character, clip, path, true, control);
}

Status writeAnimationGlb(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control) {
  return writeNew(character, clip, path, false, control);
}

}  // namespace understudy
