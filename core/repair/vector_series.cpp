#include "core/repair/vector_series.h"

#include <algorithm>

#include "core/math/b_spline.h"
#include "core/math/smooth_step.h"

namespace understudy {

std::vector<Vec3d> evenedOut(const std::vector<Vec3d>& series, int radius) {
  const int count = static_cast<int>(series.size());
  std::vector<Vec3d> out(series.size());
  for (int k = 0; k < count; ++k) {
    // Against its own, so that what is the same all around stays so to the bit.
    const Vec3d& own = series[static_cast<std::size_t>(k)];
    Vec3d more;
    double sum = 0;
    for (int by = -radius; by <= radius; ++by) {
      const double w = bellWeight(by, radius);
      more += (series[static_cast<std::size_t>(std::clamp(k + by, 0, count - 1))] - own) * w;
      sum += w;
    }
    out[static_cast<std::size_t>(k)] = own + more / sum;
  }
  return out;
}

std::vector<Vec3d> spreadAround(const std::vector<Vec3d>& series, int radius) {
  const int count = static_cast<int>(series.size());
  std::vector<Vec3d> wide(series.size());
  for (int k = 0; k < count; ++k) {
    double most = 0;
    for (int n = std::max(0, k - radius); n <= std::min(count - 1, k + radius); ++n)
      if (const double size = dot(series[static_cast<std::size_t>(n)], series[static_cast<std::size_t>(n)]); size > most) {
        most = size;
        wide[static_cast<std::size_t>(k)] = series[static_cast<std::size_t>(n)];
      }
  }
  return evenedOut(wide, radius);
}

Vec3d splineAt(const Vec3d& a, const Vec3d& b, const Vec3d& c, const Vec3d& d, double t) {
  const auto [wa, wb, wc, wd] = splineShares(t);
  return a * wa + b * wb + c * wc + d * wd;
}

}  // namespace understudy
