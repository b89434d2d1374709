#include "core/repair/plant_pelvis.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace understudy {
namespace {

constexpr std::size_t unknowns = 6, rows = 7;
using Row = std::array<double, unknowns>;
using Values = std::array<double, rows>;

/// What a leg would have less of once its hip has moved.
Values unrest(const PelvisLeg& leg, const Vec3d& by, const PelvisSettings& settings) {
  LegFrame moved = leg.own;
  moved.hip += by;
  moved.knee += by;
  moved.foot.at += by;
  const Vec3d thigh = leg.own.knee - leg.own.hip, shank = leg.own.foot.at - leg.own.knee;
  const double full = length(thigh) + length(shank);
  FootPose target;
  target.at = leg.foot;
  const double asked = distance(moved.hip, target.at) / full;
  if (asked > leg.most) target.at = moved.hip + (target.at - moved.hip) * (leg.most / asked);
  const LegFrame bent = bentTo(moved, leg.hinge, target);
  const Vec3d a = normalised(bent.knee - bent.hip) - normalised(thigh), b = normalised(bent.foot.at - bent.knee) - normalised(shank);
  return {a.x, a.y, a.z, b.x, b.y, b.z, std::sqrt(settings.overreach) * (std::max(0.0, asked - leg.most) - std::max(0.0, leg.least - asked))};
}

/// Solves the first `free` rows of a symmetric positive definite system, the others 0.
Row solved(std::array<Row, unknowns> m, Row v, std::size_t free) {
  for (std::size_t a = 0; a < free; ++a)
    for (std::size_t b = a + 1; b < free; ++b) {
      const double part = m[b][a] / m[a][a];
      for (std::size_t k = a; k < free; ++k) m[b][k] -= part * m[a][k];
      v[b] -= part * v[a];
    }
  for (std::size_t a = free; a-- > 0;) {
    for (std::size_t k = a + 1; k < free; ++k) v[a] -= m[a][k] * v[k];
    v[a] /= m[a][a];
  }
  for (std::size_t a = free; a < unknowns; ++a) v[a] = 0;
  return v;
}

Row rowOf(const PelvisMove& m) { return {m.by.x, m.by.y, m.by.z, m.turn.x, m.turn.y, m.turn.z}; }

PelvisMove descended(std::span<const PelvisLeg> legs, const Vec3d& pivot, const PelvisSettings& settings, PelvisMove best, std::size_t free) {
  double size = 0, weights = 0;
  for (const PelvisLeg& leg : legs) {
    size += leg.weight * (distance(leg.own.hip, leg.own.knee) + distance(leg.own.knee, leg.own.foot.at));
    weights += leg.weight;
  }
  if (!(size > 0)) return best;
  size /= weights;
  const Row rest{settings.restShift / (size * size), settings.restShift / (size * size), settings.restShift / (size * size), settings.restTurn, settings.restTurn, settings.restTurn};
  const auto costOf = [&](const PelvisMove& move) {
    double sum = 0;
    const Row at = rowOf(move);
    for (std::size_t k = 0; k < unknowns; ++k) sum += rest[k] * at[k] * at[k];
    for (const PelvisLeg& leg : legs) {
      const Values v = unrest(leg, movedBy(move, pivot, leg.own.hip), settings);
      for (const double x : v) sum += leg.weight * x * x;
    }
    return sum;
  };
  double cost = costOf(best), damping = 1e-3;
  const double probe = 1e-5 * size;
  for (int round = 0; round < settings.rounds; ++round) {
    std::array<Row, unknowns> m{};
    Row v{};
    const Row at = rowOf(best);
    for (std::size_t k = 0; k < unknowns; ++k) {
      m[k][k] = rest[k];
      v[k] = -rest[k] * at[k];
    }
    const Quatd turned = expOf(best.turn);
    for (const PelvisLeg& leg : legs) {
      const Vec3d by = movedBy(best, pivot, leg.own.hip), arm = rotate(turned, leg.own.hip - pivot);
      const Values now = unrest(leg, by, settings);
      std::array<Vec3d, rows> slope;
      for (int axis = 0; axis < 3; ++axis) {
        Vec3d step;
        step[axis] = probe;
        const Values then = unrest(leg, by + step, settings);
        for (std::size_t r = 0; r < rows; ++r) slope[r][axis] = (then[r] - now[r]) / probe;
      }
      for (std::size_t r = 0; r < rows; ++r) {
        // A turn moves the hip across its arm.
        const Vec3d s = slope[r], t = cross(arm, s);
        const Row row{s.x, s.y, s.z, t.x, t.y, t.z};
        for (std::size_t i = 0; i < unknowns; ++i) {
          v[i] -= leg.weight * row[i] * now[r];
          for (std::size_t k = 0; k < unknowns; ++k) m[i][k] += leg.weight * row[i] * row[k];
        }
      }
    }
    bool better = false;
    for (int attempt = 0; attempt < 4 && !better; ++attempt) {
      std::array<Row, unknowns> damped = m;
      for (std::size_t k = 0; k < unknowns; ++k) damped[k][k] *= 1 + damping;
      const Row step = solved(damped, v, free);
      // Small turns added to a turn: the rotation vectors' sum is near enough.
      const PelvisMove next{best.by + Vec3d{step[0], step[1], step[2]}, best.turn + Vec3d{step[3], step[4], step[5]}};
      const double costs = costOf(next);
      better = costs < cost;
      damping = better ? std::max(damping / 5, 1e-6) : damping * 8;
      if (!better) continue;
      const bool done = costs > cost - 1e-7;
      best = next;
      cost = costs;
      if (done) return best;
    }
    if (!better) break;
  }
  return best;
}

}  // namespace

PelvisMove bestPelvis(std::span<const PelvisLeg> legs, const Vec3d& pivot, const PelvisSettings& settings) {
  return descended(legs, pivot, settings, {}, unknowns);
}

PelvisMove bestShift(std::span<const PelvisLeg> legs, const Vec3d& pivot, const PelvisSettings& settings, const PelvisMove& start) {
  return descended(legs, pivot, settings, start, 3);
}

}  // namespace understudy
