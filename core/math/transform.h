// Local transforms (translation, rotation, scale) and affine maps.
#pragma once

#include "core/math/quat.h"
#include "core/math/vec.h"

namespace understudy {

/// Translation · rotation · scale, as in glTF nodes.
template <class T>
struct Trs {
  Vec3<T> translation{};
  Quat<T> rotation{};
  Vec3<T> scale{T(1), T(1), T(1)};
  friend constexpr bool operator==(const Trs&, const Trs&) = default;
};

template <class T>
struct Affine {
  Mat3<T> linear{};
  Vec3<T> translation{};

  constexpr Affine() = default;
  constexpr Affine(const Mat3<T>& l, const Vec3<T>& t) : linear(l), translation(t) {}
  template <class U>
  constexpr explicit Affine(const Affine<U>& a) : linear(a.linear), translation(a.translation) {}
  explicit Affine(const Trs<T>& trs) : translation(trs.translation) {
    const Mat3<T> r = toMatrix(trs.rotation);
    linear = {r.cx * trs.scale.x, r.cy * trs.scale.y, r.cz * trs.scale.z};
  }
  friend constexpr bool operator==(const Affine&, const Affine&) = default;
};

template <class T> constexpr Affine<T> operator*(const Affine<T>& a, const Affine<T>& b) {
  return {a.linear * b.linear, a.linear * b.translation + a.translation};
}
/// The image of a point.
template <class T> constexpr Vec3<T> apply(const Affine<T>& a, const Vec3<T>& p) { return a.linear * p + a.translation; }
template <class T> constexpr Affine<T> inverse(const Affine<T>& a) {
  const Mat3<T> l = inverse(a.linear);
  return {l, -(l * a.translation)};
}

/// Parts of an affine map: translation · rotation · stretch. A mirrored map is factored as −1 · rotation · stretch:
/// the point reflection −1 commutes with every rotation, so `rotation` composes along a chain like any other.
template <class T>
struct PolarParts {
  Vec3<T> translation{};
  Quat<T> rotation{};
  Mat3<T> stretch{};     ///< symmetric, positive
  bool mirrored = false;
};
/// Polar decomposition by averaging with the inverse transpose (Higham 1986). `a.linear` must be invertible.
[[nodiscard]] PolarParts<double> polarParts(const Affine<double>& a);

using Trsd = Trs<double>;
using Trsf = Trs<float>;
using Affined = Affine<double>;
using Affinef = Affine<float>;

}  // namespace understudy
