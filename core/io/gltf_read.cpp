// Reader for glTF 2.0 (.gltf, .glb) and the humanoid descriptions VRM puts on top of it.
#include <array>
#include <cstring>
#include <map>

#include "core/io/gltf_reader.h"

namespace understudy {

Result<Figure> GltfReader::read(const std::string& path) {
  figure_.path = path;
  figure_.format = "glTF 2.0";
  control_.report(0, "Reading");
  if (Status status = file_.open(path); !status.ok()) return status.error();
  root_ = file_.root();
  noteExtensions();
  for (const auto step : {&GltfReader::nodes, &GltfReader::skins, &GltfReader::materials, &GltfReader::meshes, &GltfReader::animations, &GltfReader::roles}) {
    if (control_.stopped()) return RunControl::cancelled();
    if (Status status = (this->*step)(); !status.ok()) return status.error();
  }
  if (Status status = space(); !status.ok()) return status.error();
  control_.report(1, "Reading");
  return std::move(figure_);
}

void GltfReader::warn(std::string what, std::string where, std::string todo) {
  figure_.issues.push_back(makeWarning(std::move(what), at(where), std::move(todo)));
}

void GltfReader::note(std::string what, std::string where, std::string todo) {
  figure_.issues.push_back(makeNote(std::move(what), where.empty() ? figure_.path : at(where), std::move(todo)));
}

void GltfReader::noteExtensions() {
  static constexpr std::array known{"KHR_mesh_quantization", "KHR_texture_transform", "KHR_draco_mesh_compression", "EXT_meshopt_compression",
                                    "KHR_meshopt_compression", "KHR_materials_unlit", "KHR_materials_pbrSpecularGlossiness",
                                    "EXT_texture_webp", "KHR_texture_basisu", "VRMC_vrm", "VRMC_vrm_animation", "VRM"};
  const JsonView required = root_["extensionsRequired"];
  for (std::size_t i = 0; i < required.size(); ++i) {
    const std::string_view name = required[i].string();
    if (std::find(known.begin(), known.end(), name) == known.end() && !name.starts_with("KHR_materials_") && !name.starts_with("VRMC_"))
      warn("The file says that it needs " + quoted(name) + ", which is not read", "extensionsRequired", "Look whether the character shows as it should");
  }
}

Status GltfReader::nodes() {
  const JsonView list = root_["nodes"];
  const auto count = static_cast<std::int64_t>(list.size());
  if (count == 0) return makeError(Fault::input, "The file holds no nodes, so there is no skeleton", figure_.path, "Choose a file with a skeleton");
  std::vector<int> parent(list.size(), -1);
  std::vector<std::vector<int>> children(list.size());
  for (std::int64_t n = 0; n < count; ++n) {
    const JsonView kids = list[static_cast<std::size_t>(n)]["children"];
    for (std::size_t k = 0; k < kids.size(); ++k) {
      const std::int64_t child = kids[k].integer(-1);
      const std::string where = at("node " + std::to_string(n) + ", children");
      if (child < 0 || child >= count) return damaged("It names node " + std::to_string(child) + ", which does not exist", where);
      if (child == n) return damaged("The node is its own child", where);
      int& before = parent[static_cast<std::size_t>(child)];
      if (before >= 0)
        return damaged("Node " + std::to_string(child) + " has two parents, " + std::to_string(before) + " and " + std::to_string(n), where);
      before = static_cast<int>(n);
      children[static_cast<std::size_t>(n)].push_back(static_cast<int>(child));
    }
  }
  // The roots of the shown scene first, then what lies in no scene: exporters keep the rig of other scenes there.
  std::vector<int> roots;
  std::vector<char> taken(list.size(), 0);
  const auto addRoot = [&](std::int64_t n) {
    if (n < 0 || n >= count || parent[static_cast<std::size_t>(n)] >= 0 || taken[static_cast<std::size_t>(n)]) return;
    taken[static_cast<std::size_t>(n)] = 1;
    roots.push_back(static_cast<int>(n));
  };
  const std::int64_t scene = root_["scene"].integer(0);
  if (scene >= 0) {
    const JsonView shown = root_["scenes"][static_cast<std::size_t>(scene)]["nodes"];
    for (std::size_t i = 0; i < shown.size(); ++i) {
      const std::int64_t n = shown[i].integer(-1);
      if (n < 0 || n >= count) return damaged("The scene names node " + std::to_string(n) + ", which does not exist", at("scene " + std::to_string(scene)));
      addRoot(n);
    }
  }
  for (std::int64_t n = 0; n < count; ++n) addRoot(n);

  jointOf_.assign(list.size(), -1);
  nodeCount_ = count;
  std::vector<int> stack(roots.rbegin(), roots.rend());
  while (!stack.empty()) {
    const int n = stack.back();
    stack.pop_back();
    const int up = parent[static_cast<std::size_t>(n)];
    if (Status status = addNode(list[static_cast<std::size_t>(n)], n, up < 0 ? -1 : jointOf_[static_cast<std::size_t>(up)]); !status.ok()) return status;
    const auto& kids = children[static_cast<std::size_t>(n)];
    stack.insert(stack.end(), kids.rbegin(), kids.rend());
  }
  for (std::int64_t n = 0; n < count; ++n)
    if (jointOf_[static_cast<std::size_t>(n)] < 0) {
      int before = parent[static_cast<std::size_t>(n)];
      return damaged("Node " + std::to_string(n) + " is its own ancestor, by way of node " + std::to_string(before), at("node " + std::to_string(n)));
    }
  if (sheared_ > 0)
    warn(std::to_string(sheared_) + " nodes are sheared by their matrix, which translation, rotation and scale cannot express; the nearest are used",
         "node " + std::to_string(shearedNode_), "Apply the transforms in your modelling program and export again");
  return Done{};
}

Status GltfReader::addNode(const JsonView& node, int index, int parent) {
  bool sheared = false;
  Result<Trsd> rest = gltfNodeTransform(node, at("node " + std::to_string(index)), &sheared);
  if (!rest.ok()) return rest.error();
  if (sheared && sheared_++ == 0) shearedNode_ = index;
  jointOf_[static_cast<std::size_t>(index)] = figure_.skeleton.add(validUtf8(node["name"].string()), parent, *rest, index);
  return Done{};
}

Status GltfReader::skins() {
  const JsonView list = root_["skins"];
  for (std::size_t s = 0; s < list.size(); ++s) {
    const std::string where = at("skin " + std::to_string(s));
    Skin skin;
    skin.name = validUtf8(list[s]["name"].string());
    const JsonView joints = list[s]["joints"];
    if (joints.size() == 0) return damaged("The skin has no joints", where);
    if (joints.size() > 65535) return damaged("The skin has more than 65,535 joints", where);
    for (std::size_t i = 0; i < joints.size(); ++i) {
      const int j = joint(joints[i].integer(-1));
      if (j < 0) return damaged("Its joint " + std::to_string(i) + " is a node that does not exist", where);
      skin.joints.push_back(j);
    }
    skin.inverseBind.resize(joints.size());
    const JsonView matrices = list[s]["inverseBindMatrices"];
    if (matrices) {
      std::vector<float> m;
      if (Status status = file_.floats(matrices.integer(-1), 16, m); !status.ok()) return status;
      if (m.size() < joints.size() * 16)
        return damaged("It has " + std::to_string(joints.size()) + " joints, but " + std::to_string(m.size() / 16) + " inverse bind matrices", where);
      int flat = 0;
      for (std::size_t i = 0; i < joints.size(); ++i) {
        const float* v = m.data() + i * 16;
        for (int k = 0; k < 16; ++k)
          if (!std::isfinite(v[k])) return damaged("The inverse bind matrix of joint " + std::to_string(i) + " holds a number that is not finite", where);
        Affined& a = skin.inverseBind[i];
        a.linear = Mat3d({v[0], v[1], v[2]}, {v[4], v[5], v[6]}, {v[8], v[9], v[10]});
        a.translation = {v[12], v[13], v[14]};
        flat += std::abs(determinant(a.linear)) < 1e-30;
      }
      if (flat > 0) warn(std::to_string(flat) + " inverse bind matrices cannot be inverted; those joints take their place from the nodes", "skin " + std::to_string(s));
    }
    figure_.skins.push_back(std::move(skin));
  }
  return Done{};
}

Status GltfReader::roles() {
  const JsonView extensions = root_["extensions"];
  const auto add = [&](std::string role, std::int64_t node) {
    const int j = joint(node);
    if (j >= 0 && !role.empty()) figure_.statedRoles.emplace_back(std::move(role), j);
  };
  for (const char* name : {"VRMC_vrm", "VRMC_vrm_animation"}) {
    const JsonView bones = extensions[name]["humanoid"]["humanBones"];
    if (!figure_.statedRoles.empty() || !bones.isObject()) continue;
    for (std::size_t i = 0; i < bones.size(); ++i) add(validUtf8(bones.key(i)), bones[i]["node"].integer(-1));
  }
  if (const JsonView bones = extensions["VRM"]["humanoid"]["humanBones"]; bones.isArray() && figure_.statedRoles.empty()) {
    // VRM 0.x called the thumb's three bones proximal, intermediate, distal; VRM 1.0 calls them metacarpal, proximal, distal.
    const std::map<std::string, std::string> renamed{{"leftThumbProximal", "leftThumbMetacarpal"},
                                                     {"leftThumbIntermediate", "leftThumbProximal"},
                                                     {"rightThumbProximal", "rightThumbMetacarpal"},
                                                     {"rightThumbIntermediate", "rightThumbProximal"}};
    for (std::size_t i = 0; i < bones.size(); ++i) {
      std::string role = validUtf8(bones[i]["bone"].string());
      const auto other = renamed.find(role);
      add(other == renamed.end() ? std::move(role) : other->second, bones[i]["node"].integer(-1));
    }
  }
  return Done{};
}

Status GltfReader::space() {
  // glTF 2.0 states metres, +Y up, so that nothing is left to find out.
  Space& s = figure_.space;
  if (settings_.metresPerUnit > 0) {
    s.metresPerUnit = settings_.metresPerUnit;
    s.unitName = jsonNumber(settings_.metresPerUnit) + " m";
  }
  if (settings_.up.empty()) return Done{};
  std::string up = settings_.up;
  if (up.starts_with("−")) up = "-" + up.substr(std::string_view("−").size());
  if (up.size() == 1) up = "+" + up;
  constexpr double quarter = 0.70710678118654752440;
  if (up == "+Y") s.worldFromFile = {};
  else if (up == "-Y") s.worldFromFile = {0, 0, 0, 1};
  else if (up == "+Z") s.worldFromFile = {quarter, -quarter, 0, 0};
  else if (up == "-Z") s.worldFromFile = {quarter, quarter, 0, 0};
  else if (up == "+X") s.worldFromFile = {quarter, 0, 0, quarter};
  else if (up == "-X") s.worldFromFile = {quarter, 0, 0, -quarter};
  else return makeError(Fault::usage, "'" + settings_.up + "' is no axis", {}, "Use one of +X -X +Y -Y +Z -Z");
  s.upName = up[0] == '-' ? "−" + up.substr(1) : up;
  return Done{};
}

Result<Figure> readGltf(const std::string& path, const ReadSettings& settings, const RunControl& control) {
  return GltfReader(settings, control).read(path);
}

}  // namespace understudy
