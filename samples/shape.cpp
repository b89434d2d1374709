#include "samples/shape.h"

#include <algorithm>
#include <cmath>

namespace understudy::samples {

Weights weightsAt(const WeightField& field, const Vec3d& point) {
  std::vector<std::pair<double, int>> shares;  // one a joint
  double nearest = 1e9;
  for (const Handle& handle : field.handles) nearest = std::min(nearest, distanceTo(handle.shape, point));
  for (const Handle& handle : field.handles) {
    const double share = std::exp((nearest - distanceTo(handle.shape, point)) / field.softness);
    const auto same = std::find_if(shares.begin(), shares.end(), [&](const auto& s) { return s.second == handle.joint; });
    if (same == shares.end())
      shares.emplace_back(share, handle.joint);
    else
      same->first = std::max(same->first, share);
  }
  std::stable_sort(shares.begin(), shares.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  if (shares.size() > 4) shares.resize(4);
  // Less than a hundredth is noise that only costs the renderer.
  while (shares.size() > 1 && shares.back().first < 0.01 * shares.front().first) shares.pop_back();
  double sum = 0;
  for (const auto& share : shares) sum += share.first;
  Weights weights;
  int left = 65536;
  for (std::size_t i = shares.size(); i-- > 0;) {
    const int units = i == 0 ? left : static_cast<int>(std::lround(shares[i].first / sum * 65536));
    left -= units;
    weights.joint[i] = units > 0 ? shares[i].second : shares[0].second;
    weights.weight[i] = static_cast<float>(units / 65536.0);
  }
  for (std::size_t i = shares.size(); i < 4; ++i) weights.joint[i] = weights.joint[0];
  return weights;
}

double linearOf(double channel) {
  const double c = channel / 255;
  return c <= 0.04045 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);  // IEC 61966-2-1
}

namespace {

// How much the whole body darkens a point: the field should grow as fast as one walks away from the surface.
double occlusion(const std::vector<Part>& parts, const Vec3d& point, const Vec3d& normal) {
  double dark = 0, share = 1;
  for (int i = 1; i <= 4; ++i) {
    const double walk = 0.012 * i * i;
    const Vec3d p = point + normal * walk;
    double nearest = walk;
    for (const Part& part : parts) {
      const Vec3d slack{walk, walk, walk}, low = part.low - slack, high = part.high + slack;
      if (p.x < low.x || p.y < low.y || p.z < low.z || p.x > high.x || p.y > high.y || p.z > high.z) continue;
      nearest = std::min(nearest, part.field(p));
    }
    dark += share * (walk - std::max(nearest, -walk)) / walk;
    share *= 0.6;
  }
  return std::clamp(1 - 0.28 * dark, 0.35, 1.0);
}

}  // namespace

void addParts(Figure& figure, const std::vector<Part>& parts, int node, int skin) {
  for (const Part& part : parts) {
    const Surface surface = part.surface.indices.empty() ? polygonise(part.field, part.low, part.high, part.cell) : part.surface;
    Mesh mesh;
    mesh.name = part.name;
    mesh.node = node;
    mesh.skin = skin;
    const auto known =
        std::find_if(figure.materials.begin(), figure.materials.end(), [&](const Material& m) { return m.name == part.name; });
    mesh.material = static_cast<int>(known - figure.materials.begin());
    if (known == figure.materials.end()) {
      Material material;
      material.name = part.name;
      for (int i = 0; i < 3; ++i) material.baseColour[i] = static_cast<float>(linearOf(part.colour[i]));
      figure.materials.push_back(material);
    }
    mesh.influenceStart.push_back(0);
    for (std::size_t i = 0; i < surface.positions.size(); ++i) {
      const Vec3d &p = surface.positions[i], &n = surface.normals[i];
      mesh.positions.emplace_back(p);
      mesh.normals.emplace_back(n);
      const Vec3d tint = (part.tint ? part.tint(p, n) : Vec3d{1, 1, 1}) * occlusion(parts, p, n);
      mesh.colours.push_back({static_cast<float>(tint.x), static_cast<float>(tint.y), static_cast<float>(tint.z), 1.0F});
      if (skin < 0) continue;
      const Weights weights = weightsAt(part.weights, p);
      for (int k = 0; k < 4 && weights.weight[k] > 0; ++k) {
        const auto& joints = figure.skins[skin].joints;
        const auto slot = std::find(joints.begin(), joints.end(), weights.joint[k]) - joints.begin();
        mesh.influenceJoint.push_back(static_cast<std::uint16_t>(slot));
        mesh.influenceWeight.push_back(weights.weight[k]);
      }
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceJoint.size()));
    }
    if (skin < 0) mesh.influenceStart.clear();
    mesh.indices = surface.indices;
    figure.meshes.push_back(std::move(mesh));
  }
}

}  // namespace understudy::samples
