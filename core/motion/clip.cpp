#include "core/motion/clip.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

int widthOf(const KeyedCurve& curve) {
  switch (curve.target) {
    case CurveTarget::rotation: return 4;
    case CurveTarget::morphWeights: return curve.morphCount;
    default: return 3;
  }
}

}  // namespace

int Clip::frames() const {
  if (sampled) return sampled->frames;
  const double length = (end - start) * rate.hertz();
  const double whole = std::floor(length + 1e-3);
  // A last key between two frames gets one more frame, so that it is never lost.
  return static_cast<int>(whole) + 1 + (length - whole > 1e-3 ? 1 : 0);
}

void evaluate(const KeyedCurve& curve, double time, float* out) {
  const int width = widthOf(curve);
  const bool cubic = curve.interpolation == Interpolation::cubic;
  const int stride = cubic ? 3 * width : width, offset = cubic ? width : 0;
  const auto value = [&](std::size_t key) { return curve.values.data() + key * stride + offset; };
  const auto normalise = [&] {
    if (curve.target != CurveTarget::rotation) return;
    const Quatf q = normalised(Quatf{out[0], out[1], out[2], out[3]});
    out[0] = q.w; out[1] = q.x; out[2] = q.y; out[3] = q.z;
  };
  const std::vector<float>& times = curve.times;
  if (times.empty()) return;
  const auto upper = std::upper_bound(times.begin(), times.end(), time, [](double t, float key) { return t < key; });
  if (upper == times.begin() || upper == times.end() || curve.interpolation == Interpolation::step) {
    const std::size_t key = upper == times.begin() ? 0 : static_cast<std::size_t>(upper - times.begin()) - 1;
    std::copy_n(value(key), width, out);
    normalise();
    return;
  }
  const std::size_t b = static_cast<std::size_t>(upper - times.begin()), a = b - 1;
  const double span = static_cast<double>(times[b]) - times[a];
  const float t = span > 0 ? static_cast<float>((time - times[a]) / span) : 1.0F;
  if (cubic) {
    // Hermite spline as glTF 2.0, appendix C, defines it.
    const float t2 = t * t, t3 = t2 * t, td = static_cast<float>(span);
    const float* outTangent = curve.values.data() + a * stride + 2 * width;
    const float* inTangent = curve.values.data() + b * stride;
    for (int i = 0; i < width; ++i)
      out[i] = (2 * t3 - 3 * t2 + 1) * value(a)[i] + td * (t3 - 2 * t2 + t) * outTangent[i] + (-2 * t3 + 3 * t2) * value(b)[i] +
               td * (t3 - t2) * inTangent[i];
    normalise();
    return;
  }
  if (curve.target == CurveTarget::rotation) {
    const float *x = value(a), *y = value(b);
    const Quatf q = slerp(normalised(Quatf{x[0], x[1], x[2], x[3]}), normalised(Quatf{y[0], y[1], y[2], y[3]}), t);
    out[0] = q.w; out[1] = q.x; out[2] = q.y; out[3] = q.z;
    return;
  }
  for (int i = 0; i < width; ++i) out[i] = value(a)[i] + (value(b)[i] - value(a)[i]) * t;
}

Result<Motion> sample(const Clip& clip, const Skeleton& skeleton, const RunControl& control) {
  if (clip.sampled) return *clip.sampled;
  if (clip.curves.empty()) return makeError(Fault::input, "The clip '" + clip.name + "' animates nothing");
  std::vector<int> moved, scaled;
  for (const KeyedCurve& curve : clip.curves) {
    if (curve.target == CurveTarget::translation) moved.push_back(curve.joint);
    if (curve.target == CurveTarget::scale) scaled.push_back(curve.joint);
  }
  for (auto* list : {&moved, &scaled}) {
    std::sort(list->begin(), list->end());
    list->erase(std::unique(list->begin(), list->end()), list->end());
  }
  const int frames = clip.frames();
  Motion motion = restMotion(skeleton, frames, clip.rate, moved);
  motion.scaledJoints = scaled;
  motion.scales.resize(static_cast<std::size_t>(frames) * scaled.size());
  for (int f = 0; f < frames; ++f)
    for (std::size_t k = 0; k < scaled.size(); ++k) motion.scales[f * scaled.size() + k] = Vec3f(skeleton.rest[scaled[k]].scale);
  for (const KeyedCurve& curve : clip.curves) {
    if (control.stopped()) return RunControl::cancelled();
    if (curve.target == CurveTarget::morphWeights) continue;
    const auto place = [&](const std::vector<int>& list) {
      return static_cast<std::size_t>(std::lower_bound(list.begin(), list.end(), curve.joint) - list.begin());
    };
    float v[4] = {};
    for (int f = 0; f < frames; ++f) {
      evaluate(curve, std::min(clip.start + clip.rate.seconds(f), clip.end), v);
      if (curve.target == CurveTarget::rotation)
        motion.rotationsAt(f)[curve.joint] = {v[0], v[1], v[2], v[3]};
      else if (curve.target == CurveTarget::translation)
        motion.translations[f * moved.size() + place(moved)] = {v[0], v[1], v[2]};
      else
        motion.scales[f * scaled.size() + place(scaled)] = {v[0], v[1], v[2]};
    }
  }
  makeContinuous(motion);
  return motion;
}

}  // namespace understudy
