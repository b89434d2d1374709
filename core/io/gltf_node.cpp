#include "core/io/gltf_node.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

constexpr const char* again = "Export the file again, or copy it again from where it came from";

Issue damaged(const char* what, const std::string& where) { return makeError(Fault::input, what, where, again); }

bool numbersOf(const JsonView& list, std::size_t count, double* out) {
  if (!list.isArray() || list.size() != count) return false;
  for (std::size_t i = 0; i < count; ++i) {
    if (!list[i].isNumber()) return false;
    out[i] = list[i].number();
    if (!std::isfinite(static_cast<float>(out[i]))) return false;
  }
  return true;
}

Trsd split(const double* m, bool* sheared) {
  Trsd out;
  out.translation = {m[12], m[13], m[14]};
  Mat3d linear({m[0], m[1], m[2]}, {m[4], m[5], m[6]}, {m[8], m[9], m[10]});
  out.scale = {length(linear.cx), length(linear.cy), length(linear.cz)};
  if (determinant(linear) < 0) out.scale.x = -out.scale.x;
  const double size = std::max({std::abs(out.scale.x), out.scale.y, out.scale.z});
  Vec3d axis[3] = {linear.cx, linear.cy, linear.cz};
  bool flat[3];
  for (int i = 0; i < 3; ++i) {
    flat[i] = !(std::abs(out.scale[i]) > 1e-12 * size) || size == 0;
    axis[i] = flat[i] ? Vec3d{} : axis[i] / out.scale[i];
  }
  const int flats = flat[0] + flat[1] + flat[2];
  if (flats == 3) return out;
  // A direction that was scaled to nothing is completed to a right-handed frame.
  for (int i = 0; i < 3; ++i) {
    const int j = (i + 1) % 3, k = (i + 2) % 3;
    if (flats == 1 && flat[i]) axis[i] = normalised(cross(axis[j], axis[k]), Vec3d{1, 0, 0});
    if (flats == 2 && !flat[i]) {
      axis[j] = anyPerpendicular(axis[i]);
      axis[k] = cross(axis[i], axis[j]);
    }
  }
  const double skew = std::max({std::abs(dot(axis[0], axis[1])), std::abs(dot(axis[1], axis[2])), std::abs(dot(axis[2], axis[0]))});
  if (skew > 1e-4 && sheared) *sheared = true;
  // The nearest rotation to columns that may be off square by rounding or shear.
  const Mat3d columns(axis[0], axis[1], axis[2]);
  out.rotation = skew > 1e-12 && std::abs(determinant(columns)) > 1e-6 ? polarParts({columns, {}}).rotation : toQuat(columns);
  return out;
}

}  // namespace

Result<Trsd> gltfNodeTransform(const JsonView& node, const std::string& where, bool* sheared) {
  Trsd out;
  if (!node.isObject()) return damaged("The node is no object", where);
  if (const JsonView matrix = node["matrix"]) {
    double m[16];
    if (!numbersOf(matrix, 16, m)) return damaged("Its matrix does not hold 16 finite numbers", where);
    return split(m, sheared);
  }
  double v[4];
  if (const JsonView t = node["translation"]) {
    if (!numbersOf(t, 3, v)) return damaged("Its translation does not hold three finite numbers", where);
    out.translation = {v[0], v[1], v[2]};
  }
  if (const JsonView s = node["scale"]) {
    if (!numbersOf(s, 3, v)) return damaged("Its scale does not hold three finite numbers", where);
    out.scale = {v[0], v[1], v[2]};
  }
  if (const JsonView r = node["rotation"]) {
    if (!numbersOf(r, 4, v)) return damaged("Its rotation does not hold four finite numbers", where);
    out.rotation = normalised(Quatd{v[3], v[0], v[1], v[2]});
  }
  return out;
}

GltfKeyRate gltfKeyRate(const Clip& clip) {
  // Every distinct list of times once; curves mostly share them.
  std::vector<const std::vector<float>*> lists;
  for (const KeyedCurve& curve : clip.curves) {
    const bool known = std::any_of(lists.begin(), lists.end(), [&](const std::vector<float>* other) {
      return other->size() == curve.times.size() && other->front() == curve.times.front() && other->back() == curve.times.back() &&
             *other == curve.times;
    });
    if (!known) lists.push_back(&curve.times);
  }
  double shortest = 1e30;
  const std::vector<float>* longest = nullptr;
  for (const auto* times : lists) {
    if (!longest || times->size() > longest->size()) longest = times;
    for (std::size_t i = 1; i < times->size(); ++i) {
      const double gap = static_cast<double>((*times)[i]) - (*times)[i - 1];
      if (gap > 1e-4) shortest = std::min(shortest, gap);
    }
  }
  if (shortest > 1e29) return {};
  // Times are floats, and some exporters round them to milliseconds.
  const auto fits = [&](double hertz) {
    if (!(hertz >= 1) || hertz > 1000) return false;
    for (const auto* times : lists)
      for (float t : *times) {
        const double frame = (t - clip.start) * hertz;
        const double allowed = 0.03 + std::abs(t) * 2.4e-7 * hertz;
        if (std::abs(frame - std::round(frame)) > std::min(allowed, 0.2)) return false;
      }
    return true;
  };
  std::vector<double> candidates;
  if (longest->size() > 2) candidates.push_back(static_cast<double>(longest->size() - 1) / (static_cast<double>(longest->back()) - longest->front()));
  candidates.push_back(1 / shortest);
  for (double hertz : candidates) {
    if (!(hertz >= 11.5) || hertz > 1000) continue;
    const FrameRate rate = snapFrameRate(hertz);
    if (fits(rate.hertz())) return {rate, std::abs(shortest * rate.hertz() - 1) < 0.25};
  }
  for (const FrameRate rate : {FrameRate{30, 1}, FrameRate{24, 1}, FrameRate{25, 1}, FrameRate{60, 1}, FrameRate{30000, 1001}, FrameRate{24000, 1001},
                               FrameRate{60000, 1001}, FrameRate{50, 1}, FrameRate{48, 1}, FrameRate{120, 1}, FrameRate{100, 1}, FrameRate{90, 1},
                               FrameRate{240, 1}})
    if (fits(rate.hertz())) return {rate, std::abs(shortest * rate.hertz() - 1) < 0.25};
  return {};
}

}  // namespace understudy
