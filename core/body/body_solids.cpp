#include "core/body/body_solids.h"

#include <algorithm>
#include <cmath>

#include "core/base/parallel.h"

namespace understudy {
namespace {

constexpr int mostJoints = 12;
constexpr int weightBlock = 4;

/// `error` null: neither that nor a guide is worked out.
BodySolid solidOf(const BodySurface& surface, BodyPart part, const PartMesh& mesh, double cell, double* error, int threads) {
  BodySolid out;
  out.part = part;
  if (mesh.empty()) return out;
  std::vector<Vec3d> own;
  for (const int v : mesh.vertices) own.push_back(surface.positions[static_cast<std::size_t>(v)]);
  const std::size_t real = own.size();
  const TriangleTree tree(mesh.withRims(std::move(own)), mesh.indices);
  out.grid = DistanceGrid(tree, cell, gridPad * cell, 2 * cell, threads);

  // A ball around it.
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  for (const std::uint32_t i : mesh.indices)
    for (int k = 0; k < 3; ++k) {
      low[k] = std::min(low[k], tree.positions()[i][k]);
      high[k] = std::max(high[k], tree.positions()[i][k]);
    }
  out.middle = (low + high) * 0.5;
  if (error) {
    // Arms come out in front and at the sides of torso and head: away from a line, or a point, near the back.
    const bool torso = part == BodyPart::torso, head = part == BodyPart::head;
    const Vec3d back = out.middle - Vec3d{0, 0, (torso ? 0.3 : head ? 0.8 : 0.0) * (high.z - out.middle.z)};
    out.guide = torso || head ? out.grid.guide(back, torso ? Vec3d{0, 1, 0} : Vec3d{}, 4) : out.grid;
  }
  for (const std::uint32_t i : mesh.indices) out.radius = std::max(out.radius, distance(out.middle, tree.positions()[i]));

  // Joints of the part that move its skin, by weight.
  std::vector<double> share(surface.jointParts.size(), 0);
  for (const int vertex : mesh.vertices) {
    const auto v = static_cast<std::size_t>(vertex);
    for (std::uint32_t k = surface.influenceStart[v]; k < surface.influenceStart[v + 1]; ++k) {
      const auto j = static_cast<std::size_t>(surface.influenceJoint[k]);
      share[j] += static_cast<double>(surface.influenceWeight[k]);
    }
  }
  for (std::size_t j = 0; j < share.size(); ++j)
    if (share[j] > 1e-3 * static_cast<double>(real)) out.joints.push_back(static_cast<int>(j));
  std::stable_sort(out.joints.begin(), out.joints.end(), [&](int a, int b) { return share[static_cast<std::size_t>(a)] > share[static_cast<std::size_t>(b)]; });
  if (out.joints.size() > mostJoints) out.joints.resize(mostJoints);

  if (out.joints.size() > 1) {
    const std::size_t n = out.joints.size();
    std::vector<int> place(surface.jointParts.size(), -1);
    for (std::size_t k = 0; k < n; ++k) place[static_cast<std::size_t>(out.joints[k])] = static_cast<int>(k);
    // Shares of the mesh's vertices; fans take those of their rim.
    std::vector<float> shares((real + mesh.rims.size()) * n, 0.0f);
    for (std::size_t i = 0; i < real; ++i) {
      const auto v = static_cast<std::size_t>(mesh.vertices[i]);
      for (std::uint32_t k = surface.influenceStart[v]; k < surface.influenceStart[v + 1]; ++k) {
        const int at = place[static_cast<std::size_t>(surface.influenceJoint[k])];
        if (at >= 0) shares[i * n + static_cast<std::size_t>(at)] += surface.influenceWeight[k];
      }
    }
    for (std::size_t r = 0; r < mesh.rims.size(); ++r)
      for (const int v : mesh.rims[r])
        for (std::size_t k = 0; k < n; ++k)
          shares[(real + r) * n + k] += shares[static_cast<std::size_t>(v) * n + k] / static_cast<float>(mesh.rims[r].size());
    out.weightCell = cell * weightBlock;
    const Vec3d size = out.grid.high() - out.grid.low();
    for (int k = 0; k < 3; ++k) out.weightSize[static_cast<std::size_t>(k)] = static_cast<int>(std::lround(size[k] / out.weightCell)) + 1;
    const int nx = out.weightSize[0], ny = out.weightSize[1], nz = out.weightSize[2];
    out.weights.assign(static_cast<std::size_t>(nx) * static_cast<std::size_t>(ny) * static_cast<std::size_t>(nz) * n, 0.0f);
    parallelFor(nz, [&](int z) {
      std::size_t node = static_cast<std::size_t>(z) * static_cast<std::size_t>(ny) * static_cast<std::size_t>(nx);
      for (int y = 0; y < ny; ++y)
        for (int x = 0; x < nx; ++x, ++node) {
          const TriangleTree::Nearest near = tree.nearest(out.grid.low() + Vec3d{x * out.weightCell, y * out.weightCell, z * out.weightCell});
          const std::uint32_t* c = &tree.indices()[static_cast<std::size_t>(3 * near.triangle)];
          double total = 0, corner[3];
          for (int k = 0; k < 3; ++k) total += corner[k] = 1 / (1e-9 + distance(near.point, tree.positions()[c[k]]));
          float* w = &out.weights[node * n];
          for (int k = 0; k < 3; ++k)
            for (std::size_t j = 0; j < n; ++j) w[j] += shares[c[k] * n + j] * static_cast<float>(corner[k] / total);
        }
    }, threads);
    // The nearest place of the surface jumps across the middle of the body: even that out.
    const auto index = [&](int x, int y, int z) { return (static_cast<std::size_t>(z) * static_cast<std::size_t>(ny) + static_cast<std::size_t>(y)) * static_cast<std::size_t>(nx) + static_cast<std::size_t>(x); };
    std::vector<float> other(out.weights.size());
    for (int pass = 0; pass < 2; ++pass) {
      for (int z = 0; z < nz; ++z)
        for (int y = 0; y < ny; ++y)
          for (int x = 0; x < nx; ++x)
            for (std::size_t j = 0; j < n; ++j) {
              const auto at = [&](int dx, int dy, int dz) {
                return out.weights[index(std::clamp(x + dx, 0, nx - 1), std::clamp(y + dy, 0, ny - 1), std::clamp(z + dz, 0, nz - 1)) * n + j];
              };
              other[index(x, y, z) * n + j] = (2 * at(0, 0, 0) + at(1, 0, 0) + at(-1, 0, 0) + at(0, 1, 0) + at(0, -1, 0) + at(0, 0, 1) + at(0, 0, -1)) / 8;
            }
      std::swap(out.weights, other);
    }
    for (std::size_t i = 0; i < out.weights.size(); i += n) {
      float sum = 0;
      for (std::size_t j = 0; j < n; ++j) sum += out.weights[i + j];
      if (sum > 1e-6f) for (std::size_t j = 0; j < n; ++j) out.weights[i + j] /= sum;
      else out.weights[i] = 1;
    }
  }

  out.findCells();
  if (!error) return out;

  // How far the grid is off where it matters: next to the surface, a fixed pattern of points.
  const std::size_t step = std::max<std::size_t>(1, mesh.indices.size() / 3 / 400);
  const std::size_t asked = (mesh.indices.size() / 3 + step - 1) / step;
  std::vector<double> measured(2 * asked, -1);
  parallelFor(static_cast<int>(asked), [&](int i) {
    const std::size_t t = static_cast<std::size_t>(i) * step;
    const Vec3d &a = tree.positions()[mesh.indices[3 * t]], &b = tree.positions()[mesh.indices[3 * t + 1]], &c = tree.positions()[mesh.indices[3 * t + 2]];
    const Vec3d middle = (a + b + c) / 3.0, normal = normalised(cross(b - a, c - a));
    if (tree.inside(middle + normal * (0.01 * cell))) return;  // within another piece
    for (int k = 0; k < 2; ++k) {
      const Vec3d p = middle + normal * ((k == 0 ? 0.5 : -0.5) * cell);
      const double exact = tree.nearest(p).distance * (tree.inside(p) ? -1 : 1);
      measured[2 * static_cast<std::size_t>(i) + static_cast<std::size_t>(k)] = std::abs(out.grid.at(p) - exact);
    }
  });
  std::erase_if(measured, [](double d) { return d < 0; });
  std::sort(measured.begin(), measured.end());
  if (!measured.empty()) *error = std::max(*error, measured[measured.size() * 95 / 100]);
  return out;
}

}  // namespace

BodySolid bendingSolid(const BodySurface& surface, BodyPart part, double cell, double& error) { return solidOf(surface, part, partMesh(surface, part), cell, &error, 0); }

BodySolid joinedSolid(const BodySurface& surface, BodyPart part, std::span<const BodyPart> with, bool seam, double cell, int threads) {
  return solidOf(surface, part, partMesh(surface, part, with, seam), cell, nullptr, threads);
}

}  // namespace understudy
