#include "core/math/two_bone.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

constexpr double straight = 0.0087;  // sine of half a degree
constexpr double tiny = 1e-9;        // of a length, or of a unit vector

Vec3d across(const Vec3d& v, const Vec3d& unit) {
  return v - unit * dot(v, unit);
}

/// Angle from `a` to `b` about the unit vector `axis`, −π … π; both are taken at right angles to it.
double angleAbout(const Vec3d& axis, const Vec3d& a, const Vec3d& b) {
  const Vec3d p = across(a, axis), q = across(b, axis);
  return std::atan2(dot(axis, cross(p, q)), dot(p, q));
}

/// Axis of the middle joint, at right angles to the first bone, about which a positive turn opens the limb.
Vec3d hingeOf(const Vec3d& toRoot, const Vec3d& toEnd, const Vec3d& stored) {
  const Vec3d own = cross(toRoot, toEnd);
  if (length(own) > straight) return normalised(own);
  const double size = length(stored);
  const Vec3d given = size > 0 && std::isfinite(size) ? across(stored / size, toRoot) : Vec3d{};
  if (length(given) > 1e-3) return normalised(given);
  return length(own) > tiny ? normalised(across(own, toRoot)) : anyPerpendicular(toRoot);
}

void place(const TwoBoneLimb& limb, const Vec3d& target, TwoBoneSolution& s) {
  s.mid = limb.root + rotate(s.rootTurn, limb.mid - limb.root);
  s.end = s.mid + rotate(s.rootTurn * s.midTurn, limb.end - limb.mid);
  s.miss = distance(s.end, target);
  s.reached = s.miss <= 1e-6 * (distance(limb.root, limb.mid) + distance(limb.mid, limb.end));
}

}  // namespace

double interiorAngle(double first, double second, double reach) {
  const double d = std::clamp(reach, std::abs(first - second), first + second);
  // Half-angle form: accurate near straight and near folded, where the cosine alone is flat.
  const double s = (first + second + d) / 2;
  const double over = std::max((s - first) * (s - second), 0.0), under = std::max(s * (s - d), 0.0);
  return 2 * std::atan2(std::sqrt(over), std::sqrt(under));
}

double softReach(double wanted, double full, double soft) {
  const double from = std::clamp(soft, 0.0, 1.0) * full, zone = full - from;
  if (wanted <= from) return wanted;
  return zone > 0 ? from + zone * (1 - std::exp(-(wanted - from) / zone)) : full;
}

TwoBoneSolution solveTwoBone(const TwoBoneLimb& limb, const TwoBoneGoal& goal) {
  TwoBoneSolution out;
  const Vec3d first = limb.mid - limb.root, second = limb.end - limb.mid, chord = limb.end - limb.root, wanted = goal.target - limb.root;
  const double l1 = length(first), l2 = length(second), full = l1 + l2;
  const bool sound = std::isfinite(l1) && std::isfinite(l2) && std::isfinite(length(wanted)) && isFinite(goal.target) &&
                     std::isfinite(goal.soft) && std::isfinite(goal.weight) && std::min(l1, l2) > tiny * full;
  if (!sound) {
    out.mid = limb.mid, out.end = limb.end;
    out.miss = distance(limb.end, goal.target);
    out.reached = out.miss == 0;
    return out;
  }

  // The middle joint first: open or close it in the limb's plane, until the end is as far from the root as it should be.
  const Vec3d toRoot = -first / l1, toEnd = second / l2;
  const Vec3d hinge = hingeOf(toRoot, toEnd, goal.hinge);
  const Vec3d flat = normalised(across(toEnd, hinge), -toRoot);
  const double before = angleAbout(hinge, toRoot, flat);  // negative where bent the wrong way
  const double after = interiorAngle(l1, l2, softReach(length(wanted), full, goal.soft));
  out.midTurn = normalised(fromAxisAngle(hinge, after - before) * rotationBetween(toEnd, flat));

  // Then the root: bring the new root–end line on the old one within the plane, and the old one on the target's.
  const Vec3d bent = first + rotate(out.midTurn, second);
  const Vec3d bentLine = normalised(bent, cross(toRoot, hinge));
  const Vec3d oldLine = length(chord) > tiny * full ? chord / length(chord) : bentLine;
  const Vec3d newLine = length(wanted) > tiny * full ? wanted / length(wanted) : oldLine;
  const Quatd within = fromAxisAngle(hinge, angleAbout(hinge, bentLine, oldLine));
  // The old line leaves the plane by less than half a degree, and only where the stored hinge stands in.
  const Quatd onOld = normalised(rotationBetween(normalised(rotate(within, bentLine)), oldLine) * within);
  const Vec3d oldHinge = rotate(onOld, hinge);
  const Quatd turn = dot(oldLine, newLine) < -1 + 1e-9 ? fromAxisAngle(oldHinge, M_PI) : rotationBetween(oldLine, newLine);
  out.rootTurn = normalised(turn * onOld);
  // Remove what rounding and the half turn left of the angle to the target's line.
  const Vec3d line = rotate(out.rootTurn, bentLine);
  out.rootTurn = normalised(rotationBetween(normalised(line), newLine) * out.rootTurn);

  if (goal.pole && isFinite(*goal.pole)) {
    const double size = length(*goal.pole);
    const Vec3d side = size > 0 && std::isfinite(size) ? across(*goal.pole / size, newLine) : Vec3d{};
    if (length(side) > 1e-6) {
      // The hinge says which side the joint bends to even where the limb ends up straight.
      const Vec3d bend = cross(rotate(out.rootTurn, hinge), newLine);
      out.rootTurn = normalised(fromAxisAngle(newLine, angleAbout(newLine, bend, side)) * out.rootTurn);
    }
  }

  const double weight = std::clamp(goal.weight, 0.0, 1.0);
  if (weight < 1) {
    out.rootTurn = slerp(Quatd{}, out.rootTurn, weight);
    out.midTurn = slerp(Quatd{}, out.midTurn, weight);
  }
  place(limb, goal.target, out);
  return out;
}

}  // namespace understudy
