#include "core/body/distance_grid.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "core/base/parallel.h"

namespace understudy {
namespace {

constexpr int block = 4;

/// The triangles that are not inside another piece of the solid.
TriangleTree outerSurface(const TriangleTree& mesh, double step, int threads) {
  const std::vector<Vec3d>& p = mesh.positions();
  const std::vector<std::uint32_t>& all = mesh.indices();
  std::vector<char> seen(all.size() / 3, 0);
  parallelFor(static_cast<int>(seen.size()), [&](int triangle) {
    const std::size_t i = 3 * static_cast<std::size_t>(triangle);
    const Vec3d &a = p[all[i]], &b = p[all[i + 1]], &c = p[all[i + 2]];
    const Vec3d across = cross(b - a, c - a);
    if (dot(across, across) == 0) return;  // others meet where it is
    const Vec3d out = normalised(across) * step;
    const Vec3d middle = (a + b + c) / 3.0;
    // Seen from just outside of itself and of its corners.
    bool hidden = true;
    for (const Vec3d& q : {middle, lerp(middle, a, 0.9), lerp(middle, b, 0.9), lerp(middle, c, 0.9)}) hidden = hidden && mesh.inside(q + out);
    seen[static_cast<std::size_t>(triangle)] = !hidden;
  }, threads);
  std::vector<std::uint32_t> kept;
  for (std::size_t i = 0; i < seen.size(); ++i)
    if (seen[i]) kept.insert(kept.end(), {all[3 * i], all[3 * i + 1], all[3 * i + 2]});
  return kept.size() == all.size() || kept.empty() ? mesh : TriangleTree(p, std::move(kept));
}

}  // namespace

DistanceGrid::DistanceGrid(const TriangleTree& mesh, double cell, double pad, double exact, int threads) : cell_(cell), perCell_(1 / cell) {
  if (mesh.empty()) return;
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  for (const std::uint32_t i : mesh.indices()) {
    const Vec3d& p = mesh.positions()[i];
    for (int k = 0; k < 3; ++k) low[k] = std::min(low[k], p[k]), high[k] = std::max(high[k], p[k]);
  }
  low_ = low - Vec3d{pad, pad, pad};
  int coarse[3];
  for (int k = 0; k < 3; ++k) {
    coarse[k] = std::max(1, static_cast<int>(std::ceil((high[k] - low[k] + 2 * pad) / (cell * block)))) + 1;
    size_[k] = (coarse[k] - 1) * block + 1;
  }
  values_.assign(static_cast<std::size_t>(size_[0]) * static_cast<std::size_t>(size_[1]) * static_cast<std::size_t>(size_[2]), 0);
  const TriangleTree surface = outerSurface(mesh, 0.01 * cell, threads);
  const auto at = [&](int x, int y, int z) { return low_ + Vec3d{x * cell, y * cell, z * cell}; };

  // What is known of a node nearby: its distance bounds the search, and where both distances together are more than the way between
  // them, no surface fits in and they lie on one side.
  struct Known {
    double signedDistance = 0, way = 1e300;
  };
  const auto ask = [&](const Vec3d& p, std::span<const Known> known) {
    double within = 1e300;
    for (const Known& k : known) within = std::min(within, std::abs(k.signedDistance) + k.way * 1.001);
    const TriangleTree::Nearest n = surface.nearest(p, within);
    const double d = n.triangle >= 0 ? n.distance : within;
    for (const Known& k : known)
      if (d + std::abs(k.signedDistance) > k.way * 1.001) return static_cast<float>(k.signedDistance < 0 ? -d : d);
    return static_cast<float>(mesh.inside(p) ? -d : d);
  };
  std::vector<char> exactly(values_.size(), 0);
  parallelFor(coarse[2], [&](int layer) {
    const int z = layer * block;
    for (int y = 0; y < size_[1]; y += block)
      for (int x = 0; x < size_[0]; x += block) {
        const std::size_t i = index(x, y, z);
        const Known before{x > 0 ? static_cast<double>(values_[i - block]) : 0, cell * block};
        values_[i] = ask(at(x, y, z), std::span(&before, x > 0 ? 1 : 0));
        exactly[i] = 1;
      }
  }, threads);
  const double diagonal = cell * block * std::sqrt(3.0);
  const std::size_t row = static_cast<std::size_t>(size_[0]), plane = row * static_cast<std::size_t>(size_[1]);
  parallelFor(coarse[2] - 1, [&](int z) {
    for (int y = 0; y + 1 < coarse[1]; ++y)
      for (int x = 0; x + 1 < coarse[0]; ++x) {
        double nearest = 1e300, corners[8];
        for (int k = 0; k < 8; ++k) {
          corners[k] = values_[index((x + (k & 1)) * block, (y + (k >> 1 & 1)) * block, (z + (k >> 2)) * block)];
          nearest = std::min(nearest, std::abs(corners[k]));
        }
        const bool near = nearest < exact + diagonal / 2;
        const int lastX = x + 2 == coarse[0] ? block : block - 1, lastY = y + 2 == coarse[1] ? block : block - 1, lastZ = z + 2 == coarse[2] ? block : block - 1;
        for (int k = 0; k <= lastZ; ++k)
          for (int j = 0; j <= lastY; ++j)
            for (int i = 0; i <= lastX; ++i) {
              if (i % block == 0 && j % block == 0 && k % block == 0) continue;
              const int gx = x * block + i, gy = y * block + j, gz = z * block + k;
              const std::size_t node = index(gx, gy, gz);
              // No nearer to the surface than the corners allow.
              double least = 0;
              if (near)
                for (int c = 0; c < 8; ++c) {
                  const int dx = i - (c & 1) * block, dy = j - (c >> 1 & 1) * block, dz = k - (c >> 2) * block;
                  least = std::max(least, std::abs(corners[c]) - cell * std::sqrt(static_cast<double>(dx * dx + dy * dy + dz * dz)));
                }
              if (near && least < exact) {
                // The low corner, and neighbours of this layer of blocks, which one thread goes through in order.
                Known known[4];
                std::size_t count = 0;
                known[count++] = {corners[0], cell * std::sqrt(static_cast<double>(i * i + j * j + k * k))};
                if (gx > 0 && exactly[node - 1]) known[count++] = {static_cast<double>(values_[node - 1]), cell};
                if (gy > 0 && exactly[node - row]) known[count++] = {static_cast<double>(values_[node - row]), cell};
                if (k > 0 && exactly[node - plane]) known[count++] = {static_cast<double>(values_[node - plane]), cell};
                values_[node] = ask(at(gx, gy, gz), std::span(known, count));
                exactly[node] = 1;
                continue;
              }
              const double u = i / double(block), v = j / double(block), w = k / double(block);
              double sum = 0;
              for (int c = 0; c < 8; ++c) sum += corners[c] * (c & 1 ? u : 1 - u) * (c >> 1 & 1 ? v : 1 - v) * (c >> 2 ? w : 1 - w);
              values_[node] = static_cast<float>(sum);
            }
      }
  }, threads);
}

DistanceGrid DistanceGrid::guide(const Vec3d& middle, const Vec3d& axis, double most) const {
  DistanceGrid out = *this;
  const double longest = length(high() - low_);
  parallelFor(size_[2], [&](int z) {
    for (int y = 0; y < size_[1]; ++y)
      for (int x = 0; x < size_[0]; ++x) {
        float& value = out.values_[index(x, y, z)];
        if (value >= 0) continue;
        const Vec3d p = low_ + Vec3d{x * cell_, y * cell_, z * cell_}, from = p - middle;
        const Vec3d way = normalised(from - axis * dot(from, axis), Vec3d{0, 0, 1});
        // No nearer along the way than the distance says, so it can be walked in those steps.
        double walked = 0, deep = -static_cast<double>(value);
        while (deep > 0 && walked < std::min(longest, most * -static_cast<double>(value))) {
          walked += std::max(deep, 0.25 * cell_);
          deep = -at(p + way * walked);
        }
        value = -static_cast<float>(std::min(std::max(walked + deep, -static_cast<double>(value)), most * -static_cast<double>(value)));
      }
  });
  return out;
}

Vec3d DistanceGrid::high() const { return low_ + Vec3d{(size_[0] - 1) * cell_, (size_[1] - 1) * cell_, (size_[2] - 1) * cell_}; }

DistanceGrid::Place DistanceGrid::placeOutside(const Vec3d& point) const {
  Place out;
  double within[3];
  int cell[3];
  Vec3d over;
  for (int k = 0; k < 3; ++k) {
    const double top = size_[k] - 1, v = (point[k] - low_[k]) * perCell_, in = std::clamp(v, 0.0, top);
    over[k] = (v - in) * cell_;
    cell[k] = std::min(static_cast<int>(in), size_[k] - 2);
    within[k] = in - cell[k];
  }
  out.first = index(cell[0], cell[1], cell[2]);
  out.x = within[0], out.y = within[1], out.z = within[2];
  out.outside = 0;
  if (const double squared = dot(over, over); squared > 0) {
    out.outside = std::sqrt(squared);
    out.away = over / out.outside;
  }
  return out;
}

DistanceSample DistanceGrid::sample(const Vec3d& point) const {
  if (values_.empty()) return {1e9, {}};
  const Place p = place(point);
  const float* v = values_.data() + p.first;
  const std::size_t up = static_cast<std::size_t>(size_[0]), deep = up * static_cast<std::size_t>(size_[1]);
  const double ax = v[1] - v[0], bx = v[up + 1] - v[up], cx = v[deep + 1] - v[deep], dx = v[deep + up + 1] - v[deep + up];
  const double a = v[0] + ax * p.x, b = v[up] + bx * p.x, c = v[deep] + cx * p.x, d = v[deep + up] + dx * p.x;
  const double ey = b - a, fy = d - c, e = a + ey * p.y, f = c + fy * p.y;
  const double gx0 = ax + (bx - ax) * p.y, gx1 = cx + (dx - cx) * p.y;
  const Vec3d gradient{gx0 + (gx1 - gx0) * p.z, ey + (fy - ey) * p.z, f - e};
  return {e + (f - e) * p.z + p.outside, p.outside > 0 ? p.away : gradient * perCell_};
}

}  // namespace understudy
