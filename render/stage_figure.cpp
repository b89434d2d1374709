#include "render/stage_figure.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "core/mapping/bone_map.h"

namespace understudy {
namespace {

/// Vertex normals weighted by area, for meshes that bring none.
std::vector<Vec3f> smoothNormals(const Mesh& mesh, const std::vector<Vec3f>& positions) {
  std::vector<Vec3f> normals(positions.size());
  for (std::size_t i = 0; i + 2 < mesh.indices.size(); i += 3) {
    const std::uint32_t a = mesh.indices[i], b = mesh.indices[i + 1], c = mesh.indices[i + 2];
    if (a >= positions.size() || b >= positions.size() || c >= positions.size()) continue;
    const Vec3f n = cross(positions[b] - positions[a], positions[c] - positions[a]);
    normals[a] += n;
    normals[b] += n;
    normals[c] += n;
  }
  for (Vec3f& n : normals) n = normalised(n, {0, 1, 0});
  return normals;
}

std::vector<Vec3f> morphedPositions(const Mesh& mesh) {
  std::vector<Vec3f> positions = mesh.positions;
  for (std::size_t m = 0; m < mesh.morphs.size() && m < mesh.morphWeights.size(); ++m) {
    const float w = mesh.morphWeights[m];
    const auto& offsets = mesh.morphs[m].positions;
    if (w == 0 || offsets.size() != positions.size()) continue;
    for (std::size_t v = 0; v < positions.size(); ++v) positions[v] += offsets[v] * w;
  }
  return positions;
}

std::uint16_t unorm16(float v) { return static_cast<std::uint16_t>(std::clamp(v, 0.0f, 1.0f) * 65535.0f + 0.5f); }

/// Heaviest influences of a vertex, weights in 1/65535 that sum to 65535 exactly.
int packInfluences(const Mesh& mesh, std::size_t v, int firstEntry, std::size_t jointCount, int rigidEntry, StageVertex& out) {
  std::array<std::pair<float, int>, maxInfluences> heaviest{};
  int used = 0;
  if (mesh.skin >= 0 && v + 1 < mesh.influenceStart.size()) {
    for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1] && k < mesh.influenceWeight.size(); ++k) {
      const float w = mesh.influenceWeight[k];
      if (!(w > 0) || mesh.influenceJoint[k] >= jointCount) continue;
      // Kept in descending order; the lightest falls off the end.
      int place = std::min(used, maxInfluences - 1);
      if (used == maxInfluences && heaviest[place].first >= w) continue;
      for (; place > 0 && heaviest[place - 1].first < w; --place) heaviest[place] = heaviest[place - 1];
      heaviest[place] = {w, firstEntry + mesh.influenceJoint[k]};
      used = std::min(used + 1, maxInfluences);
    }
  }
  float sum = 0;
  for (int k = 0; k < used; ++k) sum += heaviest[k].first;
  std::fill(std::begin(out.entries), std::end(out.entries), std::uint16_t{0});
  std::fill(std::begin(out.weights), std::end(out.weights), std::uint16_t{0});
  if (used == 0 || !(sum > 0) || !std::isfinite(sum)) {
    out.entries[0] = static_cast<std::uint16_t>(rigidEntry);
    out.weights[0] = 65535;
    return 1;
  }
  int left = 65535;
  for (int k = used - 1; k >= 0; --k) {
    const int w = k == 0 ? left : std::min(left, static_cast<int>(heaviest[k].first / sum * 65535.0f + 0.5f));
    out.entries[k] = static_cast<std::uint16_t>(heaviest[k].second);
    out.weights[k] = static_cast<std::uint16_t>(w);
    left -= w;
  }
  return used;
}

void addMesh(StageFigure& out, int meshIndex, const std::vector<int>& skinStart, std::vector<int>& rigidEntryOf) {
  const Figure& figure = *out.figure;
  const Mesh& mesh = figure.meshes[meshIndex];
  if (mesh.positions.empty() || mesh.indices.size() < 3) return;
  const int joints = figure.skeleton.size();
  const int node = mesh.node >= 0 && mesh.node < joints ? mesh.node : -1;
  int& rigidEntry = rigidEntryOf[node + 1];
  if (rigidEntry < 0) {
    rigidEntry = static_cast<int>(out.palette.size());
    out.palette.push_back({node, {}});
  }
  const bool skinnedMesh = mesh.skin >= 0 && mesh.skin < static_cast<int>(figure.skins.size());
  const int firstEntry = skinnedMesh ? skinStart[mesh.skin] : rigidEntry;
  const std::size_t jointCount = skinnedMesh ? figure.skins[mesh.skin].joints.size() : 0;

  const std::vector<Vec3f> positions = morphedPositions(mesh);
  const bool ownNormals = mesh.normals.size() == positions.size();
  const std::vector<Vec3f> made = ownNormals ? std::vector<Vec3f>{} : smoothNormals(mesh, positions);
  const std::vector<Vec3f>& normals = ownNormals ? mesh.normals : made;

  StageBatch batch;
  batch.mesh = meshIndex;
  batch.material = mesh.material >= 0 && mesh.material < static_cast<int>(figure.materials.size()) ? mesh.material : -1;
  batch.firstVertex = static_cast<std::uint32_t>(out.vertices.size());
  batch.vertexCount = static_cast<std::uint32_t>(positions.size());
  batch.firstIndex = static_cast<std::uint32_t>(out.indices.size());
  batch.firstEntry = firstEntry;
  for (std::size_t v = 0; v < positions.size(); ++v) {
    StageVertex vertex{};
    const Vec3f p = isFinite(positions[v]) ? positions[v] : Vec3f{};
    const Vec3f n = isFinite(normals[v]) ? normals[v] : Vec3f{0, 1, 0};
    vertex.position[0] = p.x, vertex.position[1] = p.y, vertex.position[2] = p.z;
    vertex.normal[0] = n.x, vertex.normal[1] = n.y, vertex.normal[2] = n.z;
    if (mesh.texcoords.size() == positions.size()) vertex.texcoord[0] = mesh.texcoords[v].x, vertex.texcoord[1] = mesh.texcoords[v].y;
    for (int c = 0; c < 4; ++c) vertex.colour[c] = mesh.colours.size() == positions.size() ? unorm16(mesh.colours[v][c]) : 65535;
    batch.influences = std::max(batch.influences, packInfluences(mesh, v, firstEntry, jointCount, rigidEntry, vertex));
    out.vertices.push_back(vertex);
  }
  for (std::size_t i = 0; i + 2 < mesh.indices.size(); i += 3) {
    const std::uint32_t a = mesh.indices[i], b = mesh.indices[i + 1], c = mesh.indices[i + 2];
    if (a >= positions.size() || b >= positions.size() || c >= positions.size()) continue;
    for (const std::uint32_t k : {a, b, c}) out.indices.push_back(batch.firstVertex + k);
  }
  batch.indexCount = static_cast<std::uint32_t>(out.indices.size()) - batch.firstIndex;
  if (batch.indexCount > 0) out.batches.push_back(batch);
}

/// A few thousand points spread evenly over the surface, in index order, so that the same figure gives the same ones.
void scatterShadowPoints(StageFigure& out) {
  const auto triangle = [&](std::size_t i) {
    std::array<Vec3f, 3> p;
    for (int k = 0; k < 3; ++k) {
      const float* v = out.vertices[out.indices[i + k]].position;
      p[k] = {v[0], v[1], v[2]};
    }
    return p;
  };
  // Meshes may use different units (a skin's bind scale): measure where they stand in the rest pose.
  const std::vector<Affinef> palette = paletteOf(out, Affined{}, out.rest);
  std::vector<Vec3f> posed(out.vertices.size());
  for (const StageBatch& batch : out.batches) {
    for (std::uint32_t v = batch.firstVertex; v < batch.firstVertex + batch.vertexCount; ++v) {
      posed[v] = skinned(out.vertices[v], palette, batch.influences);
    }
  }
  double total = 0;
  for (std::size_t i = 0; i + 2 < out.indices.size(); i += 3) {
    const Vec3f a = posed[out.indices[i]], b = posed[out.indices[i + 1]], c = posed[out.indices[i + 2]];
    total += length(cross(b - a, c - a)) / 2;
  }
  if (!(total > 0) || !std::isfinite(total)) return;
  constexpr int wanted = 2400;
  const double each = total / wanted;
  double carry = each / 2;
  // The R2 sequence fills a triangle evenly where random numbers would clump (Roberts, "The Unreasonable Effectiveness
  // of Quasirandom Sequences", 2018).
  double u0 = 0.5, v0 = 0.5;
  for (const StageBatch& batch : out.batches) {
    for (std::size_t i = batch.firstIndex; i < batch.firstIndex + batch.indexCount; i += 3) {
      const Vec3f pa = posed[out.indices[i]], pb = posed[out.indices[i + 1]], pc = posed[out.indices[i + 2]];
      carry += length(cross(pb - pa, pc - pa)) / 2;
      const auto corners = triangle(i);
      while (carry >= each) {
        carry -= each;
        u0 += 0.7548776662466927, v0 += 0.5698402909980532;
        u0 -= std::floor(u0), v0 -= std::floor(v0);
        float u = static_cast<float>(u0), v = static_cast<float>(v0);
        if (u + v > 1) u = 1 - u, v = 1 - v;
        ShadowPoint point;
        point.position = corners[0] * (1 - u - v) + corners[1] * u + corners[2] * v;
        const int heaviest = u > v && u > 1 - u - v ? 1 : v > 1 - u - v ? 2 : 0;
        const StageVertex& vertex = out.vertices[out.indices[i + heaviest]];
        float sum = 0;
        for (int k = 0; k < 4; ++k) sum += static_cast<float>(vertex.weights[k]);
        for (int k = 0; k < 4; ++k) {
          point.entries[k] = vertex.entries[k];
          point.weights[k] = sum > 0 ? static_cast<float>(vertex.weights[k]) / sum : 0;
        }
        point.area = static_cast<float>(each);
        point.mesh = batch.mesh;
        out.shadowPoints.push_back(point);
      }
    }
  }
}

void chooseDrawnJoints(StageFigure& out) {
  const Figure& figure = *out.figure;
  const Skeleton& skeleton = figure.skeleton;
  const int n = skeleton.size();
  std::vector<double> weight(n, 0.0);
  for (const StageBatch& batch : out.batches) {
    if (figure.meshes[batch.mesh].skin < 0) continue;
    for (std::uint32_t v = batch.firstVertex; v < batch.firstVertex + batch.vertexCount; ++v) {
      for (int k = 0; k < batch.influences; ++k) {
        const int joint = out.palette[out.vertices[v].entries[k]].joint;
        if (joint >= 0) weight[joint] += out.vertices[v].weights[k] / 65535.0;
      }
    }
  }
  // Rigid parts count for the bone they hang on: some bodies have skin on their arms only.
  std::vector<char> hasChildren(n, 0);
  for (int j = 0; j < n; ++j) {
    if (skeleton.parents[j] >= 0) hasChildren[skeleton.parents[j]] = 1;
  }
  bool anySkin = false;
  for (const double w : weight) anySkin = anySkin || w > 0;
  for (const StageBatch& batch : out.batches) {
    const Mesh& mesh = figure.meshes[batch.mesh];
    if (!anySkin || mesh.skin >= 0 || mesh.node < 0 || mesh.node >= n) continue;
    const int bone = hasChildren[mesh.node] || skeleton.parents[mesh.node] < 0 ? mesh.node : skeleton.parents[mesh.node];
    weight[bone] += 1;
  }
  double heaviest = 0;
  for (const double w : weight) heaviest = std::max(heaviest, w);
  if (!(heaviest > 0)) {
    // Files without skin may hold cameras, lights and helpers as well: the body is what hangs on its roles.
    std::vector<char> body(n, 0);
    if (figure.format != "BVH" && n > 0) {
      const SkeletonMap map = mapRoles(figure);
      if (map.joint(Role::hips) >= 0 && missingRequired(map).empty()) {
        for (const RoleJoints& role : map.roles) {
          for (const int j : role.joints) body[j] = 1;
        }
        for (int j = 0; j < n; ++j) {
          if (skeleton.parents[j] >= 0 && body[skeleton.parents[j]]) body[j] = 1;
        }
      }
    }
    for (int j = 0; j < n; ++j) {
      if (body[j]) out.drawn.push_back(j);
    }
    if (!out.drawn.empty()) return;
    out.drawn.resize(n);
    std::iota(out.drawn.begin(), out.drawn.end(), 0);
    return;
  }
  // Joints that carry weight, and those between them up to the branch they all share.
  std::vector<int> below(n, 0);
  int total = 0;
  for (int j = n - 1; j >= 0; --j) {
    if (weight[j] > 0) ++below[j], ++total;
    if (skeleton.parents[j] >= 0) below[skeleton.parents[j]] += below[j];
  }
  for (int j = 0; j < n; ++j) {
    if (weight[j] > 0 || (below[j] > 0 && below[j] < total)) out.drawn.push_back(j);
  }
}

/// How thick a stand-in body is at each joint. A limb is as thick as all it carries (the rule of branching pipes: the
/// squares of the radii add up), with hands and feet counted by their longest path only.
void measureBones(StageFigure& out) {
  const Skeleton& skeleton = out.figure->skeleton;
  const int n = skeleton.size();
  out.boneRadius.assign(n, 0);
  std::vector<char> drawn(n, 0);
  for (const int j : out.drawn) drawn[j] = 1;
  Bounds bounds;
  for (const int j : out.drawn) bounds.add(out.rest[j].translation);
  const Vec3d size = bounds.size();
  out.height = std::max({size.x, size.y, size.z});
  if (!(out.height > 0)) return;
  std::vector<double> carried(n, 0.0), longest(n, 0.0), sum(n, 0.0), bone(n, 0.0);
  for (int j = n - 1; j >= 0; --j) {
    if (!drawn[j]) continue;
    carried[j] = longest[j] < 0.12 * out.height ? longest[j] : sum[j];
    int p = skeleton.parents[j];
    while (p >= 0 && !drawn[p]) p = skeleton.parents[p];
    if (p < 0) continue;
    bone[j] = distance(out.rest[j].translation, out.rest[p].translation);
    longest[p] = std::max(longest[p], longest[j] + bone[j]);
    sum[p] += carried[j] + bone[j];
  }
  for (const int j : out.drawn) {
    const double radius = 0.046 * std::sqrt(carried[j] / out.height) * out.height;
    out.boneRadius[j] = static_cast<float>(std::clamp(radius, 0.011 * out.height, 0.075 * out.height));
  }
  const Vec3d up = rotate(conjugate(out.figure->space.worldFromFile), Vec3d{0, 1, 0});
  double top = -std::numeric_limits<double>::infinity();
  double low = std::numeric_limits<double>::infinity();
  for (const int j : out.drawn) {
    const double h = dot(out.rest[j].translation, up);
    low = std::min(low, h);
    if (h > top) top = h, out.headJoint = j;
  }
  if (out.headJoint >= 0 && (longest[out.headJoint] > 0.12 * out.height || top - low < 0.5 * out.height)) out.headJoint = -1;
}

}  // namespace

StageFigurePtr prepareFigure(std::shared_ptr<const Figure> figure, Issues* issues) {
  auto out = std::make_shared<StageFigure>();
  if (!figure) figure = std::make_shared<const Figure>();
  out->figure = figure;
  out->rest = restWorld(figure->skeleton);

  std::vector<int> skinStart;
  for (const Skin& skin : figure->skins) {
    skinStart.push_back(static_cast<int>(out->palette.size()));
    for (std::size_t i = 0; i < skin.joints.size(); ++i) {
      out->palette.push_back({skin.joints[i], i < skin.inverseBind.size() ? skin.inverseBind[i] : Affined{}});
    }
  }
  std::vector<int> rigidEntryOf(static_cast<std::size_t>(figure->skeleton.size()) + 1, -1);
  for (std::size_t m = 0; m < figure->meshes.size(); ++m) addMesh(*out, static_cast<int>(m), skinStart, rigidEntryOf);
  if (out->palette.size() > 65535) {
    out->vertices.clear(), out->indices.clear(), out->batches.clear(), out->palette.clear();
    if (issues) issues->push_back(makeWarning("Meshes with more than 65,535 joints in their skins are not drawn", figure->path));
  }

  out->images.resize(figure->images.size());
  for (std::size_t i = 0; i < figure->images.size(); ++i) {
    const bool used = std::any_of(figure->materials.begin(), figure->materials.end(), [&](const Material& m) { return m.image == static_cast<int>(i); });
    if (!used) continue;
    const Image& image = figure->images[i];
    auto decoded = decodePicture(image.bytes, figure->path + ", image " + (image.name.empty() ? std::to_string(i + 1) : image.name));
    if (decoded) {
      out->images[i] = std::move(*decoded);
    } else if (issues) {
      issues->push_back(makeWarning(decoded.error().what, decoded.error().where, decoded.error().todo));
    }
  }
  scatterShadowPoints(*out);
  chooseDrawnJoints(*out);
  measureBones(*out);
  return out;
}

const Figure& figureOf(const StageFigure& stageFigure) { return *stageFigure.figure; }
std::span<const int> drawnJoints(const StageFigure& stageFigure) { return stageFigure.drawn; }

std::vector<Affinef> paletteOf(const StageFigure& figure, const Affined& placement, std::span<const Affined> jointWorld) {
  std::vector<Affinef> result;
  result.reserve(figure.palette.size());
  for (const PaletteEntry& entry : figure.palette) {
    const bool known = entry.joint >= 0 && static_cast<std::size_t>(entry.joint) < jointWorld.size();
    const Affined world = known ? placement * jointWorld[entry.joint] * entry.inverseBind : placement * entry.inverseBind;
    result.push_back(Affinef(world));
  }
  return result;
}

std::span<const Affined> poseOf(const FigureInstance& instance) {
  if (!instance.figure) return {};
  return instance.jointWorld.size() == instance.figure->rest.size() ? instance.jointWorld : std::span<const Affined>(instance.figure->rest);
}

Vec3f skinned(const StageVertex& vertex, std::span<const Affinef> palette, int influences) {
  const Vec3f p{vertex.position[0], vertex.position[1], vertex.position[2]};
  Vec3f result;
  for (int k = 0; k < influences; ++k) {
    if (vertex.weights[k] == 0) break;
    result += apply(palette[vertex.entries[k]], p) * (static_cast<float>(vertex.weights[k]) / 65535.0f);
  }
  return result;
}

std::vector<ShownBone> shownBones(const FigureInstance& instance) {
  std::vector<ShownBone> result;
  if (!instance.figure) return result;
  const Skeleton& skeleton = instance.figure->figure->skeleton;
  const std::span<const int> joints = instance.skeletonJoints.empty() ? std::span<const int>(instance.figure->drawn) : instance.skeletonJoints;
  std::vector<char> shown(skeleton.size(), 0);
  for (const int j : joints) {
    if (j >= 0 && j < skeleton.size()) shown[j] = 1;
  }
  for (const int j : joints) {
    if (j < 0 || j >= skeleton.size()) continue;
    int p = skeleton.parents[j];
    while (p >= 0 && !shown[p]) p = skeleton.parents[p];
    result.push_back({j, p});
  }
  return result;
}

std::vector<Capsule> bodyCapsules(const FigureInstance& instance) {
  std::vector<Capsule> result;
  if (!instance.figure) return result;
  const StageFigure& figure = *instance.figure;
  const std::span<const Affined> pose = poseOf(instance);
  const double scale = std::cbrt(std::abs(determinant(instance.placement.linear)));
  const auto at = [&](int joint) { return Vec3f(apply(instance.placement, pose[joint].translation)); };
  FigureInstance plain = instance;
  plain.skeletonJoints = {};
  for (const ShownBone& bone : shownBones(plain)) {
    if (bone.parent < 0) continue;
    const float to = static_cast<float>(figure.boneRadius[bone.joint] * scale);
    // A thin branch of a thick trunk (clavicle, thigh) starts thin as well: it leaves the trunk's inside.
    const float from = std::min(static_cast<float>(figure.boneRadius[bone.parent] * scale), std::max(to * 2.1f, to + 0.004f));
    result.push_back({at(bone.parent), at(bone.joint), from, to});
  }
  if (figure.headJoint >= 0 && figure.height > 0) {
    const float radius = static_cast<float>(0.052 * figure.height * scale);
    const int parent = figure.figure->skeleton.parents[figure.headJoint];
    const Vec3f top = at(figure.headJoint), base = parent >= 0 ? at(parent) : top;
    const Vec3f along = normalised(top - base, {0, 1, 0});
    const bool ends = length(top - base) > radius * 2;  // the joint is the crown, not the neck
    const Vec3f centre = ends ? top - along * (radius * 0.9f) : top + along * (radius * 0.9f);
    result.push_back({centre - along * (radius * 0.25f), centre + along * (radius * 0.25f), radius * 0.94f, radius});
  }
  std::erase_if(result, [](const Capsule& c) { return !isFinite(c.from) || !isFinite(c.to); });
  return result;
}

}  // namespace understudy
