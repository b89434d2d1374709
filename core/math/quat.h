// Unit quaternions (w, x, y, z): q rotates v as q v q*, and a*b applies b first.
#pragma once

#include <cmath>

#include "core/math/vec.h"

namespace understudy {

template <class T>
struct Quat {
  T w{1}, x{0}, y{0}, z{0};

  constexpr Quat() = default;
  constexpr Quat(T w_, T x_, T y_, T z_) : w(w_), x(x_), y(y_), z(z_) {}
  template <class U>
  constexpr explicit Quat(const Quat<U>& q)
      : w(static_cast<T>(q.w)), x(static_cast<T>(q.x)), y(static_cast<T>(q.y)), z(static_cast<T>(q.z)) {}
  [[nodiscard]] constexpr Vec3<T> vec() const { return {x, y, z}; }
  friend constexpr bool operator==(const Quat&, const Quat&) = default;
};

template <class T> constexpr Quat<T> operator*(const Quat<T>& a, const Quat<T>& b) {
  return {a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z, a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
          a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x, a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w};
}
template <class T> constexpr Quat<T> conjugate(const Quat<T>& q) { return {q.w, -q.x, -q.y, -q.z}; }
template <class T> constexpr Quat<T> operator-(const Quat<T>& q) { return {-q.w, -q.x, -q.y, -q.z}; }
template <class T> constexpr T dot(const Quat<T>& a, const Quat<T>& b) { return a.w * b.w + a.x * b.x + a.y * b.y + a.z * b.z; }
template <class T> Quat<T> normalised(const Quat<T>& q) {
  const T l = std::sqrt(dot(q, q));
  if (!(l > T(1e-20))) return {};
  const T s = T(1) / l;
  return {q.w * s, q.x * s, q.y * s, q.z * s};
}
template <class T> constexpr Vec3<T> rotate(const Quat<T>& q, const Vec3<T>& v) {
  const Vec3<T> t = cross(q.vec(), v) * T(2);
  return v + t * q.w + cross(q.vec(), t);
}
/// `q` or −q, whichever is nearer to `reference`.
template <class T> constexpr Quat<T> sameHemisphere(const Quat<T>& q, const Quat<T>& reference) { return dot(q, reference) < T(0) ? -q : q; }

/// Rotation by `angle` radians about the unit vector `axis`.
template <class T> Quat<T> fromAxisAngle(const Vec3<T>& axis, T angle) {
  const T s = std::sin(angle / T(2));
  return {std::cos(angle / T(2)), axis.x * s, axis.y * s, axis.z * s};
}
/// Rotation vector (axis times angle, radians, angle in [0, π]) of a unit quaternion.
template <class T> Vec3<T> logOf(const Quat<T>& q0) {
  const Quat<T> q = q0.w < T(0) ? -q0 : q0;
  const T s = length(q.vec());
  if (s < T(1e-9)) return q.vec() * T(2);
  return q.vec() * (T(2) * std::atan2(s, q.w) / s);
}
/// Unit quaternion of a rotation vector (radians).
template <class T> Quat<T> expOf(const Vec3<T>& r) {
  const T angle = length(r);
  if (angle < T(1e-9)) return normalised(Quat<T>{T(1), r.x / T(2), r.y / T(2), r.z / T(2)});
  return fromAxisAngle(r / angle, angle);
}
/// Angle in radians, [0, π], of the rotation from `a` to `b`; accurate for small angles.
template <class T> T angleBetween(const Quat<T>& a, const Quat<T>& b) {
  const Quat<T> d = conjugate(a) * b;
  return T(2) * std::atan2(length(d.vec()), std::abs(d.w));
}
/// Rotation vector from the middle between two rotations to `here`, in the middle's frame.
template <class T> Vec3<T> offMiddle(const Quat<T>& before, const Quat<T>& here, const Quat<T>& after0) {
  const Quat<T> after = sameHemisphere(after0, before);
  return logOf(conjugate(normalised(Quat<T>{before.w + after.w, before.x + after.x, before.y + after.y, before.z + after.z})) * here);
}
/// Shortest rotation taking the unit vector `from` to the unit vector `to`. Opposite vectors turn about some
/// perpendicular axis.
template <class T> Quat<T> rotationBetween(const Vec3<T>& from, const Vec3<T>& to) {
  const T d = dot(from, to);
  if (d < T(-1) + T(1e-7)) return fromAxisAngle(anyPerpendicular(from), T(3.14159265358979323846));
  const Vec3<T> c = cross(from, to);
  return normalised(Quat<T>{T(1) + d, c.x, c.y, c.z});
}
/// Spherical linear interpolation the short way round.
template <class T> Quat<T> slerp(const Quat<T>& a, const Quat<T>& b0, T t) {
  const Quat<T> b = sameHemisphere(b0, a);
  const T d = dot(a, b);
  if (d > T(0.9995)) {
    return normalised(Quat<T>{a.w + (b.w - a.w) * t, a.x + (b.x - a.x) * t, a.y + (b.y - a.y) * t, a.z + (b.z - a.z) * t});
  }
  const T angle = std::acos(d), s = std::sin(angle);
  const T wa = std::sin((T(1) - t) * angle) / s, wb = std::sin(t * angle) / s;
  return normalised(Quat<T>{a.w * wa + b.w * wb, a.x * wa + b.x * wb, a.y * wa + b.y * wb, a.z * wa + b.z * wb});
}
/// Rotation matrix of a unit quaternion.
template <class T> constexpr Mat3<T> toMatrix(const Quat<T>& q) {
  const T xx = q.x * q.x, yy = q.y * q.y, zz = q.z * q.z, xy = q.x * q.y, xz = q.x * q.z, yz = q.y * q.z, wx = q.w * q.x, wy = q.w * q.y,
          wz = q.w * q.z;
  return {{T(1) - T(2) * (yy + zz), T(2) * (xy + wz), T(2) * (xz - wy)},
          {T(2) * (xy - wz), T(1) - T(2) * (xx + zz), T(2) * (yz + wx)},
          {T(2) * (xz + wy), T(2) * (yz - wx), T(1) - T(2) * (xx + yy)}};
}
/// Unit quaternion of a rotation matrix (Shepperd's method).
template <class T> Quat<T> toQuat(const Mat3<T>& m) {
  const T trace = m.cx.x + m.cy.y + m.cz.z;
  Quat<T> q;
  if (trace > T(0)) {
    q = {T(1) + trace, m.cy.z - m.cz.y, m.cz.x - m.cx.z, m.cx.y - m.cy.x};
  } else if (m.cx.x >= m.cy.y && m.cx.x >= m.cz.z) {
    q = {m.cy.z - m.cz.y, T(1) + m.cx.x - m.cy.y - m.cz.z, m.cx.y + m.cy.x, m.cz.x + m.cx.z};
  } else if (m.cy.y >= m.cz.z) {
    q = {m.cz.x - m.cx.z, m.cx.y + m.cy.x, T(1) - m.cx.x + m.cy.y - m.cz.z, m.cy.z + m.cz.y};
  } else {
    q = {m.cx.y - m.cy.x, m.cz.x + m.cx.z, m.cy.z + m.cz.y, T(1) - m.cx.x - m.cy.y + m.cz.z};
  }
  return normalised(q);
}

/// q = swing · twist, twist about the unit vector `axis`. Where the swing is a half turn the twist is undefined and
/// identity is returned for it.
template <class T>
struct SwingTwist {
  Quat<T> swing, twist;
};
template <class T> SwingTwist<T> swingTwist(const Quat<T>& q, const Vec3<T>& axis) {
  const T along = dot(q.vec(), axis);
  Quat<T> twist{q.w, axis.x * along, axis.y * along, axis.z * along};
  if (dot(twist, twist) < T(1e-12)) return {q, {}};
  twist = normalised(twist);
  return {q * conjugate(twist), twist};
}

template <class T> bool isFinite(const Quat<T>& q) {
  return std::isfinite(q.w) && std::isfinite(q.x) && std::isfinite(q.y) && std::isfinite(q.z);
}

using Quatf = Quat<float>;
using Quatd = Quat<double>;

}  // namespace understudy
