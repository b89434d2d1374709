// Values of a track of which only some frames are keys.
#pragma once

#include <algorithm>
#include <span>

#include "core/math/quat.h"

namespace understudy {

/// Change a frame of a dense track at a frame: half the difference of its neighbours, at the ends the difference to the only one.
/// Quaternions of one hemisphere; their slope is no unit quaternion.
[[nodiscard]] inline Quatd slopeAt(std::span<const Quatf> track, int frame) {
  const int last = static_cast<int>(track.size()) - 1, a = std::max(0, frame - 1), b = std::min(last, frame + 1);
  const Quatd p(track[static_cast<std::size_t>(a)]), q(track[static_cast<std::size_t>(b)]);
  const double s = b > a ? 1.0 / (b - a) : 0;
  return {(q.w - p.w) * s, (q.x - p.x) * s, (q.y - p.y) * s, (q.z - p.z) * s};
}
[[nodiscard]] inline Vec3d slopeAt(std::span<const Vec3f> track, int frame) {
  const int last = static_cast<int>(track.size()) - 1, a = std::max(0, frame - 1), b = std::min(last, frame + 1);
  return b > a ? (Vec3d(track[static_cast<std::size_t>(b)]) - Vec3d(track[static_cast<std::size_t>(a)])) / static_cast<double>(b - a) : Vec3d{};
}

/// The four weights of a cubic Hermite curve at t in 0 … 1: start, its slope, end, its slope (slopes over the whole piece).
struct Hermite {
  double start, startSlope, end, endSlope;
  explicit Hermite(double t)
      : start((2 * t - 3) * t * t + 1), startSlope(((t - 2) * t + 1) * t), end((3 - 2 * t) * t * t), endSlope((t - 1) * t * t) {}
};

/// The value at a time (in frames) between the keys `a` and `b` of a dense track: straight (slerp), or smooth with the track's own
/// slopes as glTF 2.0 interpolates CUBICSPLINE.
[[nodiscard]] inline Quatd keyedValue(std::span<const Quatf> track, int a, int b, double frame, bool smooth) {
  const Quatd p(track[static_cast<std::size_t>(a)]), q(track[static_cast<std::size_t>(b)]);
  if (b <= a) return p;
  const double t = (frame - a) / (b - a);
  if (!smooth) return slerp(p, q, t);
  const Hermite h(t);
  const Quatd u = slopeAt(track, a), v = slopeAt(track, b);
  const double l = b - a;
  const auto mix = [&](double x, double dx, double y, double dy) { return h.start * x + h.startSlope * l * dx + h.end * y + h.endSlope * l * dy; };
  return normalised(Quatd{mix(p.w, u.w, q.w, v.w), mix(p.x, u.x, q.x, v.x), mix(p.y, u.y, q.y, v.y), mix(p.z, u.z, q.z, v.z)});
}
[[nodiscard]] inline Vec3d keyedValue(std::span<const Vec3f> track, int a, int b, double frame, bool smooth) {
  const Vec3d p(track[static_cast<std::size_t>(a)]), q(track[static_cast<std::size_t>(b)]);
  if (b <= a) return p;
  const double t = (frame - a) / (b - a);
  if (!smooth) return p + (q - p) * t;
  const Hermite h(t);
  const double l = b - a;
  return p * h.start + slopeAt(track, a) * (h.startSlope * l) + q * h.end + slopeAt(track, b) * (h.endSlope * l);
}

}  // namespace understudy
