#include "core/inspect/jumps.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

std::string degrees(double value) {
  char text[32];
  std::snprintf(text, sizeof text, value < 9.95 ? "%.1f°" : "%.0f°", value);
  return text;
}

/// A role's name as people say it: "left upper arm".
std::string spoken(const std::string& bone) {
  if (bone.empty() || bone.front() != '@') return bone;
  std::string out;
  for (const char c : bone.substr(1)) {
    if (c >= 'A' && c <= 'Z') {
      out += ' ';
      out += static_cast<char>(c - 'A' + 'a');
    } else {
      out += c;
    }
  }
  return out;
}

/// The frames at which one joint jumps: step k lies between the frames k−1 and k.
std::vector<int> jumpsOf(const std::vector<double>& steps, const JumpLimits& limits) {
  std::vector<int> out;
  const int n = static_cast<int>(steps.size());
  const auto step = [&](int k) { return k >= 1 && k < n ? steps[static_cast<std::size_t>(k)] : 0.0; };
  std::vector<double> near;
  for (int k = 1; k < n; ++k) {
    const double v = step(k);
    if (v < limits.least) continue;
    // One large step, or two that follow each other, and quiet on both sides.
    const bool begins = step(k - 1) * limits.neighbours <= v, ends = step(k + 1) * limits.neighbours <= v;
    const bool pairFirst = begins && step(k + 2) * limits.neighbours <= std::min(v, step(k + 1));
    const bool pairLast = ends && step(k - 2) * limits.neighbours <= std::min(v, step(k - 1));
    if (!((begins && ends) || pairFirst || pairLast)) continue;
    near.clear();
    for (int m = std::max(1, k - limits.around); m <= std::min(n - 1, k + limits.around); ++m)
      if (std::abs(m - k) > 1) near.push_back(step(m));
    if (near.size() < 4) continue;
    const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
    std::nth_element(near.begin(), middle, near.end());
    if (v >= limits.ratio * *middle) out.push_back(k);
  }
  return out;
}

}  // namespace

Findings jumpFindings(const RepairContext& context, const TiledMotion& motion, const JumpLimits& limits) {
  Findings out;
  const int frames = motion.frames();
  if (frames < 6) return out;
  Issues ignored;
  for (const int joint : findBones(context, {}, {}, ignored)) {
    const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(joint)]); };
    std::vector<double> steps(static_cast<std::size_t>(frames), 0);
    for (int f = 1; f < frames; ++f) steps[static_cast<std::size_t>(f)] = angleBetween(at(f - 1), at(f)) / degree;
    const std::vector<int> jumps = jumpsOf(steps, limits);
    const auto calm = [&](int first, int last) {
      double most = 0.05;
      for (int f = first; f <= last; ++f)
        if (f >= 1 && f < frames && std::find(jumps.begin(), jumps.end(), f) == jumps.end()) most = std::max(most, steps[static_cast<std::size_t>(f)]);
      return most;
    };
    for (std::size_t i = 0; i < jumps.size(); ++i) {
      const int k = jumps[i];
      const double size = steps[static_cast<std::size_t>(k)];
      // The first later jump after which the bone is back where it was before.
      std::size_t back = i;
      for (std::size_t m = i + 1; m < jumps.size() && jumps[m] - k <= limits.longest && back == i; ++m) {
        const int b = jumps[m];
        const double left = angleBetween(at(k - 1), at(b)) / degree, quiet = calm(k - 2, b + 2) * (b - k + 2);
        if (left <= std::max(0.35 * size, std::min(quiet, 0.6 * size))) back = m;
      }
      const bool returns = back != i;
      // Two steps the same way are a fast move, not a jump.
      if (!returns && i + 1 < jumps.size() && jumps[i + 1] == k + 1) {
        ++i;
        continue;
      }
      Finding finding;
      const std::string bone = boneName(context, joint);
      const bool flips = returns && size >= limits.flip;
      finding.kind = flips ? FindingKind::flip : FindingKind::pop;
      finding.measure = size;
      finding.severity = std::clamp(size / 45, 0.05, 1.0);
      finding.span = returns ? FrameSpan{k, jumps[back] - 1} : FrameSpan{k, k};
      finding.worst = k;
      finding.bones = {bone};
      finding.sentence = "The " + spoken(bone) + (flips ? " flips by " : " jumps by ") + degrees(size) + (returns ? " and back" : "");
      Repair bridge;
      bridge.name = flips ? "flip of the " + spoken(bone) : "jump of the " + spoken(bone);
      // A jump that stays is spread over the frames around it.
      const FrameSpan rebuilt = returns ? finding.span : common({k - 3, k + 2}, {1, frames - 2});
      bridge.span = TimeRange{context.rate.seconds(rebuilt.first), context.rate.seconds(rebuilt.last)};
      bridge.easeBefore = bridge.easeAfter = 0;
      bridge.proposed = true;
      bridge.action = BridgeRepair{{bone}, true};
      if (!rebuilt.empty()) finding.proposal = {std::move(bridge)};
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
      i = back;
    }
  }
  return out;
}

}  // namespace understudy
