#include "core/repair/plant_calm.h"

#include <algorithm>
#include <cmath>

#include "core/math/median.h"
#include "core/math/smooth_step.h"
#include "core/repair/plant_strip.h"

namespace understudy {
namespace {

constexpr double around = 0.25;     // seconds on either side that say what is usual
constexpr double meanOver = 0.05;   // and over which the mean is taken
constexpr double stumbles = 4;      // times the usual from which an acceleration begins to be a stumble, and is one from half as much again,
constexpr double twistOver = 0.06;  // seconds on either side over which the mean of a twist is taken
constexpr double toesOver = 0.08;   // over which that of toes is
constexpr double least = 0.0025;    // and by which part of the leg a frame's hips must be off the middle of those beside it,
constexpr double leastThigh = 0.01; // by how many radians a thigh must jump,
constexpr double towers = 2.5;      // and how many times as far as in the frames before and after

int frames(double seconds, double rate, int fewest) { return std::max(fewest, static_cast<int>(std::lround(seconds * rate))); }

/// How much each frame is one that stumbles, 0 … 1: where it is off by many times more than what is usual around it, and by more than
/// `from`, and those beside it.
std::vector<double> stumbling(const std::vector<double>& off, const std::vector<double>& all, double from, const std::vector<double>& firm, double rate) {
  const int n = static_cast<int>(off.size()), usual = frames(around, rate, 5), mean = frames(meanOver, rate, 2);
  std::vector<double> part(off.size(), 0.0);
  for (int f = 1; f + 1 < n; ++f) {
    const double is = off[static_cast<std::size_t>(f)];
    if (is <= from || !(firm[static_cast<std::size_t>(f)] > 0)) continue;
    const double usually = median({all.begin() + std::max(1, f - usual), all.begin() + std::min(n - 1, f + usual + 1)});
    const double stumble = smoothStep((is / std::max(usually, 1e-9) / stumbles - 1) / 0.5) * smoothStep(is / from - 1);
    if (stumble <= 0) continue;
    for (int k = std::max(0, f - mean - 1); k <= std::min(n - 1, f + mean + 1); ++k) {
      double& p = part[static_cast<std::size_t>(k)];
      p = std::max(p, stumble * (1 - smoothStep((std::abs(k - f) - 1.0) / (mean + 1))));
    }
  }
  for (std::size_t f = 0; f < part.size(); ++f) part[f] *= firm[f];
  return part;
}

/// Of steps those that tower over the ones before and after: legs swing faster over frames, captures jump in one.
std::vector<double> single(const std::vector<double>& steps) {
  std::vector<double> out(steps.size(), 0.0);
  for (std::size_t k = 2; k + 1 < steps.size(); ++k)
    if (steps[k] >= towers * std::max(steps[k - 1], steps[k + 1])) out[k] = out[k - 1] = std::max(steps[k], out[k - 1]);
  return out;
}

}  // namespace

int calmReach(double rate) { return 2 * frames(meanOver, rate, 2) + 2 + frames(around, rate, 5); }

std::vector<Calms> calmed(const std::vector<PelvisPose>& way, const std::array<std::vector<double>, 2>& firm, double rate, double leg) {
  const int n = static_cast<int>(way.size()), mean = frames(meanOver, rate, 2);
  std::vector<Calms> out(way.size());
  if (n < 3) return out;
  const auto at = [&](int f) -> const PelvisPose& { return way[static_cast<std::size_t>(std::clamp(f, 0, n - 1))]; };
  std::vector<double> hips(way.size(), 0.0), either(way.size(), 0.0);
  std::array<std::vector<double>, 2> steps{hips, hips};  // radians by which a thigh turns into a frame
  for (std::size_t side = 0; side < 2; ++side)
    for (int f = 0; f < n; ++f) {
      const auto k = static_cast<std::size_t>(f);
      either[k] = std::max(either[k], firm[side][k]);
      if (f == 0) continue;
      steps[side][k] = angleBetween(at(f - 1).thighs[side], at(f).thighs[side]);
      if (f + 1 == n) continue;
      hips[k] = std::max(hips[k], length(at(f - 1).hips[side] + at(f + 1).hips[side] - at(f).hips[side] * 2.0));
    }
  const std::vector<double> pelvis = stumbling(hips, hips, least * leg, either, rate);
  const std::array<std::vector<double>, 2> legs{stumbling(single(steps[0]), steps[0], leastThigh, firm[0], rate), stumbling(single(steps[1]), steps[1], leastThigh, firm[1], rate)};
  const std::vector<double> kernel = bump(mean);
  const auto turned = [](const Quatd& from, const Quatd& to) { return logOf(normalised(to * conjugate(from))); };
  for (int f = 0; f < n; ++f) {
    const auto now = static_cast<std::size_t>(f);
    Calms& calms = out[now];
    for (int k = -mean; k <= mean; ++k) {
      const double w = kernel[static_cast<std::size_t>(k + mean)];
      if (const double p = w * pelvis[now]; p > 0) {
        calms.pelvis.by += (at(f + k).pivot - at(f).pivot) * p;
        calms.pelvis.turn += turned(at(f).turn, at(f + k).turn) * p;
        calms.trunk += turned(at(f).trunk, at(f + k).trunk) * p;
      }
      for (std::size_t side = 0; side < 2; ++side)
        if (const double p = w * std::max(pelvis[now], legs[side][now]); p > 0) calms.thighs[side] += turned(at(f).thighs[side], at(f + k).thighs[side]) * p;
    }
  }
  return out;
}

int toesReach(double rate) { return frames(toesOver, rate, 2); }

std::vector<Quatd> calmedToes(const std::vector<LegFrame>& legs, double rate) {
  const int n = static_cast<int>(legs.size()), reach = toesReach(rate);
  const std::vector<double> kernel = bump(reach);
  std::vector<Quatd> own, out;
  for (const LegFrame& leg : legs) own.push_back(conjugate(leg.foot.foot) * leg.foot.toe);
  for (int f = 0; f < n; ++f) {
    const Quatd& here = own[static_cast<std::size_t>(f)];
    Vec3d sum;
    for (int k = -reach; k <= reach; ++k) sum += logOf(normalised(conjugate(here) * own[static_cast<std::size_t>(std::clamp(f + k, 0, n - 1))])) * kernel[static_cast<std::size_t>(k + reach)];
    out.push_back(normalised(here * expOf(sum)));
  }
  return out;
}

int twistReach(double rate) { return frames(twistOver, rate, 2); }

std::vector<double> calmedTwists(const std::vector<LegFrame>& legs, double rate) {
  const int n = static_cast<int>(legs.size()), reach = twistReach(rate);
  std::vector<double> steps(legs.size(), 0.0), out(legs.size(), 0.0);  // radians a frame
  for (std::size_t f = 1; f < legs.size(); ++f) {
    const Quatd last = conjugate(legs[f - 1].thigh) * legs[f - 1].shank, now = conjugate(legs[f].thigh) * legs[f].shank;
    const Vec3d along = normalised(rotate(conjugate(legs[f].shank), legs[f].foot.at - legs[f].knee), {0, 1, 0});
    steps[f] = dot(logOf(normalised(conjugate(last) * now)), along);
  }
  // Beyond the ends it goes on as it came.
  const auto step = [&](int f) {
    const int k = f < 1 ? 1 - f : f >= n ? 2 * n - 1 - f : f;
    return k >= 1 && k < n ? steps[static_cast<std::size_t>(k)] : 0.0;
  };
  // From each frame on by itself: sums that began elsewhere would be rounded otherwise.
  const std::vector<double> kernel = bump(reach);
  for (int f = 0; f < n; ++f) {
    double& sum = out[static_cast<std::size_t>(f)];
    double after = 0, before = 0;
    for (int k = 1; k <= reach; ++k) {
      sum += kernel[static_cast<std::size_t>(reach + k)] * (after += step(f + k));
      sum += kernel[static_cast<std::size_t>(reach - k)] * (before -= step(f - k + 1));
    }
  }
  return out;
}

}  // namespace understudy
