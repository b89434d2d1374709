#include "render/ground_shadow.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

struct Piece {
  float x, z, height, area;
};

/// Optical depth on a raster of square cells.
struct Raster {
  double x, z;
  float cell;
  int width, height;
  std::vector<float> depth;

  Raster(double lowX, double lowZ, double sizeX, double sizeZ, float cellSize)
      : x(lowX), z(lowZ), cell(cellSize), width(static_cast<int>(std::ceil(sizeX / cellSize)) + 1),
        height(static_cast<int>(std::ceil(sizeZ / cellSize)) + 1), depth(static_cast<std::size_t>(width) * height) {}

  void splat(const Piece& piece, float radius) {
    const float cx = static_cast<float>(piece.x - x) / cell - 0.5f, cz = static_cast<float>(piece.z - z) / cell - 0.5f, r = radius / cell;
    const int x0 = std::max(0, static_cast<int>(std::ceil(cx - r))), x1 = std::min(width - 1, static_cast<int>(cx + r));
    const int z0 = std::max(0, static_cast<int>(std::ceil(cz - r))), z1 = std::min(height - 1, static_cast<int>(cz + r));
    const float inverse = 1 / (r * r);
    // ∫ (1 − d²)² over the unit disc is π/3.
    const float strength = piece.area * 3 / (std::numbers::pi_v<float> * radius * radius);
    for (int j = z0; j <= z1; ++j) {
      const float dz = (static_cast<float>(j) - cz) * (static_cast<float>(j) - cz) * inverse;
      float* row = depth.data() + static_cast<std::size_t>(j) * width;
      for (int i = x0; i <= x1; ++i) {
        const float d = 1 - dz - (static_cast<float>(i) - cx) * (static_cast<float>(i) - cx) * inverse;
        if (d > 0) row[i] += strength * d * d;
      }
    }
  }

  [[nodiscard]] float at(double px, double pz) const {
    const float u = std::clamp(static_cast<float>((px - x) / cell) - 0.5f, 0.0f, static_cast<float>(width - 1) - 1e-3f);
    const float v = std::clamp(static_cast<float>((pz - z) / cell) - 0.5f, 0.0f, static_cast<float>(height - 1) - 1e-3f);
    const int i = static_cast<int>(u), j = static_cast<int>(v);
    const float fu = u - static_cast<float>(i), fv = v - static_cast<float>(j);
    const float* p = depth.data() + static_cast<std::size_t>(j) * width + i;
    const int right = i + 1 < width ? 1 : 0, below = j + 1 < height ? width : 0;
    return (p[0] * (1 - fu) + p[right] * fu) * (1 - fv) + (p[below] * (1 - fu) + p[below + right] * fu) * fv;
  }
};

constexpr float highest = 1.7f;       // metres above the floor beyond which nothing shows
constexpr float deepest = -0.25f;     // what lies further below the floor casts none
constexpr float spread = 0.5f;       // metres of blur a metre of height

void addMeshPieces(const FigureInstance& instance, double ground, std::vector<Piece>& pieces) {
  const StageFigure& figure = *instance.figure;
  const std::vector<Affinef> palette = paletteOf(figure, instance.placement, poseOf(instance));
  const float scale = static_cast<float>(std::pow(std::abs(determinant(instance.placement.linear)), 2.0 / 3));
  for (const ShadowPoint& point : figure.shadowPoints) {
    if (meshHidden(instance, point.mesh)) continue;
    Vec3f p;
    for (int k = 0; k < 4 && point.weights[k] > 0; ++k) p += apply(palette[point.entries[k]], point.position) * point.weights[k];
    // A closed body hides the sky once, though its surface passes overhead at least twice; a quarter of its area is
    // its mean projected area (Cauchy).
    pieces.push_back({p.x, p.z, p.y - static_cast<float>(ground), point.area * scale / 4});
  }
}

void addCapsulePieces(const FigureInstance& instance, double ground, std::vector<Piece>& pieces) {
  for (const Capsule& capsule : bodyCapsules(instance)) {
    const float l = distance(capsule.from, capsule.to);
    const float mean = std::max(0.004f, (capsule.fromRadius + capsule.toRadius) / 2);
    const int steps = std::clamp(static_cast<int>(l / (mean * 0.8f)) + 1, 2, 24);
    for (int i = 0; i <= steps; ++i) {
      const float t = static_cast<float>(i) / static_cast<float>(steps);
      const float radius = capsule.fromRadius + (capsule.toRadius - capsule.fromRadius) * t;
      const Vec3f p = lerp(capsule.from, capsule.to, t);
      pieces.push_back({p.x, p.z, p.y - radius - static_cast<float>(ground), 2 * radius * std::max(l / static_cast<float>(steps), radius)});
    }
  }
}

}  // namespace

ShadowMap groundShadow(std::span<const FigureInstance> instances, double groundHeight) {
  ShadowMap map;
  std::vector<Piece> pieces;
  for (const FigureInstance& instance : instances) {
    if (!instance.figure || !instance.shadow) continue;
    const std::size_t first = pieces.size();
    const bool mesh = instance.showMesh && !instance.figure->shadowPoints.empty();
    if (mesh) addMeshPieces(instance, groundHeight, pieces);
    if (!mesh && (instance.showBody || instance.showSkeleton)) addCapsulePieces(instance, groundHeight, pieces);
    const std::span<const Affined> pose = poseOf(instance);
    for (const int joint : instance.feet) {
      if (joint < 0 || static_cast<std::size_t>(joint) >= pose.size()) continue;
      const Vec3d p = apply(instance.placement, pose[joint].translation);
      pieces.push_back({static_cast<float>(p.x), static_cast<float>(p.z), static_cast<float>(p.y - groundHeight), 0.004f});
    }
    const float opacity = mesh ? std::clamp(instance.meshAlpha * 1.2f, 0.0f, 1.0f) : 1.0f;
    for (std::size_t i = first; i < pieces.size(); ++i) pieces[i].area *= opacity;
  }
  std::erase_if(pieces, [](const Piece& p) {
    return !std::isfinite(p.x + p.z + p.height + p.area) || p.height > highest || p.height < deepest || !(p.area > 0);
  });
  if (pieces.empty()) return map;

  double lowX = 1e30, lowZ = 1e30, highX = -1e30, highZ = -1e30;
  const auto radiusOf = [](const Piece& p) { return std::max(0.022f, 0.7f * std::sqrt(p.area)) + spread * std::max(0.0f, p.height); };
  for (const Piece& p : pieces) {
    const double r = radiusOf(p);
    lowX = std::min(lowX, p.x - r), highX = std::max(highX, p.x + r);
    lowZ = std::min(lowZ, p.z - r), highZ = std::max(highZ, p.z + r);
  }
  const double sizeX = highX - lowX, sizeZ = highZ - lowZ;
  if (!(sizeX < 200) || !(sizeZ < 200)) return map;
  const float cell = std::max(0.013f, static_cast<float>(std::max(sizeX, sizeZ)) / 320.0f);
  const float coarse = cell * 5;
  Raster fine(lowX, lowZ, sizeX, sizeZ, cell), wide(lowX, lowZ, sizeX, sizeZ, coarse);
  for (const Piece& p : pieces) {
    const float radius = radiusOf(p);
    // High pieces matter less: the sky comes in from the sides.
    // What all but touches the floor shuts out the light from the sides as well.
    const float h = std::max(0.0f, p.height);
    const Piece faded{p.x, p.z, p.height, p.area * (1 - h / highest) * (1 + 1.5f * std::exp(-h / 0.04f))};
    if (radius < coarse * 2.2f) {
      fine.splat(faded, std::max(radius, cell * 1.5f));
    } else {
      wide.splat(faded, radius);
    }
  }
  map.width = fine.width, map.height = fine.height;
  map.x = lowX, map.z = lowZ;
  map.sizeX = fine.width * static_cast<double>(cell), map.sizeZ = fine.height * static_cast<double>(cell);
  map.darkness.resize(fine.depth.size());
  // 1 − exp(−depth) by steps far below what 255 levels tell apart.
  static constexpr float steps = 256, most = 7;
  static const std::vector<std::uint8_t> levels = [] {
    std::vector<std::uint8_t> table;
    for (float tau = 0; tau <= most; tau += 1 / steps) table.push_back(static_cast<std::uint8_t>((1 - std::exp(-tau)) * 255.0f + 0.5f));
    return table;
  }();
  for (int j = 0; j < fine.height; ++j) {
    for (int i = 0; i < fine.width; ++i) {
      const std::size_t k = static_cast<std::size_t>(j) * fine.width + i;
      const float tau = fine.depth[k] * 1.5f + wide.at(lowX + (i + 0.5) * cell, lowZ + (j + 0.5) * cell) * 1.25f;
      map.darkness[k] = levels[std::min(static_cast<std::size_t>(tau * steps + 0.5f), levels.size() - 1)];
    }
  }
  // A clear rim: the picture's edge is repeated outside.
  for (int i = 0; i < map.width; ++i) map.darkness[i] = map.darkness[map.darkness.size() - 1 - i] = 0;
  for (int j = 0; j < map.height; ++j) map.darkness[static_cast<std::size_t>(j) * map.width] = map.darkness[static_cast<std::size_t>(j + 1) * map.width - 1] = 0;
  return map;
}

}  // namespace understudy
