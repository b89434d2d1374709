#include "core/inspect/twist.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "core/repair/untwist.h"
#include "core/repair/untwist_limb.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// Values less the median around them, which is taken of at most some sixty values at a time, every eighth of the window.
std::vector<double> offMedian(const std::vector<double>& values, int window) {
  const int n = static_cast<int>(values.size()), pace = std::max(1, window / 8), stride = std::max(1, window / 60);
  std::vector<double> medians, near;
  for (int middle = 0; middle < n + pace; middle += pace) {
    near.clear();
    for (int f = middle - window / 2; f <= middle + window / 2; f += stride)
      if (f >= 0 && f < n) near.push_back(values[static_cast<std::size_t>(f)]);
    if (near.empty()) near.push_back(values.back());
    const auto half = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
    std::nth_element(near.begin(), half, near.end());
    medians.push_back(*half);
  }
  std::vector<double> off;
  for (int f = 0; f < n; ++f) {
    const auto k = static_cast<std::size_t>(f / pace);
    const double t = static_cast<double>(f % pace) / pace;
    off.push_back(std::remainder(values[static_cast<std::size_t>(f)] - (medians[k] * (1 - t) + medians[k + 1] * t), 2 * std::numbers::pi));
  }
  return off;
}

struct Part {
  const LimbRig* limb;
  Role lower;
  const char* lowerName;
  const char* endName;
  double limit;
};

}  // namespace

Findings twistFindings(const RepairContext& context, const TiledMotion& motion, const TwistLimits& limits) {
  Findings out;
  const int frames = motion.frames();
  const int window = std::max(3, static_cast<int>(std::lround(limits.window * context.rate.hertz())));
  if (frames < 6) return out;
  const std::array<Part, 4> parts{{{&context.arms[0], Role::leftLowerArm, "left forearm", "hand", limits.arm},
                                   {&context.arms[1], Role::rightLowerArm, "right forearm", "hand", limits.arm},
                                   {&context.legs[0], Role::leftLowerLeg, "left shank", "foot", limits.leg},
                                   {&context.legs[1], Role::rightLowerLeg, "right shank", "foot", limits.leg}}};
  LocalPose pose(context);
  std::array<std::optional<TwistLink>, 4> links;
  for (std::size_t i = 0; i < parts.size(); ++i)
    if (parts[i].limb->complete()) {
      links[i] = twistLink(context, parts[i].limb->mid, parts[i].limb->end, {}, parts[i].limb->root);
      if (links[i] && links[i]->above < 0) links[i].reset();
    }
  std::array<std::vector<double>, 4> own, end;
  for (int f = 0; f < frames; ++f) {
    pose.load(motion, f);
    for (std::size_t i = 0; i < parts.size(); ++i) {
      if (!links[i]) continue;
      own[i].push_back(followedTwist(links[i]->baseChange(pose), links[i]->axis, own[i].empty() ? 0 : own[i].back()));
      end[i].push_back(followedTwist(links[i]->change(pose), links[i]->axis, end[i].empty() ? 0 : end[i].back()));
    }
  }
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!links[i]) continue;
    const std::vector<double> a = offMedian(own[i], window), b = offMedian(end[i], window);
    const auto against = [&](int f) {
      const double x = a[static_cast<std::size_t>(f)], y = b[static_cast<std::size_t>(f)];
      return x * y < 0 ? std::min(std::abs(x), std::abs(y)) / degree : 0.0;
    };
    const auto spin = [&](int f) { return (own[i][static_cast<std::size_t>(f)] - end[i][static_cast<std::size_t>(f)]) / 2 / degree; };
    for (int f = 0; f < frames; ++f) {
      if (against(f) < limits.seed * parts[i].limit) continue;
      FrameSpan span{f, f};
      while (span.first > 0 && against(span.first - 1) > limits.edge) --span.first;
      while (span.last + 1 < frames && against(span.last + 1) > limits.edge) ++span.last;
      f = span.last;
      Finding finding;
      finding.kind = FindingKind::twist;
      finding.span = span;
      double most = 0, farthest = 0;
      int farthestFrame = f;
      const double from = spin(std::max(0, span.first - 1)), to = spin(std::min(frames - 1, span.last + 1));
      for (int k = span.first; k <= span.last; ++k) {
        if (against(k) > most) {
          most = against(k);
          finding.worst = k;
        }
        const double u = (k - span.first + 1.0) / (span.count() + 1), way = std::abs(std::remainder(spin(k) - from - (to - from) * u, 360.0));
        if (way > farthest) {
          farthest = way;
          farthestFrame = k;
        }
      }
      const bool brief = context.rate.seconds(span.count()) <= limits.brief && farthest >= limits.local * parts[i].limit;
      if (most < parts[i].limit && !brief) continue;
      finding.measure = most;
      if (brief && farthest > most) {
        finding.measure = farthest;
        finding.worst = farthestFrame;
      }
      finding.severity = std::clamp(finding.measure / 120, 0.1, 1.0);
      finding.bones = {boneName(context, parts[i].limb->mid)};
      char size[24];
      std::snprintf(size, sizeof size, "%.0f°", finding.measure);
      finding.sentence = std::string("The ") + parts[i].lowerName + " twists by " + size + " while its " + parts[i].endName + " does not";
      if (span != FrameSpan{0, frames - 1}) {
        Repair repair;
        repair.name = std::string("twist of the ") + parts[i].lowerName;
        repair.span = TimeRange{context.rate.seconds(span.first), context.rate.seconds(span.last)};
        repair.easeBefore = repair.easeAfter = 0;
        repair.proposed = true;
        UntwistRepair untwist;
        untwist.bones = finding.bones;
        untwist.flips = false;
        untwist.share = 0;
        untwist.hinges = true;
        repair.action = std::move(untwist);
        finding.proposal = {std::move(repair)};
      }
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    }
  }
  return out;
}

}  // namespace understudy
