// Small vectors and matrices. Column vectors; Mat3 is stored by columns.
#pragma once

#include <cmath>

namespace understudy {

template <class T>
struct Vec3 {
  T x{}, y{}, z{};

  constexpr Vec3() = default;
  constexpr Vec3(T x_, T y_, T z_) : x(x_), y(y_), z(z_) {}
  template <class U>
  constexpr explicit Vec3(const Vec3<U>& v) : x(static_cast<T>(v.x)), y(static_cast<T>(v.y)), z(static_cast<T>(v.z)) {}

  constexpr T& operator[](int i) { return i == 0 ? x : i == 1 ? y : z; }
  constexpr T operator[](int i) const { return i == 0 ? x : i == 1 ? y : z; }

  constexpr Vec3& operator+=(const Vec3& v) { x += v.x; y += v.y; z += v.z; return *this; }
  constexpr Vec3& operator-=(const Vec3& v) { x -= v.x; y -= v.y; z -= v.z; return *this; }
  constexpr Vec3& operator*=(T s) { x *= s; y *= s; z *= s; return *this; }
  friend constexpr bool operator==(const Vec3&, const Vec3&) = default;
};

template <class T> constexpr Vec3<T> operator+(Vec3<T> a, const Vec3<T>& b) { return a += b; }
template <class T> constexpr Vec3<T> operator-(Vec3<T> a, const Vec3<T>& b) { return a -= b; }
template <class T> constexpr Vec3<T> operator-(const Vec3<T>& a) { return {-a.x, -a.y, -a.z}; }
template <class T> constexpr Vec3<T> operator*(Vec3<T> a, T s) { return a *= s; }
template <class T> constexpr Vec3<T> operator*(T s, Vec3<T> a) { return a *= s; }
template <class T> constexpr Vec3<T> operator/(Vec3<T> a, T s) { return a *= (T(1) / s); }
/// Product component by component (scaling along the axes).
template <class T> constexpr Vec3<T> times(const Vec3<T>& a, const Vec3<T>& b) { return {a.x * b.x, a.y * b.y, a.z * b.z}; }
template <class T> constexpr T dot(const Vec3<T>& a, const Vec3<T>& b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
template <class T> constexpr Vec3<T> cross(const Vec3<T>& a, const Vec3<T>& b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
template <class T> T length(const Vec3<T>& a) { return std::sqrt(dot(a, a)); }
template <class T> T distance(const Vec3<T>& a, const Vec3<T>& b) { return length(a - b); }
/// Unit vector along `a`; `fallback` where `a` is (nearly) zero.
template <class T> Vec3<T> normalised(const Vec3<T>& a, const Vec3<T>& fallback = {T(0), T(0), T(0)}) {
  const T l = length(a);
  return l > T(1e-20) ? a / l : fallback;
}
template <class T> constexpr Vec3<T> lerp(const Vec3<T>& a, const Vec3<T>& b, T t) { return a + (b - a) * t; }
template <class T> bool isFinite(const Vec3<T>& a) { return std::isfinite(a.x) && std::isfinite(a.y) && std::isfinite(a.z); }
/// Some unit vector at right angles to the unit vector `a`.
template <class T> Vec3<T> anyPerpendicular(const Vec3<T>& a) {
  const Vec3<T> other = std::abs(a.x) < T(0.6) ? Vec3<T>{T(1), T(0), T(0)} : Vec3<T>{T(0), T(1), T(0)};
  return normalised(cross(a, other));
}
/// Angle between two vectors in radians, accurate near 0 and π.
template <class T> T angleBetween(const Vec3<T>& a, const Vec3<T>& b) { return std::atan2(length(cross(a, b)), dot(a, b)); }

template <class T>
struct Mat3 {
  Vec3<T> cx{T(1), T(0), T(0)}, cy{T(0), T(1), T(0)}, cz{T(0), T(0), T(1)};

  constexpr Mat3() = default;
  constexpr Mat3(const Vec3<T>& x, const Vec3<T>& y, const Vec3<T>& z) : cx(x), cy(y), cz(z) {}
  template <class U>
  constexpr explicit Mat3(const Mat3<U>& m) : cx(m.cx), cy(m.cy), cz(m.cz) {}
  friend constexpr bool operator==(const Mat3&, const Mat3&) = default;
};

template <class T> constexpr Vec3<T> operator*(const Mat3<T>& m, const Vec3<T>& v) { return m.cx * v.x + m.cy * v.y + m.cz * v.z; }
template <class T> constexpr Mat3<T> operator*(const Mat3<T>& a, const Mat3<T>& b) { return {a * b.cx, a * b.cy, a * b.cz}; }
template <class T> constexpr Mat3<T> operator*(const Mat3<T>& a, T s) { return {a.cx * s, a.cy * s, a.cz * s}; }
template <class T> constexpr Mat3<T> transposed(const Mat3<T>& m) {
  return {{m.cx.x, m.cy.x, m.cz.x}, {m.cx.y, m.cy.y, m.cz.y}, {m.cx.z, m.cy.z, m.cz.z}};
}
template <class T> constexpr T determinant(const Mat3<T>& m) { return dot(m.cx, cross(m.cy, m.cz)); }
/// Inverse; the caller makes sure that the determinant is not zero.
template <class T> constexpr Mat3<T> inverse(const Mat3<T>& m) {
  const T d = T(1) / determinant(m);
  return transposed(Mat3<T>{cross(m.cy, m.cz) * d, cross(m.cz, m.cx) * d, cross(m.cx, m.cy) * d});
}

using Vec3f = Vec3<float>;
using Vec3d = Vec3<double>;
using Mat3f = Mat3<float>;
using Mat3d = Mat3<double>;

struct Vec2f {
  float x = 0, y = 0;
  friend constexpr bool operator==(const Vec2f&, const Vec2f&) = default;
};

}  // namespace understudy
