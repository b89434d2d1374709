#include "app/editor/document/angles.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy::editor {
namespace {

constexpr double degrees = 180 / std::numbers::pi;

double nearTo(double angle, double reference) { return angle + 360 * std::round((reference - angle) / 360); }

double apart(const Triple& a, const Triple& b) { return std::abs(a[0] - b[0]) + std::abs(a[1] - b[1]) + std::abs(a[2] - b[2]); }

/// Entries of Rx(a) · Ry(b) · Rz(c); (a, b, c) and (a + 180, 180 − b, c + 180) are one rotation.
Triple turnsOf(const Quatd& q, const Triple& near) {
  const Mat3d m = toMatrix(q);
  Triple direct{std::atan2(-m.cz.y, m.cz.z) * degrees, std::asin(std::clamp(m.cz.x, -1.0, 1.0)) * degrees, std::atan2(-m.cy.x, m.cx.x) * degrees};
  if (std::hypot(m.cz.y, m.cz.z) < 1e-7) {
    // Y stands at a right angle: only the sum of X and Z (or their difference) is known, so X stays where it was.
    const double s = m.cz.x > 0 ? 1 : -1, sum = std::atan2(m.cx.y, m.cy.y) * degrees;
    direct = {near[0], 90 * s, sum - s * near[0]};
  }
  Triple around{direct[0] + 180, 180 - direct[1], direct[2] + 180};
  for (std::size_t i = 0; i < 3; ++i) {
    direct[i] = nearTo(direct[i], near[i]);
    around[i] = nearTo(around[i], near[i]);
  }
  return apart(direct, near) <= apart(around, near) ? direct : around;
}

/// Two directions across an axis, the same for the same axis.
std::pair<Vec3d, Vec3d> across(const Vec3d& axis) {
  const Vec3d side = std::abs(axis.x) < 0.8 ? Vec3d{1, 0, 0} : Vec3d{0, 0, 1};
  const Vec3d a = normalised(side - axis * dot(side, axis));
  return {a, cross(axis, a)};
}

/// The swing's rotation vector reaches 180°; beyond, it goes on as the longer way round.
Triple limbOf(const Quatd& q, const Vec3d& axis, const Triple& near) {
  const auto [a, b] = across(axis);
  const auto parts = swingTwist(q, axis);
  const Vec3d swing = logOf(parts.swing);
  const double twist = 2 * std::atan2(dot(parts.twist.vec(), axis), parts.twist.w) * degrees;
  const Triple direct{dot(swing, a) * degrees, dot(swing, b) * degrees, nearTo(twist, near[2])};
  const double size = length(swing);
  if (size < 1e-9) return direct;
  const Vec3d longer = swing * ((size - 2 * std::numbers::pi) / size);
  const Triple around{dot(longer, a) * degrees, dot(longer, b) * degrees, nearTo(twist, near[2])};
  return apart(direct, near) <= apart(around, near) ? direct : around;
}

}  // namespace

Triple anglesOf(const Quatd& q, Angles angles, const Vec3d& axis, const Triple& near) {
  return angles == Angles::turns ? turnsOf(q, near) : limbOf(q, axis, near);
}

Quatd rotationOf(const Triple& d, Angles angles, const Vec3d& axis) {
  if (angles == Angles::turns)
    return fromAxisAngle(Vec3d{1, 0, 0}, d[0] / degrees) * fromAxisAngle(Vec3d{0, 1, 0}, d[1] / degrees) * fromAxisAngle(Vec3d{0, 0, 1}, d[2] / degrees);
  const auto [a, b] = across(axis);
  return expOf((a * d[0] + b * d[1]) / degrees) * fromAxisAngle(axis, d[2] / degrees);
}

Vec3d boneAxis(const Skeleton& skeleton, int joint) {
  Vec3d sum;
  for (int child = 0; child < skeleton.size(); ++child)
    if (skeleton.parents[static_cast<std::size_t>(child)] == joint) sum = sum + skeleton.rest[static_cast<std::size_t>(child)].translation;
  if (length(sum) > 1e-9) return normalised(sum);
  const auto j = static_cast<std::size_t>(joint);
  const Vec3d own = rotate(conjugate(skeleton.rest[j].rotation), skeleton.rest[j].translation);
  return length(own) > 1e-9 ? normalised(own) : Vec3d{0, 1, 0};
}

Quatd relative(const Skeleton& skeleton, const TiledMotion& motion, int joint, int frame) {
  const auto j = static_cast<std::size_t>(joint);
  return normalised(conjugate(skeleton.rest[j].rotation) * Quatd(motion.rotationsAt(frame)[j]));
}

std::array<std::vector<double>, 3> rotationCurves(const Skeleton& skeleton, const TiledMotion& motion, int joint, Angles angles) {
  std::array<std::vector<double>, 3> curves;
  if (joint < 0 || joint >= motion.joints()) return curves;
  for (auto& curve : curves) curve.resize(static_cast<std::size_t>(motion.frames()));
  const Vec3d axis = boneAxis(skeleton, joint);
  Triple near{};
  for (int f = 0; f < motion.frames(); ++f) {
    near = anglesOf(relative(skeleton, motion, joint, f), angles, axis, near);
    for (std::size_t i = 0; i < 3; ++i) curves[i][static_cast<std::size_t>(f)] = near[i];
  }
  return curves;
}

}  // namespace understudy::editor
