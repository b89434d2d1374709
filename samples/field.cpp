#include "samples/field.h"

#include <algorithm>
#include <cmath>

namespace understudy::samples {

double distanceTo(const Cone& cone, const Vec3d& point) {
  const Vec3d q = cone.squash;
  const auto squashed = [&](const Vec3d& v) {
    const Vec3d d = v - cone.a;
    return Vec3d{d.x / q.x, d.y / q.y, d.z / q.z};
  };
  const double scale = std::min({q.x, q.y, q.z});
  const Vec3d p = squashed(point), axis = squashed(cone.b);
  const double l = length(axis);
  if (l < 1e-9) return (length(p) - cone.radiusA) * scale;
  const Vec3d u = axis / l;
  const double x = dot(p, u), y = length(p - u * x);
  // The envelope of the spheres between a and b has a normal that leans by k along the axis.
  const double k = std::clamp((cone.radiusA - cone.radiusB) / l, -0.999, 0.999);
  const double t = y / std::sqrt(1 - k * k);
  const double centre = x - k * t;
  if (centre <= 0) return (length(p) - cone.radiusA) * scale;
  if (centre >= l) return (length(p - axis) - cone.radiusB) * scale;
  return (t - (cone.radiusA + (cone.radiusB - cone.radiusA) * centre / l)) * scale;
}

double smoothMin(double a, double b, double k) {
  const double low = std::min(a, b), high = std::max(a, b);
  return low - k * std::log1p(std::exp((low - high) / k));
}

double smoothMax(double a, double b, double k) {
  return -smoothMin(-a, -b, k);
}

double blended(const std::vector<Cone>& cones, double k, const Vec3d& point) {
  std::vector<double> d(cones.size());
  double low = 1e9;
  for (std::size_t i = 0; i < cones.size(); ++i) {
    d[i] = distanceTo(cones[i], point);
    low = std::min(low, d[i]);
  }
  double sum = 0;
  for (const double value : d) sum += std::exp((low - value) / k);
  return low - k * std::log(sum);
}

Vec3d gradient(const Field& field, const Vec3d& p, double step) {
  const auto slope = [&](const Vec3d& d) { return (field(p + d) - field(p - d)) / (2 * step); };
  return {slope({step, 0, 0}), slope({0, step, 0}), slope({0, 0, step})};
}

}  // namespace understudy::samples
