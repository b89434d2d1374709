#include "core/body/body_model.h"

#include <algorithm>
#include <bit>
#include <cmath>

namespace understudy {
namespace {

Affined turnOf(const JointFrames& reference, const JointFrames& now, int joint) {
  const auto j = static_cast<std::size_t>(joint);
  const Quatd q = now.rotation[j] * conjugate(reference.rotation[j]);
  return {toMatrix(q), now.position[j] - rotate(q, reference.position[j])};
}

}  // namespace

void BodySolid::findCellJoints() {
  cellJoints.clear();
  if (weights.empty()) return;
  const std::size_t n = joints.size(), nx = static_cast<std::size_t>(weightSize[0]), ny = static_cast<std::size_t>(weightSize[1]), nz = static_cast<std::size_t>(weightSize[2]);
  std::vector<std::uint16_t> own(nx * ny * nz, 0);
  for (std::size_t i = 0; i < weights.size(); ++i)
    if (weights[i] != 0) own[i / n] = static_cast<std::uint16_t>(own[i / n] | 1U << (i % n));
  cellJoints.assign(own.size(), 0);
  for (std::size_t z = 0; z + 1 < nz; ++z)
    for (std::size_t y = 0; y + 1 < ny; ++y)
      for (std::size_t x = 0; x + 1 < nx; ++x) {
        unsigned all = 0;
        for (unsigned k = 0; k < 8; ++k) all |= own[((z + (k >> 2)) * ny + y + (k >> 1 & 1)) * nx + x + (k & 1)];
        cellJoints[(z * ny + y) * nx + x] = static_cast<std::uint16_t>(all);
      }
}

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
  const std::size_t first = static_cast<std::size_t>(w - s.weights.data()) / n;
  for (unsigned left = s.cellJoints[first]; left != 0; left &= left - 1) {
    const auto j = static_cast<std::size_t>(std::countr_zero(left));
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

std::vector<Affined> turnedFrames(const JointFrames& reference, const JointFrames& now) {
  std::vector<Affined> out(reference.rotation.size());
  for (std::size_t j = 0; j < out.size(); ++j) out[j] = turnOf(reference, now, static_cast<int>(j));
  return out;
}

}  // namespace understudy
