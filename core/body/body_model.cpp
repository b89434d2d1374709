#include "core/body/body_model.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>

namespace understudy {
namespace {

// Numbers that are worked out side by side, each as it would be alone.
using FourFloats [[gnu::vector_size(16)]] = float;
using TwoDoubles [[gnu::vector_size(16)]] = double;
static_assert(sizeof(Affined) == 6 * sizeof(TwoDoubles));

/// The k-th lanes of what lies in memory one after the other.
template <class Lanes>
Lanes lanesAt(const void* from, std::size_t k) {
  Lanes out;
  std::memcpy(&out, static_cast<const char*>(from) + k * sizeof out, sizeof out);
  return out;
}

Affined turnOf(const JointFrames& reference, const JointFrames& now, int joint) {
  const auto j = static_cast<std::size_t>(joint);
  const Quatd q = now.rotation[j] * conjugate(reference.rotation[j]);
  return {toMatrix(q), now.position[j] - rotate(q, reference.position[j])};
}

}  // namespace

void BodySolid::findCells() {
  cells.clear();
  cellBlocks.clear();
  if (weights.empty()) return;
  const std::size_t n = joints.size(), nx = static_cast<std::size_t>(weightSize[0]), ny = static_cast<std::size_t>(weightSize[1]), nz = static_cast<std::size_t>(weightSize[2]);
  cells.resize(nx * ny * nz);
  std::vector<std::uint8_t> joint;
  std::vector<std::array<float, 8>> shares;
  for (std::size_t node = 0; node < cells.size(); ++node) {
    const std::size_t x = node % nx, y = node / nx % ny, z = node / (nx * ny);
    if (x + 1 == nx || y + 1 == ny || z + 1 == nz) continue;
    joint.clear();
    shares.clear();
    for (std::size_t j = 0; j < n; ++j) {
      std::array<float, 8> share;
      for (std::size_t k = 0; k < 8; ++k) share[k] = weights[(node + (k & 1) + nx * ((k >> 1 & 1) + ny * (k >> 2))) * n + j];
      if (std::all_of(share.begin(), share.end(), [](float w) { return w == 0; })) continue;
      joint.push_back(static_cast<std::uint8_t>(j));
      shares.push_back(share);
    }
    Cell& cell = cells[node];
    cell.count = static_cast<std::uint8_t>(joint.size());
    if (joint.size() == 1) {
      cell.only = joint.front();
      continue;
    }
    cell.firstBlock = static_cast<std::uint32_t>(cellBlocks.size());
    for (std::size_t e = 0; e < joint.size(); ++e) {
      if (e % 4 == 0) cellBlocks.emplace_back();
      CellBlock& block = cellBlocks.back();
      block.joint[e % 4] = joint[e];
      for (std::size_t k = 0; k < 8; ++k) block.share[k][e % 4] = shares[e][k];
    }
  }
}

void PosedSolid::pose(std::span<const Affined> turned) {
  const BodySolid& solid = *solid_;
  weightsPerMetre_ = 1 / solid.weightCell;
  for (std::size_t k = 0; k < solid.joints.size(); ++k) {
    turned_[k] = turned[static_cast<std::size_t>(solid.joints[k])];
    // Turned frames are rigid.
    back_[k].linear = transposed(turned_[k].linear);
    back_[k].translation = -(back_[k].linear * turned_[k].translation);
  }
  bounded_ = false;
}

void PosedSolid::bound() const {
  const BodySolid& solid = *solid_;
  bounded_ = true;
  if (solid.joints.empty()) return;
  middle_ = apply(turned_[0], solid.middle);
  // Bending moves parts of the ball elsewhere.
  radius_ = solid.radius;
  for (std::size_t k = 1; k < solid.joints.size(); ++k) radius_ = std::max(radius_, solid.radius + length(middle_ - apply(turned_[k], solid.middle)));
  // What several joints carry lies in the hull of what each would make of it alone.
  const Vec3d pad = Vec3d{1, 1, 1} * (gridPad * solid.grid.cell()), low = solid.grid.low() + pad, high = solid.grid.high() - pad, half = (high - low) * 0.5, middle = (low + high) * 0.5;
  Vec3d least = low, most = high;
  for (std::size_t k = 1; k < solid.joints.size(); ++k) {
    const Affined m = back_[0] * turned_[k];
    const Vec3d at = apply(m, middle);
    for (int i = 0; i < 3; ++i) {
      const double reach = std::abs(m.linear.cx[i]) * half.x + std::abs(m.linear.cy[i]) * half.y + std::abs(m.linear.cz[i]) * half.z;
      least[i] = std::min(least[i], at[i] - reach);
      most[i] = std::max(most[i], at[i] + reach);
    }
  }
  boxMiddle_ = (least + most) * 0.5;
  boxHalf_ = (most - least) * 0.5;
}

double PosedSolid::atLeastOfBox(const Vec3d& world) const {
  if (!bounded_) bound();
  const Vec3d at = apply(back_[0], world) - boxMiddle_;
  Vec3d out;
  for (int i = 0; i < 3; ++i) out[i] = std::max(0.0, std::abs(at[i]) - boxHalf_[i]);
  // Shares too small to count are left out, and the rest is not quite the whole.
  return length(out) - 1e-4 * static_cast<double>(solid_->joints.size()) * (length(world) + 1);
}

bool PosedSolid::clearOfHull(std::span<const Vec3d> middles, double radius, double near) const {
  if (middles.empty()) return true;
  if (!bounded_) bound();
  constexpr double rounding = 1e-9;
  // Beyond a plane across the way to their mean.
  Vec3d mean;
  for (const Vec3d& m : middles) mean += m / static_cast<double>(middles.size());
  const Vec3d way = normalised(mean - middle_, Vec3d{0, 1, 0});
  double least = 1e300;
  for (const Vec3d& m : middles) least = std::min(least, dot(m - middle_, way));
  if (least - radius - radius_ > near + rounding) return true;
  // Beyond sides of the box.
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  double farthest = 0;
  for (const Vec3d& m : middles) {
    const Vec3d at = apply(back_[0], m) - boxMiddle_;
    for (int i = 0; i < 3; ++i) low[i] = std::min(low[i], at[i]), high[i] = std::max(high[i], at[i]);
    farthest = std::max(farthest, length(m));
  }
  Vec3d out;
  for (int i = 0; i < 3; ++i) out[i] = std::max({0.0, low[i] - radius - boxHalf_[i], -high[i] - radius - boxHalf_[i]});
  return length(out) - 1e-4 * static_cast<double>(solid_->joints.size()) * (farthest + radius + 1) > near + rounding;
}

int PosedSolid::blend(const Vec3d& at, Affined& out) const {
  const BodySolid& s = *solid_;
  const Vec3d& low = s.grid.low();
  const auto [nx, ny, nz] = s.weightSize;
  double x = (at.x - low.x) * weightsPerMetre_, y = (at.y - low.y) * weightsPerMetre_, z = (at.z - low.z) * weightsPerMetre_;
  if (!(x >= 0 && y >= 0 && z >= 0 && x < nx - 1 && y < ny - 1 && z < nz - 1)) {
    x = std::clamp(x, 0.0, nx - 1.0);
    y = std::clamp(y, 0.0, ny - 1.0);
    z = std::clamp(z, 0.0, nz - 1.0);
  }
  const int cx = std::min(static_cast<int>(x), nx - 2), cy = std::min(static_cast<int>(y), ny - 2), cz = std::min(static_cast<int>(z), nz - 2);
  const std::size_t node = (static_cast<std::size_t>(cz) * static_cast<std::size_t>(ny) + static_cast<std::size_t>(cy)) * static_cast<std::size_t>(nx) + static_cast<std::size_t>(cx);
  const BodySolid::Cell cell = s.cells[node];
  if (cell.count == 1) return cell.only;
  const float x1 = static_cast<float>(x - cx), x0 = 1 - x1, y1 = static_cast<float>(y - cy), y0 = 1 - y1, z1 = static_cast<float>(z - cz), z0 = 1 - z1;
  const FourFloats corners{x0 * y0, x1 * y0, x0 * y1, x1 * y1}, lower = corners * z0, upper = corners * z1;
  std::array<TwoDoubles, 6> sum{};
  const BodySolid::CellBlock* block = &s.cellBlocks[cell.firstBlock];
  for (int left = cell.count; left > 0; left -= 4, ++block) {
    // The shares of four joints at once.
    const auto lane = [&](std::size_t k) { return lanesAt<FourFloats>(block->share.data(), k) * lower[k] + lanesAt<FourFloats>(block->share.data(), k + 4) * upper[k]; };
    const FourFloats shares = (lane(0) + lane(1)) + (lane(2) + lane(3));
    for (int e = 0; e < std::min(left, 4); ++e) {
      const auto share = static_cast<double>(shares[e]);
      if (share < 1e-4) continue;
      const Affined& turned = turned_[block->joint[static_cast<std::size_t>(e)]];
      for (std::size_t k = 0; k < 6; ++k) sum[k] += lanesAt<TwoDoubles>(&turned, k) * share;
    }
  }
  out = std::bit_cast<Affined>(sum);
  return -1;
}

PosedSolid::Nearby PosedSolid::place(const Vec3d& world) const {
  Nearby near{back_[0]};
  if (solid_->weights.empty()) return near;
  for (int pass = 0; pass < 2; ++pass) {
    Affined blended;
    const int only = blend(understudy::apply(near.back, world), blended);
    if (pass == 0 && only == 0) break;  // as it was assumed: a second look says the same
    near.back = only >= 0 ? back_[static_cast<std::size_t>(only)] : inverse(blended);
  }
  return near;
}

DistanceSample PosedSolid::sample(const Vec3d& world, const Nearby& near, const DistanceGrid& grid) const {
  Vec3d at = apply(near.back, world);
  Affined blended;
  const int only = solid_->weights.empty() ? 0 : blend(at, blended);
  if (only >= 0) {
    const auto j = static_cast<std::size_t>(only);
    if (!solid_->weights.empty()) at = apply(back_[j], world);
    DistanceSample out = grid.sample(at);
    out.gradient = turned_[j].linear * out.gradient;
    return out;
  }
  at = inverse(blended.linear) * (world - blended.translation);
  DistanceSample out = grid.sample(at);
  out.gradient = blended.linear * out.gradient;
  return out;
}

double PosedSolid::distance(const Vec3d& world, const Nearby& near) const {
  const Vec3d at = apply(near.back, world);
  if (solid_->weights.empty()) return solid_->grid.at(at);
  Affined blended;
  const int only = blend(at, blended);
  if (only >= 0) return solid_->grid.at(apply(back_[static_cast<std::size_t>(only)], world));
  return solid_->grid.at(inverse(blended.linear) * (world - blended.translation));
}

DistanceSample PosedSolid::wayOut(const Vec3d& world, const Nearby& near, double wanted, double most, const Vec3d& lean) const {
  const DistanceGrid& grid = solid_->grid;
  const Vec3d at = apply(near.back, world);
  // Shorter near the middle line, so that it does not turn about at once there.
  const Vec3d aside{at.x - solid_->middle.x, 0, at.z - solid_->middle.z};
  const double soft = lean == Vec3d{} ? 0 : 0.1 * solid_->radius;
  const Vec3d way = normalised(aside / std::max(std::sqrt(dot(aside, aside) + soft * soft), 1e-9) + lean, Vec3d{0, 0, 1});
  // No nearer along the way than the distance says, so it can be walked in those steps.
  double left = wanted - grid.at(at), walked = 0;
  const double longest = most * left;
  while (left > 0 && walked < longest) {
    walked += std::max(left, 0.25 * grid.cell());
    left = wanted - grid.at(at + way * walked);
  }
  const Mat3d& back = near.back.linear;
  return {wanted - std::min(walked + left, longest), {dot(back.cx, way), dot(back.cy, way), dot(back.cz, way)}};
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
