// Materials, pictures and meshes of a glTF file.
#include <array>
#include <cstring>
#include <numeric>

#include "core/io/gltf_reader.h"

namespace understudy {

Status GltfReader::materials() {
  const JsonView list = root_["materials"];
  uses_.resize(list.size());
  if (!settings_.meshes) return Done{};
  imageOf_.assign(root_["images"].size(), -2);
  for (std::size_t i = 0; i < list.size(); ++i) {
    const JsonView m = list[i];
    Material material;
    material.name = validUtf8(m["name"].string());
    JsonView factor = m["pbrMetallicRoughness"]["baseColorFactor"], texture = m["pbrMetallicRoughness"]["baseColorTexture"];
    const JsonView glossy = m["extensions"]["KHR_materials_pbrSpecularGlossiness"];
    if (glossy && !factor) factor = glossy["diffuseFactor"];
    if (glossy && !texture) texture = glossy["diffuseTexture"];
    for (std::size_t k = 0; k < 4 && k < factor.size(); ++k)
      material.baseColour[k] = static_cast<float>(std::clamp(factor[k].number(1), 0.0, 1.0));
    material.doubleSided = m["doubleSided"].boolean();
    const std::string_view mode = m["alphaMode"].string();
    if (mode == "MASK") material.alphaCutoff = static_cast<float>(std::max(m["alphaCutoff"].number(0.5), 0.0));
    if (texture) {
      TextureUse& use = uses_[i];
      use.set = static_cast<int>(std::clamp<std::int64_t>(texture["texCoord"].integer(0), 0, 15));
      if (const JsonView t = texture["extensions"]["KHR_texture_transform"]) {
        use.transformed = true;
        for (std::size_t k = 0; k < 2; ++k) use.offset[k] = t["offset"][k].number(0), use.scale[k] = t["scale"][k].number(1);
        use.rotation = t["rotation"].number(0);
        if (t["texCoord"]) use.set = static_cast<int>(std::clamp<std::int64_t>(t["texCoord"].integer(0), 0, 15));
      }
      material.image = image(texture["index"].integer(-1), "material " + std::to_string(i));
    }
    figure_.materials.push_back(std::move(material));
  }
  return Done{};
}

int GltfReader::image(std::int64_t texture, const std::string& where) {
  const JsonView textures = root_["textures"];
  if (texture < 0 || texture >= static_cast<std::int64_t>(textures.size())) {
    warn("It names texture " + std::to_string(texture) + ", which does not exist; the plain colour is shown", where);
    return -1;
  }
  const JsonView t = textures[static_cast<std::size_t>(texture)];
  std::int64_t source = t["source"].integer(-1);
  if (source < 0) source = t["extensions"]["EXT_texture_webp"]["source"].integer(-1);
  const JsonView images = root_["images"];
  if (source < 0 || source >= static_cast<std::int64_t>(images.size())) {
    note(t["extensions"]["KHR_texture_basisu"] ? "Its texture is a KTX2 picture, which is not read; the plain colour is shown"
                                               : "Its texture has no picture; the plain colour is shown",
         where);
    return -1;
  }
  int& known = imageOf_[static_cast<std::size_t>(source)];
  if (known != -2) return known;
  known = -1;
  const JsonView i = images[static_cast<std::size_t>(source)];
  const std::string what = "image " + std::to_string(source);
  Image out;
  out.name = validUtf8(i["name"].string());
  out.mimeType = std::string(i["mimeType"].string());
  if (i["uri"].isString()) {
    const std::string_view uri = i["uri"].string();
    Result<std::vector<std::uint8_t>> bytes = file_.uriBytes(uri, what);
    if (!bytes.ok()) {
      Issue issue = bytes.error();
      issue.severity = Severity::warning;
      issue.fault = Fault::none;
      figure_.issues.push_back(std::move(issue));
      return -1;
    }
    out.bytes = std::move(bytes).value();
    if (out.name.empty() && !isDataUri(uri)) out.name = validUtf8(percentDecoded(uri));
  } else {
    Result<std::span<const std::uint8_t>> bytes = file_.viewBytes(i["bufferView"].integer(-1));
    if (!bytes.ok()) {
      Issue issue = bytes.error();
      issue.severity = Severity::warning;
      issue.fault = Fault::none;
      issue.where += " (" + what + ")";
      figure_.issues.push_back(std::move(issue));
      return -1;
    }
    out.bytes.assign(bytes->begin(), bytes->end());
  }
  const auto begins = [&](std::string_view magic, std::size_t from = 0) {
    return out.bytes.size() >= from + magic.size() && std::memcmp(out.bytes.data() + from, magic.data(), magic.size()) == 0;
  };
  if (begins("\x89PNG")) out.mimeType = "image/png";
  else if (begins("\xFF\xD8")) out.mimeType = "image/jpeg";
  else if (begins("RIFF") && begins("WEBP", 8)) out.mimeType = "image/webp";
  figure_.images.push_back(std::move(out));
  return known = static_cast<int>(figure_.images.size()) - 1;
}

Status GltfReader::meshes() {
  const JsonView list = root_["meshes"];
  const JsonView nodeList = root_["nodes"];
  if (!settings_.meshes) return Done{};
  std::vector<std::vector<std::size_t>> built(list.size());  // where in figure_.meshes a mesh's primitives are
  std::vector<char> done(list.size(), 0), doneSkinned(list.size(), 0);
  for (int j = 0; j < figure_.skeleton.size(); ++j) {
    const JsonView node = nodeList[static_cast<std::size_t>(figure_.skeleton.fileNodes[static_cast<std::size_t>(j)])];
    if (!node["mesh"]) continue;
    if (control_.stopped()) return RunControl::cancelled();
    const std::string where = at("node " + std::to_string(figure_.skeleton.fileNodes[static_cast<std::size_t>(j)]));
    const std::int64_t index = node["mesh"].integer(-1);
    if (index < 0 || index >= static_cast<std::int64_t>(list.size())) return damaged("It names mesh " + std::to_string(index) + ", which does not exist", where);
    int skin = -1;
    if (node["skin"]) {
      const std::int64_t s = node["skin"].integer(-1);
      if (s < 0 || s >= static_cast<std::int64_t>(figure_.skins.size())) return damaged("It names skin " + std::to_string(s) + ", which does not exist", where);
      skin = static_cast<int>(s);
    }
    const auto m = static_cast<std::size_t>(index);
    // A second node that shows the mesh with the same skin takes a copy instead of decoding again.
    if (done[m] && doneSkinned[m] == (skin >= 0)) {
      const std::vector<std::size_t> parts = built[m];
      bool same = true;
      for (std::size_t p : parts) same = same && (figure_.meshes[p].skin == skin || figure_.meshes[p].skin < 0);
      if (same) {
        for (std::size_t p : parts) {
          Mesh copy = figure_.meshes[p];
          copy.node = j;
          copy.morphWeights = defaultWeights(node, list[m], copy.morphs.size());
          figure_.meshes.push_back(std::move(copy));
        }
        continue;
      }
    }
    built[m].clear();
    const JsonView primitives = list[m]["primitives"];
    for (std::size_t p = 0; p < primitives.size(); ++p) {
      Mesh mesh;
      mesh.name = validUtf8(list[m]["name"].string());
      if (mesh.name.empty()) mesh.name = figure_.skeleton.names[static_cast<std::size_t>(j)];
      mesh.node = j;
      mesh.skin = skin;
      bool use = true;
      if (Status status = primitive(primitives[p], list[m], "mesh " + std::to_string(m) + ", primitive " + std::to_string(p), mesh, use); !status.ok())
        return status;
      if (!use) continue;
      mesh.morphWeights = defaultWeights(node, list[m], mesh.morphs.size());
      built[m].push_back(figure_.meshes.size());
      figure_.meshes.push_back(std::move(mesh));
    }
    done[m] = 1;
    doneSkinned[m] = skin >= 0;
  }
  if (unweighted_ > 0)
    warn(std::to_string(unweighted_) + " vertices of skinned meshes have no weights; they follow the skin's first joint", unweightedWhere_,
         "Paint weights for them in your modelling program");
  if (renormalised_ > 0)
    note("The weights of " + std::to_string(renormalised_) + " vertices did not sum to 1 (worst sum " + jsonNumber(std::round(worstSum_ * 1e4) / 1e4) +
             "); they were scaled to 1",
         renormalisedWhere_);
  if (strayed_ > 0)
    warn(std::to_string(strayed_) + " influences with weight zero name joints the skin does not have; they were left out", strayedWhere_);
  return Done{};
}

std::vector<float> GltfReader::defaultWeights(const JsonView& node, const JsonView& mesh, std::size_t count) {
  std::vector<float> weights(count, 0.0F);
  const JsonView list = node["weights"] ? node["weights"] : mesh["weights"];
  for (std::size_t i = 0; i < count && i < list.size(); ++i) {
    const auto w = static_cast<float>(list[i].number(0));
    weights[i] = std::isfinite(w) ? w : 0;
  }
  return weights;
}

Status GltfReader::primitive(const JsonView& p, const JsonView& meshJson, const std::string& where, Mesh& mesh, bool& use) {
  const std::int64_t mode = p["mode"].integer(4);
  use = false;
  if (mode < 0 || mode > 6) return damaged("Its mode is none that glTF 2.0 knows", at(where));
  if (mode < 4) {
    note("Points and lines are left out", where);
    return Done{};
  }
  const JsonView attributes = p["attributes"];
  if (!attributes["POSITION"]) {
    note("It has no positions and is left out", where);
    return Done{};
  }
  const std::int64_t positions = attributes["POSITION"].integer(-1);
  if (p["extensions"]["KHR_draco_mesh_compression"] && positions >= 0 && !root_["accessors"][static_cast<std::size_t>(positions)]["bufferView"])
    if (Status status = file_.unpackDraco(p, at(where)); !status.ok()) return status;
  std::vector<float> v;
  if (Status status = file_.floats(positions, 3, v); !status.ok()) return status;
  if (!allFinite(v)) return damaged("A vertex position is not a finite number", at(where));
  const std::size_t count = v.size() / 3;
  if (count == 0) return Done{};
  if (count > 0xFFFFFFF0U) return damaged("It has too many vertices", at(where));
  mesh.positions = vec3s(v);
  const auto matching = [&](const char* name, std::size_t got) -> Status {
    if (got == count) return Done{};
    return damaged(std::string(name) + " has " + std::to_string(got) + " elements for " + std::to_string(count) + " vertices", at(where));
  };
  if (attributes["NORMAL"]) {
    if (Status status = file_.floats(attributes["NORMAL"].integer(-1), 3, v); !status.ok()) return status;
    if (Status status = matching("NORMAL", v.size() / 3); !status.ok()) return status;
    if (allFinite(v))
      mesh.normals = vec3s(v);
    else
      warn("Its normals are not finite numbers and are left out", where);
  }
  const std::int64_t material = p["material"].integer(-1);
  if (material >= static_cast<std::int64_t>(figure_.materials.size()) || (p["material"] && material < 0))
    return damaged("It names material " + std::to_string(material) + ", which does not exist", at(where));
  mesh.material = static_cast<int>(material);
  const TextureUse use0 = material >= 0 ? uses_[static_cast<std::size_t>(material)] : TextureUse{};
  const std::string set = "TEXCOORD_" + std::to_string(use0.set);
  if (attributes[set]) {
    if (Status status = file_.floats(attributes[set].integer(-1), 2, v); !status.ok()) return status;
    if (Status status = matching(set.c_str(), v.size() / 2); !status.ok()) return status;
    const double c = std::cos(use0.rotation), s = std::sin(use0.rotation);
    mesh.texcoords.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
      double x = std::isfinite(v[2 * i]) ? v[2 * i] : 0, y = std::isfinite(v[2 * i + 1]) ? v[2 * i + 1] : 0;
      if (use0.transformed) {
        // translation · rotation · scale, as KHR_texture_transform defines it.
        const double sx = x * use0.scale[0], sy = y * use0.scale[1];
        x = c * sx + s * sy + use0.offset[0];
        y = -s * sx + c * sy + use0.offset[1];
      }
      mesh.texcoords[i] = {static_cast<float>(x), static_cast<float>(y)};
    }
  }
  if (attributes["COLOR_0"]) {
    const std::int64_t accessor = attributes["COLOR_0"].integer(-1);
    const int width = file_.componentsOf(accessor) == 3 ? 3 : 4;
    if (Status status = file_.floats(accessor, width, v); !status.ok()) return status;
    if (Status status = matching("COLOR_0", v.size() / static_cast<std::size_t>(width)); !status.ok()) return status;
    mesh.colours.resize(count);
    for (std::size_t i = 0; i < count; ++i)
      for (std::size_t k = 0; k < 4; ++k) {
        const float x = k < static_cast<std::size_t>(width) ? v[i * static_cast<std::size_t>(width) + k] : 1.0F;
        mesh.colours[i][k] = std::isfinite(x) ? x : 1.0F;
      }
  }
  if (Status status = triangles(p, static_cast<int>(mode), where, mesh); !status.ok()) return status;
  if (mesh.skin >= 0) {
    if (attributes["JOINTS_0"]) {
      if (Status status = influences(attributes, where, mesh); !status.ok()) return status;
    } else {
      warn("Its node has a skin, but the mesh has no weights; it is shown rigid", where);
      mesh.skin = -1;
    }
  }
  if (Status status = morphs(p, meshJson, where, mesh); !status.ok()) return status;
  use = true;
  return Done{};
}

std::vector<Vec3f> GltfReader::vec3s(const std::vector<float>& v) {
  std::vector<Vec3f> out(v.size() / 3);
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = {v[3 * i], v[3 * i + 1], v[3 * i + 2]};
  return out;
}

Status GltfReader::triangles(const JsonView& p, int mode, const std::string& where, Mesh& mesh) {
  std::vector<std::uint32_t> raw;
  if (p["indices"]) {
    if (Status status = file_.integers(p["indices"].integer(-1), 1, raw); !status.ok()) return status;
    for (std::uint32_t i : raw)
      if (i >= mesh.positions.size())
        return damaged("A triangle names vertex " + std::to_string(i) + " of " + std::to_string(mesh.positions.size()), at(where));
  } else {
    raw.resize(mesh.positions.size());
    std::iota(raw.begin(), raw.end(), 0U);
  }
  if (mode == 4) {
    raw.resize(raw.size() / 3 * 3);
    mesh.indices = std::move(raw);
    return Done{};
  }
  for (std::size_t i = 2; i < raw.size(); ++i) {
    const std::array<std::uint32_t, 3> t = mode == 6          ? std::array{raw[0], raw[i - 1], raw[i]}
                                           : (i % 2 == 0)     ? std::array{raw[i - 2], raw[i - 1], raw[i]}
                                                              : std::array{raw[i - 1], raw[i - 2], raw[i]};
    // Strips are joined by triangles without area.
    if (t[0] != t[1] && t[1] != t[2] && t[2] != t[0]) mesh.indices.insert(mesh.indices.end(), t.begin(), t.end());
  }
  return Done{};
}

Status GltfReader::influences(const JsonView& attributes, const std::string& where, Mesh& mesh) {
  const std::size_t count = mesh.positions.size(), jointCount = figure_.skins[static_cast<std::size_t>(mesh.skin)].joints.size();
  std::vector<std::vector<std::uint32_t>> joints;
  std::vector<std::vector<float>> weights;
  for (int set = 0; set < 16; ++set) {
    const std::string n = std::to_string(set);
    const JsonView j = attributes["JOINTS_" + n], w = attributes["WEIGHTS_" + n];
    if (!j && !w) break;
    if (!j || !w) return damaged("JOINTS_" + n + " and WEIGHTS_" + n + " must come together", at(where));
    joints.emplace_back();
    weights.emplace_back();
    if (Status status = file_.integers(j.integer(-1), 4, joints.back()); !status.ok()) return status;
    if (Status status = file_.floats(w.integer(-1), 4, weights.back()); !status.ok()) return status;
    // Weights as whole numbers are meant normalised, even where the exporter forgot to say so.
    const JsonView a = root_["accessors"][static_cast<std::size_t>(w.integer(0))];
    const std::int64_t type = a["componentType"].integer(5126);
    if (type != 5126 && !a["normalized"].boolean()) {
      const float full = type == 5121 ? 255.0F : type == 5123 ? 65535.0F : type == 5120 ? 127.0F : type == 5122 ? 32767.0F : 1.0F;
      for (float& x : weights.back()) x /= full;
    }
    if (joints.back().size() != count * 4 || weights.back().size() != count * 4)
      return damaged("JOINTS_" + n + " or WEIGHTS_" + n + " does not have one element a vertex (" + std::to_string(count) + ")", at(where));
  }
  mesh.influenceStart.reserve(count + 1);
  mesh.influenceStart.push_back(0);
  mesh.influenceJoint.reserve(count * 4);
  mesh.influenceWeight.reserve(count * 4);
  for (std::size_t v = 0; v < count; ++v) {
    const std::size_t first = mesh.influenceJoint.size();
    double sum = 0;
    for (std::size_t set = 0; set < joints.size(); ++set)
      for (std::size_t k = 0; k < 4; ++k) {
        const float w = weights[set][v * 4 + k];
        const std::uint32_t j = joints[set][v * 4 + k];
        if (!std::isfinite(w)) return damaged("A weight of vertex " + std::to_string(v) + " is not a finite number", at(where));
        if (w <= 0) {
          if (j >= jointCount && strayed_++ == 0) strayedWhere_ = where;
          continue;
        }
        if (j >= jointCount)
          return damaged("Vertex " + std::to_string(v) + " names joint " + std::to_string(j) + " of a skin with " + std::to_string(jointCount) + " joints", at(where));
        // The same joint twice (in two slots) is one influence.
        std::size_t same = first;
        while (same < mesh.influenceJoint.size() && mesh.influenceJoint[same] != j) ++same;
        if (same < mesh.influenceJoint.size()) {
          mesh.influenceWeight[same] += w;
        } else {
          mesh.influenceJoint.push_back(static_cast<std::uint16_t>(j));
          mesh.influenceWeight.push_back(w);
        }
        sum += w;
      }
    if (!(sum > 1e-12)) {
      mesh.influenceJoint.resize(first);
      mesh.influenceWeight.resize(first);
      mesh.influenceJoint.push_back(0);
      mesh.influenceWeight.push_back(1);
      if (unweighted_++ == 0) unweightedWhere_ = where;
    } else {
      if (std::abs(sum - 1) > 0.01) {
        if (renormalised_++ == 0) renormalisedWhere_ = where;
        if (std::abs(sum - 1) > std::abs(worstSum_ - 1)) worstSum_ = sum;
      }
      if (sum != 1)
        for (std::size_t k = first; k < mesh.influenceWeight.size(); ++k) mesh.influenceWeight[k] = static_cast<float>(mesh.influenceWeight[k] / sum);
    }
    mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceJoint.size()));
  }
  return Done{};
}

Status GltfReader::morphs(const JsonView& p, const JsonView& meshJson, const std::string& where, Mesh& mesh) {
  const JsonView targets = p["targets"], names = meshJson["extras"]["targetNames"];
  std::vector<float> v;
  for (std::size_t t = 0; t < targets.size(); ++t) {
    MorphTarget target;
    target.name = validUtf8(names[t].string());
    if (targets[t]["POSITION"]) {
      if (Status status = file_.floats(targets[t]["POSITION"].integer(-1), 3, v); !status.ok()) return status;
      if (v.size() / 3 != mesh.positions.size())
        return damaged("Morph target " + std::to_string(t) + " has " + std::to_string(v.size() / 3) + " offsets for " +
                           std::to_string(mesh.positions.size()) + " vertices",
                       at(where));
      if (!allFinite(v)) return damaged("Morph target " + std::to_string(t) + " holds a number that is not finite", at(where));
      target.positions = vec3s(v);
    } else {
      target.positions.assign(mesh.positions.size(), Vec3f{});
    }
    mesh.morphs.push_back(std::move(target));
  }
  return Done{};
}

}  // namespace understudy
