#include "core/body/body_model.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <mutex>

namespace understudy {
namespace {

constexpr int mostJoints = 12;
constexpr int weightBlock = 4;

Affined turnOf(const JointFrames& reference, const JointFrames& now, int joint) {
  const auto j = static_cast<std::size_t>(joint);
  const Quatd q = now.rotation[j] * conjugate(reference.rotation[j]);
  return {toMatrix(q), now.position[j] - rotate(q, reference.position[j])};
}

BodySolid makeSolid(const BodySurface& surface, BodyPart part, double cell, double& error) {
  BodySolid out;
  out.part = part;
  const PartMesh mesh = partMesh(surface, part);
  if (mesh.empty()) return out;
  std::vector<Vec3d> own;
  for (const int v : mesh.vertices) own.push_back(surface.positions[static_cast<std::size_t>(v)]);
  const std::size_t real = own.size();
  const TriangleTree tree(mesh.withRims(std::move(own)), mesh.indices);
  out.grid = DistanceGrid(tree, cell, 4 * cell, 2 * cell);

  // A ball around it.
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  for (const std::uint32_t i : mesh.indices)
    for (int k = 0; k < 3; ++k) {
      low[k] = std::min(low[k], tree.positions()[i][k]);
      high[k] = std::max(high[k], tree.positions()[i][k]);
    }
  out.middle = (low + high) * 0.5;
  // Arms come out in front and at the sides of torso and head: away from a line, or a point, near the back.
  const bool torso = part == BodyPart::torso, head = part == BodyPart::head;
  const Vec3d back = out.middle - Vec3d{0, 0, (torso ? 0.3 : head ? 0.8 : 0.0) * (high.z - out.middle.z)};
  out.guide = torso || head ? out.grid.guide(back, torso ? Vec3d{0, 1, 0} : Vec3d{}, 4) : out.grid;
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
    std::size_t node = 0;
    for (int z = 0; z < nz; ++z)
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

  // How far the grid is off where it matters: next to the surface, a fixed pattern of points.
  std::vector<double> off;
  const std::size_t step = std::max<std::size_t>(1, mesh.indices.size() / 3 / 400);
  for (std::size_t t = 0; t < mesh.indices.size() / 3; t += step) {
    const Vec3d &a = tree.positions()[mesh.indices[3 * t]], &b = tree.positions()[mesh.indices[3 * t + 1]], &c = tree.positions()[mesh.indices[3 * t + 2]];
    const Vec3d middle = (a + b + c) / 3.0, normal = normalised(cross(b - a, c - a));
    if (tree.inside(middle + normal * (0.01 * cell))) continue;  // within another piece
    for (const double d : {0.5, -0.5}) {
      const Vec3d p = middle + normal * (d * cell);
      const double exact = tree.nearest(p).distance * (tree.inside(p) ? -1 : 1);
      off.push_back(std::abs(out.grid.at(p) - exact));
    }
  }
  std::sort(off.begin(), off.end());
  if (!off.empty()) error = std::max(error, off[off.size() * 95 / 100]);
  return out;
}

ArmPoints makeArm(const BodySurface& surface, int side, const JointFrames& reference, const SkeletonMap& map, const std::vector<BodySolid>& solids,
                  double spacing, double scale, int most) {
  const BodyPart upper = side == 0 ? BodyPart::leftUpperArm : BodyPart::rightUpperArm, fore = side == 0 ? BodyPart::leftForearm : BodyPart::rightForearm,
                 hand = side == 0 ? BodyPart::leftHand : BodyPart::rightHand;
  const int shoulder = map.joint(side == 0 ? Role::leftUpperArm : Role::rightUpperArm), elbow = map.joint(side == 0 ? Role::leftLowerArm : Role::rightLowerArm);
  ArmPoints out;
  if (shoulder < 0 || elbow < 0) return out;
  std::vector<int> all;
  std::vector<char> used(surface.positions.size(), 0);
  for (const std::uint32_t i : surface.indices) used[i] = 1;
  for (int v = 0; v < surface.vertices(); ++v) {
    const BodyPart p = surface.parts[static_cast<std::size_t>(v)];
    if (used[static_cast<std::size_t>(v)] && (p == upper || p == fore || p == hand)) all.push_back(v);
  }
  if (all.empty()) return out;
  // Each next point is the one furthest from those chosen.
  std::vector<double> away(all.size(), 1e300);
  std::vector<int> chosen;
  const Vec3d from = reference.position[static_cast<std::size_t>(shoulder)];
  std::size_t next = 0;
  double far = -1;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double d = distance(from, surface.positions[static_cast<std::size_t>(all[i])]);
    if (d > far) far = d, next = i;
  }
  while (static_cast<int>(chosen.size()) < most) {
    chosen.push_back(all[next]);
    const Vec3d at = surface.positions[static_cast<std::size_t>(all[next])];
    far = 0;
    for (std::size_t i = 0; i < all.size(); ++i) {
      away[i] = std::min(away[i], distance(at, surface.positions[static_cast<std::size_t>(all[i])]));
      if (away[i] > far) far = away[i], next = i;
    }
    if (far < spacing) break;
  }
  // Neighbours together: by part, then along the arm.
  const Vec3d along = normalised(reference.position[static_cast<std::size_t>(elbow)] - from);
  const auto key = [&](int v) {
    const BodyPart p = surface.parts[static_cast<std::size_t>(v)];
    return std::pair{static_cast<int>(p), dot(surface.positions[static_cast<std::size_t>(v)] - from, along)};
  };
  std::stable_sort(chosen.begin(), chosen.end(), [&](int a, int b) { return key(a) < key(b); });
  const double upperLength = distance(from, reference.position[static_cast<std::size_t>(elbow)]);
  for (const int v : chosen) {
    ArmPoint p;
    p.reference = surface.positions[static_cast<std::size_t>(v)];
    p.part = surface.parts[static_cast<std::size_t>(v)];
    p.vertex = v;
    for (const BodySolid& solid : solids) p.allowed = std::max(p.allowed, -solid.grid.at(p.reference));
    if (p.allowed > 0) p.allowed += 0.002 * scale;
    // The upper arm grows out of the body: only its half next to the elbow can be kept out.
    if (p.part == upper && dot(p.reference - from, along) < 0.48 * upperLength) continue;
    p.first = static_cast<std::uint32_t>(out.joint.size());
    for (std::uint32_t k = surface.influenceStart[static_cast<std::size_t>(v)]; k < surface.influenceStart[static_cast<std::size_t>(v) + 1]; ++k) {
      out.joint.push_back(surface.influenceJoint[k]);
      out.weight.push_back(surface.influenceWeight[k]);
    }
    p.count = static_cast<std::uint32_t>(out.joint.size()) - p.first;
    out.points.push_back(p);
  }
  for (int i = 0; i < static_cast<int>(out.points.size());) {
    ArmPoints::Cluster c{i, 0};
    while (i < static_cast<int>(out.points.size()) && c.count < 16 && out.points[static_cast<std::size_t>(i)].part == out.points[static_cast<std::size_t>(c.first)].part) ++i, ++c.count;
    out.clusters.push_back(c);
  }
  return out;
}

std::uint64_t mixed(std::uint64_t seed, const void* data, std::size_t bytes) {
  // FNV-1a, eight bytes at a time.
  const auto* p = static_cast<const unsigned char*>(data);
  std::uint64_t h = seed;
  while (bytes >= 8) {
    std::uint64_t word;
    std::memcpy(&word, p, 8);
    h = (h ^ word) * 1099511628211ull;
    h ^= h >> 29;
    p += 8, bytes -= 8;
  }
  for (; bytes > 0; ++p, --bytes) h = (h ^ *p) * 1099511628211ull;
  return h;
}

template <class T>
std::uint64_t mixed(std::uint64_t seed, const std::vector<T>& v) {
  return mixed(mixed(seed, v.data(), v.size() * sizeof(T)), &seed, 0) ^ v.size();
}

}  // namespace

PosedSolid::PosedSolid(const BodySolid& solid, std::span<const Affined> turned) : solid_(&solid) {
  for (std::size_t k = 0; k < solid.joints.size(); ++k) turned_[k] = turned[static_cast<std::size_t>(solid.joints[k])];
  if (solid.joints.empty()) return;
  back_ = inverse(turned_[0]);
  middle_ = apply(turned_[0], solid.middle);
  // Bending moves parts of the ball elsewhere.
  radius_ = solid.radius;
  for (std::size_t k = 1; k < solid.joints.size(); ++k) radius_ = std::max(radius_, solid.radius + distance(middle_, apply(turned_[k], solid.middle)));
}

Affined PosedSolid::blend(const Vec3d& at) const {
  const BodySolid& s = *solid_;
  const std::size_t n = s.joints.size();
  const double perCell = 1 / s.weightCell;
  double within[3];
  int cell[3];
  for (int k = 0; k < 3; ++k) {
    const int top = s.weightSize[static_cast<std::size_t>(k)] - 1;
    const double v = std::clamp((at[k] - s.grid.low()[k]) * perCell, 0.0, static_cast<double>(top));
    cell[k] = std::min(static_cast<int>(v), top - 1);
    within[k] = v - cell[k];
  }
  const std::size_t up = static_cast<std::size_t>(s.weightSize[0]), deep = up * static_cast<std::size_t>(s.weightSize[1]);
  const float* w = &s.weights[(static_cast<std::size_t>(cell[2]) * deep + static_cast<std::size_t>(cell[1]) * up + static_cast<std::size_t>(cell[0])) * n];
  const double x1 = within[0], x0 = 1 - x1, y1 = within[1], y0 = 1 - y1, z1 = within[2], z0 = 1 - z1;
  const double c[8] = {x0 * y0 * z0, x1 * y0 * z0, x0 * y1 * z0, x1 * y1 * z0, x0 * y0 * z1, x1 * y0 * z1, x0 * y1 * z1, x1 * y1 * z1};
  const float* node[8] = {w, w + n, w + up * n, w + (up + 1) * n, w + deep * n, w + (deep + 1) * n, w + (deep + up) * n, w + (deep + up + 1) * n};
  Affined out{{{}, {}, {}}, {}};
  for (std::size_t j = 0; j < n; ++j) {
    double share = 0;
    for (int k = 0; k < 8; ++k) share += c[k] * static_cast<double>(node[k][j]);
    if (share < 1e-4) continue;
    const Affined& t = turned_[j];
    out.linear.cx += t.linear.cx * share;
    out.linear.cy += t.linear.cy * share;
    out.linear.cz += t.linear.cz * share;
    out.translation += t.translation * share;
  }
  return out;
}

PosedSolid::Nearby PosedSolid::place(const Vec3d& world) const {
  if (solid_->weights.empty()) return {back_};
  Affined back = back_;
  for (int pass = 0; pass < 2; ++pass) back = inverse(blend(understudy::apply(back, world)));
  return {back};
}

DistanceSample PosedSolid::sample(const Vec3d& world, const Nearby& near, const DistanceGrid& grid) const {
  const BodySolid& s = *solid_;
  Vec3d at = apply(near.back, world);
  if (s.weights.empty()) {
    DistanceSample out = grid.sample(at);
    out.gradient = turned_[0].linear * out.gradient;
    return out;
  }
  const Affined blended = blend(at);
  at = inverse(blended.linear) * (world - blended.translation);
  DistanceSample out = grid.sample(at);
  out.gradient = blended.linear * out.gradient;
  return out;
}

DistanceSample PosedSolid::sample(const Vec3d& world) const { return sample(world, place(world)); }

const BodySolid* BodyModel::solid(BodyPart part) const {
  for (const BodySolid& s : solids)
    if (s.part == part) return &s;
  return nullptr;
}

std::shared_ptr<const BodyModel> bodyModel(BodySurface surface, const JointFrames& reference, const SkeletonMap& map, const Skeleton& skeleton, double height,
                                           const BodyModelSettings& settings) {
  std::uint64_t key = mixed(1469598103934665603ull, surface.positions);
  key = mixed(key, surface.parts);
  key = mixed(key, surface.influenceStart);
  key = mixed(key, surface.influenceJoint);
  key = mixed(key, surface.influenceWeight);
  key = mixed(key, surface.indices);
  key = mixed(key, skeleton.parents);
  for (const double v : {height, settings.cell, settings.spacing, static_cast<double>(settings.mostPoints)}) key = mixed(key, &v, sizeof v);
  for (const Quatd& q : reference.rotation) key = mixed(key, &q, sizeof q);
  for (const Vec3d& p : reference.position) key = mixed(key, &p, sizeof p);
  for (const RoleJoints& r : map.roles) key = mixed(key, r.joints);

  static std::mutex guard;
  static std::vector<std::pair<std::uint64_t, std::shared_ptr<const BodyModel>>> kept;
  const std::lock_guard lock(guard);
  for (const auto& [k, model] : kept)
    if (k == key) return model;

  auto model = std::make_shared<BodyModel>();
  model->surface = std::move(surface);
  model->rotation.assign(reference.rotation.begin(), reference.rotation.end());
  model->position.assign(reference.position.begin(), reference.position.end());
  model->height = height;
  const double scale = height / 1.7;
  for (const BodyPart part : {BodyPart::torso, BodyPart::head, BodyPart::leftThigh, BodyPart::rightThigh}) {
    BodySolid solid = makeSolid(model->surface, part, settings.cell * scale, model->gridError);
    if (!solid.grid.empty() && !solid.joints.empty()) model->solids.push_back(std::move(solid));
  }
  for (int side = 0; side < 2; ++side)
    model->arms[static_cast<std::size_t>(side)] =
        makeArm(model->surface, side, model->reference(), map, model->solids, settings.spacing * scale, scale, settings.mostPoints);
  constexpr std::size_t most = 6;
  if (kept.size() >= most) kept.erase(kept.begin());
  kept.emplace_back(key, model);
  return model;
}

std::vector<Affined> turnedFrames(const JointFrames& reference, const JointFrames& now) {
  std::vector<Affined> out(reference.rotation.size());
  for (std::size_t j = 0; j < out.size(); ++j) out[j] = turnOf(reference, now, static_cast<int>(j));
  return out;
}

}  // namespace understudy
