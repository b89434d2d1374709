#include "samples/polygonise.h"

#include <algorithm>
#include <array>
#include <map>

namespace understudy::samples {
namespace {

// Newton steps along the gradient, none longer than a cell: the field is only close to a distance.
Vec3d ontoSurface(const Field& field, Vec3d p, double cell, int steps) {
  for (int i = 0; i < steps; ++i) {
    const double f = field(p);
    const Vec3d g = gradient(field, p);
    const double gg = dot(g, g);
    if (std::abs(f) < 1e-7 || gg < 1e-6) break;
    Vec3d move = g * (-f / gg);
    const double l = length(move);
    if (l > cell * 0.5) move *= cell * 0.5 / l;
    p += move;
  }
  return p;
}

}  // namespace

Surface polygonise(const Field& field, const Vec3d& from, const Vec3d& to, double cell) {
  const Vec3d margin{1.6 * cell, 1.6 * cell, 1.6 * cell}, low = from - margin, high = to + margin;
  std::array<int, 3> n{};
  for (int i = 0; i < 3; ++i) n[i] = static_cast<int>(std::ceil((high[i] - low[i]) / cell)) + 1;
  const auto at = [&](int x, int y, int z) { return (static_cast<std::size_t>(z) * n[1] + y) * n[0] + x; };
  const auto corner = [&](int x, int y, int z) { return low + Vec3d{x * cell, y * cell, z * cell}; };
  std::vector<double> value(static_cast<std::size_t>(n[0]) * n[1] * n[2]);
  for (int z = 0; z < n[2]; ++z)
    for (int y = 0; y < n[1]; ++y)
      for (int x = 0; x < n[0]; ++x) value[at(x, y, z)] = field(corner(x, y, z));

  Surface surface;
  std::vector<std::int64_t> vertexOf(value.size(), -1);
  for (int z = 0; z + 1 < n[2]; ++z)
    for (int y = 0; y + 1 < n[1]; ++y)
      for (int x = 0; x + 1 < n[0]; ++x) {
        Vec3d sum;
        int crossings = 0;
        for (int a = 0; a < 8; ++a)
          for (int axis = 0; axis < 3; ++axis) {
            const int b = a | (1 << axis);
            if (b == a) continue;
            const auto point = [&](int c) { return std::array<int, 3>{x + (c & 1), y + ((c >> 1) & 1), z + (c >> 2)}; };
            const auto pa = point(a), pb = point(b);
            const double fa = value[at(pa[0], pa[1], pa[2])], fb = value[at(pb[0], pb[1], pb[2])];
            if ((fa < 0) == (fb < 0)) continue;
            sum += lerp(corner(pa[0], pa[1], pa[2]), corner(pb[0], pb[1], pb[2]), fa / (fa - fb));
            ++crossings;
          }
        if (crossings == 0) continue;
        vertexOf[at(x, y, z)] = static_cast<std::int64_t>(surface.positions.size());
        surface.positions.push_back(sum / double(crossings));
      }

  std::vector<std::array<std::uint32_t, 4>> quads;
  for (int z = 1; z + 1 < n[2]; ++z)
    for (int y = 1; y + 1 < n[1]; ++y)
      for (int x = 1; x + 1 < n[0]; ++x)
        for (int axis = 0; axis < 3; ++axis) {
          const std::array<int, 3> step{axis == 0, axis == 1, axis == 2};
          const bool inside = value[at(x, y, z)] < 0;
          if (inside == (value[at(x + step[0], y + step[1], z + step[2])] < 0)) continue;
          const int u = (axis + 1) % 3, v = (axis + 2) % 3;
          std::array<std::uint32_t, 4> quad{};
          for (int c = 0; c < 4; ++c) {
            std::array<int, 3> p{x, y, z};
            if (c == 0 || c == 3) --p[u];
            if (c == 0 || c == 1) --p[v];
            quad[c] = static_cast<std::uint32_t>(vertexOf[at(p[0], p[1], p[2])]);
          }
          if (!inside) std::swap(quad[1], quad[3]);
          quads.push_back(quad);
        }

  std::vector<std::vector<std::uint32_t>> neighbours(surface.positions.size());
  for (const auto& quad : quads)
    for (int c = 0; c < 4; ++c) neighbours[quad[c]].push_back(quad[(c + 1) % 4]);
  for (int pass = 0; pass < 4; ++pass) {
    std::vector<Vec3d> next = surface.positions;
    for (std::size_t i = 0; i < next.size(); ++i) {
      if (neighbours[i].empty()) continue;
      Vec3d mean;
      for (const std::uint32_t j : neighbours[i]) mean += surface.positions[j];
      mean = mean / double(neighbours[i].size());
      next[i] = ontoSurface(field, lerp(surface.positions[i], mean, 0.5), cell, 2);
    }
    surface.positions = std::move(next);
  }
  for (Vec3d& p : surface.positions) {
    p = ontoSurface(field, p, cell, 8);
    surface.normals.push_back(normalised(gradient(field, p, 1e-3), Vec3d{0, 1, 0}));
  }
  for (const auto& q : quads) {
    const auto& p = surface.positions;
    // The shorter diagonal gives the better-shaped pair.
    if (distance(p[q[0]], p[q[2]]) <= distance(p[q[1]], p[q[3]]))
      surface.indices.insert(surface.indices.end(), {q[0], q[1], q[2], q[0], q[2], q[3]});
    else
      surface.indices.insert(surface.indices.end(), {q[1], q[2], q[3], q[1], q[3], q[0]});
  }
  return surface;
}

int openEdges(const std::vector<std::uint32_t>& indices) {
  std::map<std::pair<std::uint32_t, std::uint32_t>, int> balance;
  for (std::size_t i = 0; i < indices.size(); i += 3)
    for (int c = 0; c < 3; ++c) {
      const std::uint32_t a = indices[i + c], b = indices[i + (c + 1) % 3];
      balance[{std::min(a, b), std::max(a, b)}] += a < b ? 1 : -1;
    }
  int open = 0;
  for (const auto& [edge, count] : balance) open += count != 0;
  return open;
}

}  // namespace understudy::samples
