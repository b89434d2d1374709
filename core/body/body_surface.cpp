#include "core/body/body_surface.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <tuple>

namespace understudy {
namespace {

BodyPart partOfRole(Role role) {
  switch (role) {
    case Role::hips: case Role::spine: case Role::chest: case Role::upperChest: case Role::leftShoulder: case Role::rightShoulder: return BodyPart::torso;
    case Role::neck: case Role::head: case Role::leftEye: case Role::rightEye: case Role::jaw: return BodyPart::head;
    case Role::leftUpperLeg: return BodyPart::leftThigh;
    case Role::rightUpperLeg: return BodyPart::rightThigh;
    case Role::leftLowerLeg: case Role::leftFoot: case Role::leftToes: return BodyPart::leftShank;
    case Role::rightLowerLeg: case Role::rightFoot: case Role::rightToes: return BodyPart::rightShank;
    case Role::leftUpperArm: return BodyPart::leftUpperArm;
    case Role::leftLowerArm: return BodyPart::leftForearm;
    case Role::rightUpperArm: return BodyPart::rightUpperArm;
    case Role::rightLowerArm: return BodyPart::rightForearm;
    default: return sideOf(role) == Side::left ? BodyPart::leftHand : BodyPart::rightHand;
  }
}

bool named(const std::vector<std::string>& names, const std::string& name) {
  return !name.empty() && std::find(names.begin(), names.end(), name) != names.end();
}

/// Follows each vertex to the first one at the same place.
std::vector<int> welded(std::span<const Vec3d> positions, double tolerance) {
  std::map<std::tuple<std::int64_t, std::int64_t, std::int64_t>, int> first;
  std::vector<int> out(positions.size());
  for (std::size_t i = 0; i < positions.size(); ++i) {
    const Vec3d p = positions[i] / tolerance;
    const auto [at, fresh] = first.try_emplace({std::llround(p.x), std::llround(p.y), std::llround(p.z)}, static_cast<int>(i));
    out[i] = at->second;
  }
  return out;
}

int rootOf(std::vector<int>& up, int i) {
  while (up[static_cast<std::size_t>(i)] != i) i = up[static_cast<std::size_t>(i)] = up[static_cast<std::size_t>(up[static_cast<std::size_t>(i)])];
  return i;
}

}  // namespace

std::string_view bodyPartName(BodyPart part) {
  constexpr std::array<std::string_view, bodyPartCount> names{"", "torso", "head", "left thigh", "right thigh", "left shank", "right shank",
                                                              "left upper arm", "left forearm", "left hand", "right upper arm", "right forearm", "right hand"};
  return names[static_cast<std::size_t>(part)];
}

std::vector<BodyPart> partsOfJoints(const Skeleton& skeleton, const SkeletonMap& map) {
  std::vector<BodyPart> own(skeleton.parents.size(), BodyPart::none), out(skeleton.parents.size(), BodyPart::none);
  for (int r = roleCount; r-- > 0;)
    for (const int j : map.at(roleAt(r)).joints)
      if (j >= 0 && j < skeleton.size()) own[static_cast<std::size_t>(j)] = partOfRole(roleAt(r));
  for (const bool left : {true, false})
    for (const int j : besideHand(skeleton, map, left)) own[static_cast<std::size_t>(j)] = left ? BodyPart::leftHand : BodyPart::rightHand;
  for (std::size_t j = 0; j < out.size(); ++j) {
    const int parent = skeleton.parents[j];
    out[j] = own[j] != BodyPart::none ? own[j] : parent >= 0 ? out[static_cast<std::size_t>(parent)] : BodyPart::none;
  }
  return out;
}

int BodySurface::heaviestJoint(int vertex) const {
  const auto v = static_cast<std::size_t>(vertex);
  int joint = -1;
  float most = 0;
  for (std::uint32_t k = influenceStart[v]; k < influenceStart[v + 1]; ++k)
    if (influenceWeight[k] > most) most = influenceWeight[k], joint = influenceJoint[k];
  return joint;
}

BodySurface bodySurface(const Figure& figure, const SkeletonMap& map, std::span<const Affined> fileWorld, const Affined& toWorld,
                        const BodySurfaceSettings& settings) {
  BodySurface out;
  out.jointParts = partsOfJoints(figure.skeleton, map);
  const auto partOf = [&](int joint) { return joint >= 0 ? out.jointParts[static_cast<std::size_t>(joint)] : BodyPart::none; };
  std::array<bool, bodyPartCount> skinnedPart{};
  for (const Mesh& mesh : figure.meshes)
    if (mesh.skin >= 0)
      for (std::size_t k = 0; k < mesh.influenceWeight.size(); ++k)
        if (mesh.influenceWeight[k] > 0.5f)
          skinnedPart[static_cast<std::size_t>(partOf(figure.skins[static_cast<std::size_t>(mesh.skin)].joints[mesh.influenceJoint[k]]))] = true;

  out.influenceStart.push_back(0);
  for (const Mesh& mesh : figure.meshes) {
    if (named(settings.leaveOut, mesh.name) || (mesh.node >= 0 && named(settings.leaveOut, figure.skeleton.names[static_cast<std::size_t>(mesh.node)]))) continue;
    const bool skinned = mesh.skin >= 0;
    if (!skinned) {
      const BodyPart part = partOf(mesh.node);
      if (part == BodyPart::none) continue;
      const bool hand = part == BodyPart::leftHand || part == BodyPart::rightHand;
      if (hand && !settings.handProps && skinnedPart[static_cast<std::size_t>(part)]) continue;
    }
    const std::vector<Vec3f> positions = skinnedPositions(figure, mesh, fileWorld);
    const std::uint32_t base = static_cast<std::uint32_t>(out.positions.size());
    std::vector<char> good(positions.size(), 1);
    for (std::size_t v = 0; v < positions.size(); ++v) {
      const Vec3d p = apply(toWorld, Vec3d(positions[v]));
      good[v] = isFinite(p);
      out.positions.push_back(good[v] ? p : Vec3d{});
      std::array<float, bodyPartCount> weight{};
      if (skinned) {
        const Skin& skin = figure.skins[static_cast<std::size_t>(mesh.skin)];
        float sum = 0;
        for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) sum += mesh.influenceWeight[k];
        for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) {
          if (!(mesh.influenceWeight[k] > 0)) continue;
          const int joint = skin.joints[mesh.influenceJoint[k]];
          out.influenceJoint.push_back(joint);
          out.influenceWeight.push_back(mesh.influenceWeight[k] / sum);
          weight[static_cast<std::size_t>(partOf(joint))] += mesh.influenceWeight[k] / sum;
        }
      } else {
        out.influenceJoint.push_back(mesh.node);
        out.influenceWeight.push_back(1);
        weight[static_cast<std::size_t>(partOf(mesh.node))] = 1;
      }
      out.influenceStart.push_back(static_cast<std::uint32_t>(out.influenceJoint.size()));
      const auto heaviest = std::max_element(weight.begin(), weight.end());
      good[v] = good[v] && *heaviest > 0;
      out.parts.push_back(good[v] ? static_cast<BodyPart>(heaviest - weight.begin()) : BodyPart::none);
    }
    for (std::size_t i = 0; i + 2 < mesh.indices.size(); i += 3) {
      const std::uint32_t a = mesh.indices[i], b = mesh.indices[i + 1], c = mesh.indices[i + 2];
      if (std::max({a, b, c}) >= positions.size() || !good[a] || !good[b] || !good[c]) continue;
      for (const std::uint32_t v : {a, b, c}) out.indices.push_back(base + v);
    }
  }
  // Meshes on mirrored nodes run the other way round; partMesh turns every closed piece outwards anyway.
  return out;
}

void pointsOf(const BodySurface& surface, std::span<const Affined> turned, std::span<const int> vertices, std::span<Vec3d> out) {
  for (std::size_t i = 0; i < vertices.size(); ++i) {
    const std::size_t v = static_cast<std::size_t>(vertices[i]);
    Vec3d sum;
    for (std::uint32_t k = surface.influenceStart[v]; k < surface.influenceStart[v + 1]; ++k)
      sum += apply(turned[static_cast<std::size_t>(surface.influenceJoint[k])], surface.positions[v]) * static_cast<double>(surface.influenceWeight[k]);
    out[i] = sum;
  }
}

std::vector<Vec3d> PartMesh::withRims(std::vector<Vec3d> own) const {
  for (const std::vector<int>& rim : rims) {
    Vec3d mean;
    for (const int v : rim) mean += own[static_cast<std::size_t>(v)];
    own.push_back(mean / static_cast<double>(rim.size()));
  }
  return own;
}

PartMesh partMesh(const BodySurface& surface, BodyPart part, std::span<const BodyPart> with, bool seam) {
  PartMesh out;
  std::vector<int> place(surface.positions.size(), -1);
  std::vector<std::uint32_t> triangles;
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  for (std::size_t i = 0; i + 2 < surface.indices.size(); i += 3) {
    const std::uint32_t* c = &surface.indices[i];
    const auto own = std::count_if(c, c + 3, [&](std::uint32_t v) { return surface.parts[v] == part; });
    const auto others = std::count_if(c, c + 3, [&](std::uint32_t v) { return std::find(with.begin(), with.end(), surface.parts[v]) != with.end(); });
    if (own == 0 || own + others < 3 || (seam && others == 0)) continue;
    for (int k = 0; k < 3; ++k) {
      if (place[c[k]] < 0) {
        place[c[k]] = static_cast<int>(out.vertices.size());
        out.vertices.push_back(static_cast<int>(c[k]));
        const Vec3d& p = surface.positions[c[k]];
        low = {std::min(low.x, p.x), std::min(low.y, p.y), std::min(low.z, p.z)};
        high = {std::max(high.x, p.x), std::max(high.y, p.y), std::max(high.z, p.z)};
      }
      triangles.push_back(static_cast<std::uint32_t>(place[c[k]]));
    }
  }
  if (triangles.empty()) return out;
  std::vector<Vec3d> own;
  for (const int v : out.vertices) own.push_back(surface.positions[static_cast<std::size_t>(v)]);
  const std::vector<int> weld = welded(own, std::max(1e-12, 1e-6 * length(high - low)));

  // Pieces that hang together, each turned outwards as a whole.
  std::vector<int> up(own.size());
  std::iota(up.begin(), up.end(), 0);
  const auto corner = [&](std::size_t i) { return weld[triangles[i]]; };
  for (std::size_t i = 0; i < triangles.size(); i += 3) {
    up[static_cast<std::size_t>(rootOf(up, corner(i)))] = rootOf(up, corner(i + 1));
    up[static_cast<std::size_t>(rootOf(up, corner(i + 1)))] = rootOf(up, corner(i + 2));
  }
  struct Piece {
    std::vector<std::uint32_t> triangles;
    std::map<std::pair<int, int>, int> edges;  // from, to → how often more than the other way round
  };
  std::map<int, Piece> pieces;
  std::map<std::tuple<int, int, int>, int> seen;  // the same triangle twice, back to back, is a sheet seen from both sides
  for (std::size_t i = 0; i < triangles.size(); i += 3) {
    std::array<int, 3> c{corner(i), corner(i + 1), corner(i + 2)};
    if (c[0] == c[1] || c[1] == c[2] || c[2] == c[0]) continue;
    Piece& piece = pieces[rootOf(up, c[0])];
    std::array<int, 3> sorted = c;
    std::sort(sorted.begin(), sorted.end());
    if (seen[{sorted[0], sorted[1], sorted[2]}]++ > 0) continue;
    for (int k = 0; k < 3; ++k) piece.triangles.push_back(triangles[i + static_cast<std::size_t>(k)]);
    for (int k = 0; k < 3; ++k) {
      const int a = c[static_cast<std::size_t>(k)], b = c[static_cast<std::size_t>((k + 1) % 3)];
      if (a < b) ++piece.edges[{a, b}];
      else --piece.edges[{b, a}];
    }
  }
  for (auto& [root, piece] : pieces) {
    // What remains of the edges is the piece's border: at every vertex as many lead in as out, so walks along it close.
    std::map<int, std::vector<int>> next;
    for (const auto& [edge, count] : piece.edges) {
      for (int k = 0; k < count; ++k) next[edge.first].push_back(edge.second);
      for (int k = 0; k > count; --k) next[edge.second].push_back(edge.first);
    }
    std::vector<std::vector<int>> rims;
    for (auto& [from, to] : next)
      while (!to.empty()) {
        std::vector<int> rim{from};
        for (int at = from;;) {
          std::vector<int>& ways = next[at];
          if (ways.empty()) break;
          at = ways.back();
          ways.pop_back();
          if (at == from) break;
          rim.push_back(at);
        }
        rims.push_back(std::move(rim));
      }
    std::vector<std::uint32_t> solid = piece.triangles;
    std::vector<Vec3d> at = own;
    for (const std::vector<int>& rim : rims) {
      Vec3d mean;
      for (const int v : rim) mean += own[static_cast<std::size_t>(v)];
      const std::uint32_t middle = static_cast<std::uint32_t>(at.size());
      at.push_back(mean / static_cast<double>(rim.size()));
      for (std::size_t k = 0; k < rim.size(); ++k) {
        solid.push_back(static_cast<std::uint32_t>(rim[(k + 1) % rim.size()]));
        solid.push_back(static_cast<std::uint32_t>(rim[k]));
        solid.push_back(middle);
      }
    }
    double volume = 0, area = 0;
    for (std::size_t i = 0; i < solid.size(); i += 3) {
      const Vec3d a = at[solid[i]] - low, b = at[solid[i + 1]] - low, c = at[solid[i + 2]] - low;
      volume += dot(a, cross(b, c)) / 6;
      area += length(cross(b - a, c - a)) / 2;
    }
    // A closed box a twentieth as thick as it is wide has volume / area^1.5 of 0.015, a ball 0.094.
    if (std::abs(volume) < 0.01 * std::pow(area, 1.5)) continue;
    const std::uint32_t firstMiddle = static_cast<std::uint32_t>(own.size()), shift = static_cast<std::uint32_t>(out.rims.size());
    for (std::size_t i = 0; i < solid.size(); i += 3) {
      if (volume < 0) std::swap(solid[i], solid[i + 1]);
      for (std::size_t k = 0; k < 3; ++k) out.indices.push_back(solid[i + k] >= firstMiddle ? solid[i + k] + shift : solid[i + k]);
    }
    for (std::vector<int>& rim : rims) out.rims.push_back(std::move(rim));
  }
  return out;
}

}  // namespace understudy
