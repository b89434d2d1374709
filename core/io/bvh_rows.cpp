#include "core/io/bvh_rows.h"

#include <bit>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

/// Sines and cosines of half of every angle (degrees) of a row. Each angle is brought to within ±90° of a multiple of
/// 180° in double (exactly, for any angle a file holds), then Taylor polynomials on |x| ≤ π/4 err by less than 1e-9.
void halfAngles(const double* degrees, float* sines, float* cosines, std::size_t count) {
  constexpr double toNearest = 6755399441055744.0;  // 1.5 · 2^52: adding it rounds to a whole number in the low bits
  constexpr double halfRadians = std::numbers::pi / 360;
  for (std::size_t i = 0; i < count; ++i) {
    const double shifted = degrees[i] * (1.0 / 180) + toNearest;
    const std::uint64_t turns = std::bit_cast<std::uint64_t>(shifted);
    const double x = (degrees[i] - (shifted - toNearest) * 180) * halfRadians;
    const double z = x * x;
    const double s = x * (1 + z * (-1.0 / 6 + z * (1.0 / 120 + z * (-1.0 / 5040 + z * (1.0 / 362880)))));
    const double c = 1 + z * (-1.0 / 2 + z * (1.0 / 24 + z * (-1.0 / 720 + z * (1.0 / 40320 + z * (-1.0 / 3628800)))));
    // Quarter turns of the half angle: swap and change signs.
    const std::uint64_t odd = 0 - (turns & 1);
    const std::uint64_t sb = std::bit_cast<std::uint64_t>(s), cb = std::bit_cast<std::uint64_t>(c);
    const std::uint64_t sine = ((sb & ~odd) | (cb & odd)) ^ ((turns & 2) << 62);
    const std::uint64_t cosine = ((cb & ~odd) | (sb & odd)) ^ (((turns + 1) & 2) << 62);
    sines[i] = static_cast<float>(std::bit_cast<double>(sine));
    cosines[i] = static_cast<float>(std::bit_cast<double>(cosine));
  }
}

}  // namespace

const char* channelName(BvhChannelKind kind) {
  constexpr const char* names[] = {"Xposition", "Yposition", "Zposition", "Xrotation", "Yrotation", "Zrotation", "ignored channel"};
  return names[static_cast<int>(kind)];
}

BvhRows::BvhRows(const Skeleton& skeleton, const std::vector<BvhChannel>& channels) : skeleton_(skeleton), sines_(channels.size()), cosines_(channels.size()) {
  const int joints = skeleton.size();
  for (std::size_t c = 0; c < channels.size();) {
    const int joint = channels[c].joint;
    RotationPlan rotation;
    rotation.joint = joint;
    PositionPlan position;
    position.joint = joint;
    bool moved = false;
    for (; c < channels.size() && channels[c].joint == joint; ++c) {
      const int kind = static_cast<int>(channels[c].kind);
      if (kind < 3) {
        position.column[static_cast<std::size_t>(kind)] = static_cast<int>(c);
        moved = true;
      } else if (kind < 6) {
        rotation.general.emplace_back(static_cast<int>(c), kind - 3);
      }
    }
    if (moved) positions_.push_back(position);
    rotation.count = static_cast<int>(rotation.general.size());
    if (rotation.count == 0) continue;
    if (rotation.count == 3) {
      for (std::size_t k = 0; k < 3; ++k) {
        rotation.column[k] = rotation.general[k].first;
        rotation.axis[k] = rotation.general[k].second;
      }
      const int a = rotation.axis[0], b = rotation.axis[1], d = rotation.axis[2];
      rotation.plain = a != b && b != d && a != d;
      rotation.parity = (a + 1) % 3 == b ? 1.0f : -1.0f;
    }
    rotations_.push_back(std::move(rotation));
  }
  std::vector<char> turns(static_cast<std::size_t>(joints), 0);
  for (const RotationPlan& plan : rotations_) turns[static_cast<std::size_t>(plan.joint)] = 1;
  for (int j = 0; j < joints; ++j)
    if (!turns[static_cast<std::size_t>(j)]) still_.push_back(j);
}

std::vector<int> BvhRows::movedJoints() const {
  std::vector<int> out;
  for (const PositionPlan& plan : positions_) out.push_back(plan.joint);
  return out;
}

void BvhRows::store(const std::vector<double>& row, std::size_t frame, Motion& motion) {
  const std::size_t joints = static_cast<std::size_t>(skeleton_.size());
  halfAngles(row.data(), sines_.data(), cosines_.data(), row.size());
  Quatf* out = motion.rotations.data() + frame * joints;
  const Quatf* before = frame > 0 ? out - joints : nullptr;
  for (const RotationPlan& plan : rotations_) {
    Quatf q;
    if (plan.plain) {
      const auto ia = static_cast<std::size_t>(plan.column[0]), ib = static_cast<std::size_t>(plan.column[1]),
                 ic = static_cast<std::size_t>(plan.column[2]);
      const float sa = sines_[ia], ca = cosines_[ia], sb = sines_[ib], cb = cosines_[ib], e = plan.parity;
      const float sc = sines_[ic], cc = cosines_[ic];
      // The product of three turns about different axes, written out; `e` is the handedness of their order.
      const float both = ca * cb, neither = sa * sb, first = sa * cb, second = ca * sb;
      float part[3];
      part[plan.axis[0]] = first * cc + e * (second * sc);
      part[plan.axis[1]] = second * cc - e * (first * sc);
      part[plan.axis[2]] = both * sc + e * (neither * cc);
      q = {both * cc - e * (neither * sc), part[0], part[1], part[2]};
    } else {
      for (const auto& [column, axis] : plan.general) {
        Quatf turn{cosines_[static_cast<std::size_t>(column)], 0, 0, 0};
        (axis == 0 ? turn.x : axis == 1 ? turn.y : turn.z) = sines_[static_cast<std::size_t>(column)];
        q = q * turn;
      }
      if (plan.general.size() > 3) q = normalised(q);
    }
    if (before) q = sameHemisphere(q, before[plan.joint]);
    out[plan.joint] = q;
  }
  for (int j : still_) out[j] = {};
  Vec3f* moved = motion.translations.data() + frame * positions_.size();
  for (std::size_t k = 0; k < positions_.size(); ++k) {
    const PositionPlan& plan = positions_[k];
    const Vec3d& offset = skeleton_.rest[static_cast<std::size_t>(plan.joint)].translation;
    for (int a = 0; a < 3; ++a) {
      const int column = plan.column[static_cast<std::size_t>(a)];
      moved[k][a] = static_cast<float>(column < 0 ? offset[a] : row[static_cast<std::size_t>(column)]);
    }
  }
}

bool BvhRows::addOffsets(Motion& motion) const {
  double bones = 0, values = 0;
  const std::size_t width = positions_.size();
  if (motion.movedJoints.size() != width) return false;  // rest pose only
  const auto counts = [&](const PositionPlan& plan) { return skeleton_.parents[static_cast<std::size_t>(plan.joint)] >= 0; };
  for (int f = 0; f < motion.frames; ++f) {
    for (std::size_t k = 0; k < width; ++k) {
      if (!counts(positions_[k])) continue;
      const Vec3d& offset = skeleton_.rest[static_cast<std::size_t>(positions_[k].joint)].translation;
      for (int a = 0; a < 3; ++a) {
        if (positions_[k].column[static_cast<std::size_t>(a)] < 0) continue;
        const double value = static_cast<double>(motion.translations[static_cast<std::size_t>(f) * width + k][a]);
        bones += std::abs(offset[a]);
        values += std::abs(value);
      }
    }
  }
  if (!(values < 0.2 * bones)) return false;
  for (std::size_t k = 0; k < width; ++k) {
    if (!counts(positions_[k])) continue;
    const Vec3d& offset = skeleton_.rest[static_cast<std::size_t>(positions_[k].joint)].translation;
    for (int f = 0; f < motion.frames; ++f)
      for (int a = 0; a < 3; ++a)
        if (positions_[k].column[static_cast<std::size_t>(a)] >= 0)
          motion.translations[static_cast<std::size_t>(f) * width + k][a] += static_cast<float>(offset[a]);
  }
  return true;
}

}  // namespace understudy
