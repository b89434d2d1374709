#include "core/inspect/plants.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/math/median.h"

namespace understudy {
namespace {

PlantPhase phaseOf(FootPhase phase, PlantPhase last) {
  switch (phase) {
    case FootPhase::heel: return PlantPhase::heel;
    case FootPhase::flat: return PlantPhase::flat;
    case FootPhase::ball: return PlantPhase::ball;
    case FootPhase::toe: return PlantPhase::toe;
    case FootPhase::none: break;
  }
  return last;
}

/// A foot that only stands flat within capture's tolerance is about to roll already: from where heel or ball has begun to rise for
/// good the other bears alone. Heights are those of the foot's stillest frames there.
void refineEdges(const FootContact& foot, const ContactSpan& span, double leg, double rate, const PlantProposalSettings& settings, std::vector<PlantPhase>& phases) {
  const auto phaseAt = [&](int f) -> PlantPhase& { return phases[static_cast<std::size_t>(f - span.first)]; };
  const auto heel = [&](int f) { return foot.heel[static_cast<std::size_t>(f)].y; };
  const auto ball = [&](int f) { return foot.ball[static_cast<std::size_t>(f)].y; };
  const double near = settings.rise * leg;
  for (int first = span.first; first <= span.last;) {
    int last = first;
    if (phaseAt(first) != PlantPhase::flat) {
      ++first;
      continue;
    }
    while (last < span.last && phaseAt(last + 1) == PlantPhase::flat) ++last;
    std::vector<double> heels, balls;
    for (int f = first; f <= last; ++f) heels.push_back(heel(f)), balls.push_back(ball(f));
    const double heelLevel = median(std::move(heels)), ballLevel = median(std::move(balls));
    // At least a third of the stay remains flat.
    const int most = (last - first) / 3;
    if (first > span.first && phaseAt(first - 1) == PlantPhase::heel)
      for (int f = first; f <= first + most && ball(f) - ballLevel > near; ++f) phaseAt(f) = PlantPhase::heel;
    if (last < span.last)
      for (int f = last; f >= last - most && heel(f) - heelLevel > near; --f) phaseAt(f) = PlantPhase::ball;
    first = last + 1;
    if (first > span.last) break;
    // The ball leaves the ground before the toes do.
    int end = first;
    while (end < span.last && phaseAt(end + 1) != PlantPhase::flat && phaseAt(end + 1) != PlantPhase::heel) ++end;
    if (end == span.last)
      for (int f = end; f >= first && (ball(f) - ballLevel > settings.ballRise * leg || (span.leavingSeen && end - f < rate * settings.leastToe)); --f)
        phaseAt(f) = PlantPhase::toe;
  }
}

/// Heel or toes that seem to rise for a moment and come back are capture's noise: a phase that is short, does not begin or end the stay and
/// lies between others that are both before or both behind it in the course of a step goes to the one before it, the shortest first.
void dropFlicker(std::vector<PlantPhase>& phases, int least) {
  struct Run {
    PlantPhase phase;
    int count;
  };
  std::vector<Run> runs;
  for (const PlantPhase phase : phases) {
    if (runs.empty() || runs.back().phase != phase) runs.push_back({phase, 0});
    ++runs.back().count;
  }
  while (true) {
    std::size_t drop = 0;
    for (std::size_t i = 1; i + 1 < runs.size(); ++i) {
      const bool onItsWay = (runs[i - 1].phase < runs[i].phase) == (runs[i].phase < runs[i + 1].phase);
      if (!onItsWay && runs[i].count < least && (drop == 0 || runs[i].count < runs[drop].count)) drop = i;
    }
    if (drop == 0) break;
    runs[drop - 1].count += runs[drop].count;
    if (runs[drop + 1].phase == runs[drop - 1].phase) {
      runs[drop - 1].count += runs[drop + 1].count;
      runs.erase(runs.begin() + static_cast<std::ptrdiff_t>(drop) + 1);
    }
    runs.erase(runs.begin() + static_cast<std::ptrdiff_t>(drop));
  }
  phases.clear();
  for (const Run& run : runs) phases.insert(phases.end(), static_cast<std::size_t>(run.count), run.phase);
}

/// Frames first … last in which the foot's direction turns faster than it may and far enough: on the ball, or on the heel if that stays.
void markSpins(const FootContact& foot, int first, int last, double rate, const PlantProposalSettings& settings, std::vector<PlantPhase>& phases) {
  const int n = last - first + 1;
  std::vector<double> yaw(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    const auto f = static_cast<std::size_t>(first + i);
    const Vec3d way = foot.ball[f] - foot.heel[f];
    const double now = std::atan2(way.x, way.z);
    yaw[static_cast<std::size_t>(i)] = i == 0 ? now : yaw[static_cast<std::size_t>(i - 1)] + std::remainder(now - yaw[static_cast<std::size_t>(i - 1)], 2 * std::numbers::pi);
  }
  const int reach = std::max(1, static_cast<int>(std::lround(0.03 * rate))), join = static_cast<int>(std::lround(0.06 * rate));
  const auto turns = [&](int i) {
    const int a = std::max(0, i - reach), b = std::min(n - 1, i + reach);
    return b > a && std::abs(yaw[static_cast<std::size_t>(b)] - yaw[static_cast<std::size_t>(a)]) * rate / (b - a) > settings.spinRate;
  };
  for (int i = 0; i < n;) {
    if (!turns(i)) {
      ++i;
      continue;
    }
    int end = i;
    for (int k = i; k < n && k <= end + 1 + join; ++k)
      if (turns(k)) end = k;
    if (std::abs(yaw[static_cast<std::size_t>(end)] - yaw[static_cast<std::size_t>(i)]) >= settings.leastSpin) {
      const auto goes = [&](const std::vector<Vec3d>& path) {
        const Vec3d way = path[static_cast<std::size_t>(first + end)] - path[static_cast<std::size_t>(first + i)];
        return std::hypot(way.x, way.z);
      };
      const bool onHeel = goes(foot.heel) < settings.heelStays * goes(foot.ball);
      for (int k = i; k <= end; ++k) phases[static_cast<std::size_t>(k)] = PlantPhase::spin;
      // What the foot stands on before tells what it turns on.
      PlantPhase& before = phases[static_cast<std::size_t>(std::max(i - 1, 0))];
      if (onHeel) before = PlantPhase::heel;
      else if (before == PlantPhase::heel) before = PlantPhase::flat;
    }
    i = end + 1;
  }
}

}  // namespace

std::vector<Repair> proposePlants(const Contacts& contacts, FrameRate rate, double scale, const PlantProposalSettings& settings) {
  std::vector<Repair> out;
  const double hertz = rate.hertz();
  for (int side = 0; side < 2; ++side) {
    const FootContact& foot = contacts.feet[static_cast<std::size_t>(side)];
    for (const ContactSpan& span : foot.spans) {
      std::vector<PlantPhase> phases;
      for (int f = span.first; f <= span.last; ++f)
        phases.push_back(phaseOf(foot.phases[static_cast<std::size_t>(f)], phases.empty() ? PlantPhase::flat : phases.back()));
      refineEdges(foot, span, contacts.leg, hertz, settings, phases);
      dropFlicker(phases, static_cast<int>(std::lround(settings.leastPhase * hertz)));
      Repair repair;
      repair.name = side == 0 ? "left foot" : "right foot";
      repair.proposed = true;
      repair.easeBefore = settings.easeBefore;
      repair.easeAfter = settings.easeAfter;
      repair.span = TimeRange{span.first / hertz, span.last / hertz};
      PlantRepair plant;
      plant.part = side == 0 ? PlantPart::leftFoot : PlantPart::rightFoot;
      int released = span.last + 1;
      if (span.leavingSeen) {
        const double lasts = (span.last - span.first) / hertz;
        plant.release = span.last / hertz - std::min(settings.release * lasts, settings.longestRelease);
        released = static_cast<int>(std::floor(*plant.release * hertz));
      }
      if (released - 1 > span.first) markSpins(foot, span.first, released - 1, hertz, settings, phases);
      for (std::size_t i = 0; i < phases.size(); ++i)
        if (i == 0 || phases[i] != phases[i - 1]) {
          const double frame = span.first + static_cast<double>(i) - (i == 0 ? 0 : 0.5);
          plant.marks.push_back({frame / hertz, phases[i]});
        }
      plant.ground = std::abs(span.height) > settings.groundNear * contacts.leg ? span.height * scale : 0;
      repair.action = std::move(plant);
      out.push_back(std::move(repair));
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const Repair& a, const Repair& b) { return a.span->first < b.span->first; });
  return out;
}

}  // namespace understudy
