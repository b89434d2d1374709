#include "core/math/distance.h"

#include <algorithm>
#include <cmath>

namespace understudy {

PointOnSegment closestOnSegment(const Vec3d& point, const Vec3d& start, const Vec3d& end) {
  const Vec3d along = end - start;
  const double squared = dot(along, along);
  const double t = squared > 0 ? std::clamp(dot(point - start, along) / squared, 0.0, 1.0) : 0.0;
  const Vec3d at = t == 1 ? end : start + along * t;
  return {at, t, distance(point, at)};
}

SegmentPair closestOfSegments(const Vec3d& a0, const Vec3d& a1, const Vec3d& b0, const Vec3d& b1) {
  // The squared distance is convex over the square of both parameters: its minimum is either where the two lines are
  // nearest, if that lies within the square, or on the square's edge, where one of the points is an end point.
  const PointOnSegment toA0 = closestOnSegment(a0, b0, b1), toA1 = closestOnSegment(a1, b0, b1);
  const PointOnSegment toB0 = closestOnSegment(b0, a0, a1), toB1 = closestOnSegment(b1, a0, a1);
  SegmentPair best{a0, toA0.point, 0, toA0.t, toA0.distance};
  if (toA1.distance < best.distance) best = {a1, toA1.point, 1, toA1.t, toA1.distance};
  if (toB0.distance < best.distance) best = {toB0.point, b0, toB0.t, 0, toB0.distance};
  if (toB1.distance < best.distance) best = {toB1.point, b1, toB1.t, 1, toB1.distance};

  const Vec3d u = a1 - a0, v = b1 - b0, w = b0 - a0, normal = cross(u, v);
  const double squared = dot(normal, normal);
  if (squared > 1e-24 * dot(u, u) * dot(v, v)) {
    const double s = dot(cross(w, v), normal) / squared, t = dot(cross(w, u), normal) / squared;
    if (s >= 0 && s <= 1 && t >= 0 && t <= 1) {
      const Vec3d a = a0 + u * s, b = b0 + v * t;
      const double d = distance(a, b);
      if (d < best.distance) best = {a, b, s, t, d};
    }
  }
  return best;
}

double windingNumber(const Vec3d& point, std::span<const Vec3f> positions, std::span<const std::uint32_t> indices) {
  double sum = 0;
  for (std::size_t i = 0; i + 2 < indices.size(); i += 3) {
    const Vec3d a = Vec3d(positions[indices[i]]) - point, b = Vec3d(positions[indices[i + 1]]) - point,
                c = Vec3d(positions[indices[i + 2]]) - point;
    const double la = length(a), lb = length(b), lc = length(c);
    sum += std::atan2(dot(a, cross(b, c)), la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb);
  }
  return sum / (2 * M_PI);  // each term is half a solid angle
}

}  // namespace understudy
