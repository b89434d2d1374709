#include "core/math/transform.h"

#include <algorithm>

namespace understudy {

PolarParts<double> polarParts(const Affine<double>& a) {
  PolarParts<double> parts;
  parts.translation = a.translation;
  Mat3d m = a.linear;
  parts.mirrored = determinant(m) < 0;
  if (parts.mirrored) m = m * -1.0;
  const double size = std::cbrt(std::abs(determinant(m)));
  if (!(size > 1e-30) || !std::isfinite(size)) {
    parts.stretch = m;
    return parts;
  }
  Mat3d q = m * (1 / size);
  for (int step = 0; step < 60; ++step) {
    const Mat3d t = transposed(inverse(q));
    const Mat3d next{(q.cx + t.cx) * 0.5, (q.cy + t.cy) * 0.5, (q.cz + t.cz) * 0.5};
    const double change = std::max({distance(next.cx, q.cx), distance(next.cy, q.cy), distance(next.cz, q.cz)});
    q = next;
    if (change < 1e-15) break;
  }
  parts.rotation = toQuat(q);
  parts.stretch = transposed(toMatrix(parts.rotation)) * m;
  return parts;
}

}  // namespace understudy
