#include "core/repair/smooth.h"

#include <algorithm>
#include <cmath>

#include "core/math/filter.h"
#include "core/repair/admit.h"
#include "core/repair/tracks.h"

namespace understudy {

Result<std::vector<double>> smoothingKernel(double cutoff, double rate) {
  const Result<LowPass> filter = butterworthLowPass(cutoff, rate, passCorrection(2));
  if (!filter) return filter.error();
  // Response of one pass to a single 1.
  std::vector<double> once;
  double y1 = 0, y2 = 0, x1 = 0, x2 = 0, peak = 0;
  for (std::size_t i = 0; i < 1000000; ++i) {
    const double x = i == 0 ? 1 : 0, y = filter->a0 * x + filter->a1 * x1 + filter->a2 * x2 + filter->b1 * y1 + filter->b2 * y2;
    x2 = x1, x1 = x, y2 = y1, y1 = y;
    once.push_back(y);
    peak = std::max(peak, std::abs(y));
    if (i > 2 && std::abs(y1) < 1e-9 * peak && std::abs(y2) < 1e-9 * peak) break;
  }
  // The second pass, backwards, makes it the response's correlation with itself.
  std::vector<double> kernel;
  double total = 0;
  for (std::size_t k = 0; k < once.size(); ++k) {
    double sum = 0;
    for (std::size_t i = 0; i + k < once.size(); ++i) sum += once[i] * once[i + k];
    kernel.push_back(sum);
    total += (k == 0 ? 1 : 2) * std::abs(sum);
  }
  double outside = 0;
  while (kernel.size() > 1 && outside + 2 * std::abs(kernel.back()) < 1e-4 * total) {
    outside += 2 * std::abs(kernel.back());
    kernel.pop_back();
  }
  double sum = kernel[0];
  for (std::size_t k = 1; k < kernel.size(); ++k) sum += 2 * kernel[k];
  for (double& h : kernel) h /= sum;
  return kernel;
}

namespace {

/// The values of one joint at the frames first, first + 1, …
template <class T>
struct Window {
  int first = 0;
  std::vector<T> values;
  [[nodiscard]] const T& at(int frame) const { return values[static_cast<std::size_t>(frame - first)]; }
  [[nodiscard]] T& at(int frame) { return values[static_cast<std::size_t>(frame - first)]; }
};

Vec3d turnedAbout(const Vec3d& end, const Vec3d& value) { return end * 2.0 - value; }
Quatd turnedAbout(const Quatd& end, const Quatd& value) { return end * conjugate(value) * end; }

/// Value at a frame that may lie outside the clip, which has frames 0 … last.
template <class T>
T continued(const Window<T>& window, int frame, int last) {
  if (frame < 0) return turnedAbout(window.at(0), window.at(std::min(-frame, last)));
  if (frame > last) return turnedAbout(window.at(last), window.at(std::max(2 * last - frame, 0)));
  return window.at(frame);
}

/// Rotation vector of a quaternion, of which −q is a turn by more than half: up to 2π.
Vec3d unrolledLog(const Quatd& q) {
  const double x = 1 - q.w;
  // acos(w) / √(1−w²) = Σ cₙ xⁿ with c₀ = 1, cₙ₊₁ = cₙ (n+1) / (2n+3): to 1e-10 for turns below 60°.
  if (x < 0.134) {
    double sum = 1;
    for (int n = 8; n >= 1; --n) sum = 1 + sum * x * (n / (2.0 * n + 1));
    return q.vec() * (2 * sum);
  }
  const double s = length(q.vec());
  return s < 1e-12 ? Vec3d{} : q.vec() * (2 * std::atan2(s, q.w) / s);
}

/// The values around some frames, as the kernel wants them: one after another, also where the clip has ended.
template <class T>
std::vector<T> surroundings(const Window<T>& window, FrameSpan frames, int radius, int last) {
  std::vector<T> all;
  all.reserve(static_cast<std::size_t>(frames.count() + 2 * radius));
  for (int f = frames.first - radius; f <= frames.last + radius; ++f) all.push_back(continued(window, f, last));
  return all;
}

void makeContinuous(std::vector<Vec3d>&) {}
/// Signs by neighbours alone, so that pieces of a clip differ by one sign altogether at most.
void makeContinuous(std::vector<Quatd>& values) {
  bool flip = false;
  for (std::size_t i = 1; i < values.size(); ++i) {
    const Quatd before = flip ? -values[i - 1] : values[i - 1];
    flip = flip != (dot(before, values[i]) < 0);
    if (flip) values[i] = -values[i];
  }
}

/// `middle` has kernel.size() − 1 values on both sides.
Vec3d filtered(const Vec3d* middle, const std::vector<double>& kernel) {
  Vec3d sum = *middle * kernel[0];
  for (std::size_t k = 1; k < kernel.size(); ++k) sum += (*(middle - k) + middle[k]) * kernel[k];
  return sum;
}

Quatd filtered(const Quatd* middle, const std::vector<double>& kernel) {
  const int radius = static_cast<int>(kernel.size()) - 1;
  const auto weight = [&](int k) { return kernel[static_cast<std::size_t>(std::abs(k))]; };
  Quatd sum{0, 0, 0, 0};
  double nearest = 1;
  for (int k = -radius; k <= radius; ++k) {
    const Quatd& q = middle[k];
    const double h = weight(k);
    sum = {sum.w + h * q.w, sum.x + h * q.x, sum.y + h * q.y, sum.z + h * q.z};
    nearest = std::min(nearest, dot(q, *middle));
  }
  if (!(dot(sum, sum) > 1e-6)) return *middle;
  const Quatd mean = normalised(sum);
  // Within 2 degrees the sum is the mean to 2e-6.
  if (nearest > 1 - 1.5e-4) return mean;
  const Quatd toMean = conjugate(mean);
  Vec3d turn;
  for (int k = -radius; k <= radius; ++k) turn += unrolledLog(toMean * middle[k]) * weight(k);
  return mean * expOf(turn);
}

Quatd blended(const Quatd& a, const Quatd& b, double w) { return w >= 1 ? b : slerp(a, b, w); }
Vec3d blended(const Vec3d& a, const Vec3d& b, double w) { return lerp(a, b, w); }

struct Pass {
  std::size_t repair = 0;
  std::vector<int> joints;  ///< ascending
  bool position = true;
  std::vector<double> kernel;
  FrameSpan extent;
  [[nodiscard]] int radius() const { return static_cast<int>(kernel.size()) - 1; }
  [[nodiscard]] bool has(int joint) const { return std::binary_search(joints.begin(), joints.end(), joint); }
};

class SmoothLayer : public RepairLayer {
 public:
  SmoothLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), extents_(repairs_.size()) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const Repair& repair = *repairs_[i];
      const auto* smooth = std::get_if<SmoothRepair>(&repair.action);
      if (!smooth || !admitted(repair, frames_[i], *context_, issues)) continue;
      const double rate = context_->rate.hertz();
      if (smooth->cutoff >= rate / 2) {
        issues.push_back(makeNote("Nothing moves faster than its cut-off of " + std::to_string(smooth->cutoff) + " Hz at " + context_->rate.text() + " frames/s; it is left out",
                                  describe(repair), "Choose one below half the frame rate"));
        continue;
      }
      Result<std::vector<double>> kernel = smoothingKernel(smooth->cutoff, rate);
      if (!kernel) {
        issues.push_back(makeWarning(kernel.error().what, describe(repair), kernel.error().todo));
        continue;
      }
      Pass pass{i, findBones(*context_, smooth->bones, describe(repair), issues), smooth->position, std::move(*kernel), frames_[i].acting()};
      pass.extent = common(pass.extent, {0, context_->frames - 1});
      if (pass.joints.empty()) continue;
      extents_[i] = pass.extent;
      passes_.push_back(std::move(pass));
    }
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override { return extents_[repair]; }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    for (const Pass& pass : passes_) changed = hull(changed, common(widened(changed, pass.radius(), pass.radius()), pass.extent));
    return changed;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>&) const override {
    std::vector<int> joints;
    FrameSpan acting;
    for (const Pass& pass : passes_) {
      const FrameSpan both = common(pass.extent, frames);
      if (both.empty()) continue;
      acting = hull(acting, both);
      joints.insert(joints.end(), pass.joints.begin(), pass.joints.end());
    }
    forEachTrack(std::move(joints), in, out, [&](int joint, bool position, const auto& read, const auto& write) { run(joint, position, acting, read, write); });
  }

 private:
  /// Takes one joint's values through the passes that have it; `write` receives those a pass has changed in `frames`.
  template <class Read, class Write>
  void run(int joint, bool position, FrameSpan frames, const Read& read, const Write& write) const {
    using T = decltype(read(0));
    const FrameSpan clip{0, context_->frames - 1};
    std::vector<const Pass*> mine;
    for (const Pass& pass : passes_)
      if (pass.has(joint) && (!position || pass.position)) mine.push_back(&pass);
    // What each pass needs of the one before, from the last to the first.
    std::vector<FrameSpan> needs{frames};
    for (std::size_t i = mine.size(); i-- > 0;) {
      const FrameSpan own = common(needs.back(), mine[i]->extent);
      needs.push_back(hull(needs.back(), common(widened(own, mine[i]->radius(), mine[i]->radius()), clip)));
    }
    Window<T> window{needs.back().first, {}};
    window.values.reserve(static_cast<std::size_t>(needs.back().count()));
    for (int f = needs.back().first; f <= needs.back().last; ++f) window.values.push_back(read(f));
    std::vector<char> changed(static_cast<std::size_t>(frames.count()), 0);
    for (std::size_t i = 0; i < mine.size(); ++i) {
      const Pass& pass = *mine[i];
      const FrameSpan own = common(needs[mine.size() - 1 - i], pass.extent);
      if (own.empty()) continue;
      std::vector<T> around = surroundings(window, own, pass.radius(), clip.last);
      makeContinuous(around);
      for (int f = own.first; f <= own.last; ++f) {
        const double w = repairs_[pass.repair]->weight * spanWeight(frames_[pass.repair], f);
        if (w == 0) continue;
        window.at(f) = blended(window.at(f), filtered(around.data() + (f - own.first + pass.radius()), pass.kernel), w);
        if (frames.holds(f)) changed[static_cast<std::size_t>(f - frames.first)] = 1;
      }
    }
    for (int f = frames.first; f <= frames.last; ++f)
      if (changed[static_cast<std::size_t>(f - frames.first)]) write(f, window.at(f));
  }

  std::vector<Pass> passes_;
  std::vector<FrameSpan> extents_;
};

}  // namespace

RepairLayerPtr makeSmoothLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  if (repairs.empty()) return nullptr;
  return std::make_shared<SmoothLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
