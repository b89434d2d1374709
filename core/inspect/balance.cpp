#include "core/inspect/balance.h"

#include <algorithm>
#include <cmath>

#include "core/inspect/limb_names.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

/// Horizontal place of the centre of mass. Shares of the body's mass: trunk .497 at the middle from hips to neck, head and neck .081,
/// upper arm .028 at .436 of its length, forearm and hand .022 at .682 of the forearm, thigh .100 at .433, shank .0465 at .433, foot .0145.
Vec3d centreOfMass(const RepairContext& context, const Poser& poser, int top, int head) {
  const auto at = [&](int joint) { return poser.position(joint); };
  const int hips = context.joint(Role::hips);
  Vec3d sum = (at(hips) + at(top)) * 0.5 * 0.497 + at(head) * 0.081;
  double mass = 0.497 + 0.081;
  const auto add = [&](const Vec3d& p, double share) {
    sum += p * share;
    mass += share;
  };
  for (std::size_t side = 0; side < 2; ++side) {
    const LimbRig &arm = context.arms[side], &leg = context.legs[side];
    if (arm.complete()) {
      add(at(arm.root) + (at(arm.mid) - at(arm.root)) * 0.436, 0.028);
      add(at(arm.mid) + (at(arm.end) - at(arm.mid)) * 0.682, 0.022);
    }
    if (leg.complete()) {
      add(at(leg.root) + (at(leg.mid) - at(leg.root)) * 0.433, 0.100);
      add(at(leg.mid) + (at(leg.end) - at(leg.mid)) * 0.433, 0.0465);
      add(at(leg.end), 0.0145);
    }
  }
  return sum * (1 / mass);
}

/// Convex hull in the ground plane (x, z), counter-clockwise (Andrew 1979, monotone chain).
std::vector<Vec3d> hullOf(std::vector<Vec3d> points) {
  std::sort(points.begin(), points.end(), [](const Vec3d& a, const Vec3d& b) { return a.x != b.x ? a.x < b.x : a.z < b.z; });
  const auto turn = [](const Vec3d& o, const Vec3d& a, const Vec3d& b) { return (a.x - o.x) * (b.z - o.z) - (a.z - o.z) * (b.x - o.x); };
  std::vector<Vec3d> hull;
  for (int pass = 0; pass < 2; ++pass) {
    const std::size_t base = hull.size();
    for (const Vec3d& p : points) {
      while (hull.size() >= base + 2 && turn(hull[hull.size() - 2], hull.back(), p) <= 0) hull.pop_back();
      hull.push_back(p);
    }
    hull.pop_back();
    std::reverse(points.begin(), points.end());
  }
  return hull;
}

/// Metres outside of a hull, 0 inside.
double outsideOf(const std::vector<Vec3d>& hull, const Vec3d& p) {
  bool inside = hull.size() >= 3;
  double nearest = 1e300;
  for (std::size_t i = 0; i < hull.size(); ++i) {
    const Vec3d &a = hull[i], &b = hull[(i + 1) % hull.size()];
    const double dx = b.x - a.x, dz = b.z - a.z, px = p.x - a.x, pz = p.z - a.z, way = dx * dx + dz * dz;
    inside = inside && dx * pz - dz * px >= 0;
    const double u = way > 0 ? std::clamp((px * dx + pz * dz) / way, 0.0, 1.0) : 0;
    nearest = std::min(nearest, std::hypot(px - u * dx, pz - u * dz));
  }
  return inside ? 0 : nearest;
}

}  // namespace

Findings balanceFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& plants, const BalanceLimits& limits) {
  Findings out;
  const int frames = motion.frames(), hips = context.joint(Role::hips), head = context.joint(Role::head);
  const int top = context.joint(Role::neck) >= 0 ? context.joint(Role::neck) : head;
  if (frames < 3 || hips < 0 || head < 0 || !context.legs[0].complete() || !context.legs[1].complete()) return out;
  std::vector<std::array<char, 2>> stands(static_cast<std::size_t>(frames));
  std::vector<char> otherwise(static_cast<std::size_t>(frames), 0);
  for (const Repair& repair : plants) {
    const auto* plant = std::get_if<PlantRepair>(&repair.action);
    if (!plant) continue;
    const FrameSpan span = common(repairFrames(repair, context.rate, frames).span, {0, frames - 1});
    for (int f = span.first; f <= span.last; ++f) {
      if (plant->part == PlantPart::leftFoot) stands[static_cast<std::size_t>(f)][0] = 1;
      else if (plant->part == PlantPart::rightFoot) stands[static_cast<std::size_t>(f)][1] = 1;
      else otherwise[static_cast<std::size_t>(f)] = 1;
    }
  }
  Poser poser(context);
  std::array<std::vector<Vec3d>, 2> soles;
  for (std::size_t side = 0; side < 2; ++side) {
    const int foot = context.legs[side].end;
    for (const JointPoint& point : context.soles[side].points) {
      const Vec3d rigid = context.rigidPoint(point);
      const auto j = static_cast<std::size_t>(point.joint);
      soles[side].push_back(rotate(conjugate(context.body.rotation[static_cast<std::size_t>(foot)]),
                                   context.body.position[j] + rotate(context.body.rotation[j], rigid) - context.body.position[static_cast<std::size_t>(foot)]));
    }
  }
  std::vector<Vec3d> centres;
  std::vector<double> off;
  for (int f = 0; f < frames; ++f) {
    poser.load(motion, f);
    centres.push_back(centreOfMass(context, poser, top, head));
    std::vector<Vec3d> ground;
    for (std::size_t side = 0; side < 2; ++side)
      if (stands[static_cast<std::size_t>(f)][side])
        for (const Vec3d& p : soles[side]) ground.push_back(poser.toWorld(context.legs[side].end, p));
    off.push_back(ground.size() < 3 || otherwise[static_cast<std::size_t>(f)] ? 0 : outsideOf(hullOf(std::move(ground)), centres.back()));
  }
  const int step = std::max(1, static_cast<int>(std::lround(context.rate.hertz() / 15)));
  const auto falls = [&](int f) {
    if (f < 0 || f >= frames || off[static_cast<std::size_t>(f)] <= context.scaled(limits.outside)) return false;
    const int a = std::max(0, f - step), b = std::min(frames - 1, f + step);
    Vec3d way = centres[static_cast<std::size_t>(b)] - centres[static_cast<std::size_t>(a)];
    way.y = 0;
    return length(way) <= limits.slow * context.height * context.rate.seconds(b - a);
  };
  for (int f = 0; f < frames; ++f) {
    if (!falls(f)) continue;
    FrameSpan span{f, f};
    while (falls(span.last + 1)) ++span.last;
    f = span.last;
    if (context.rate.seconds(span.count()) < limits.shortest) continue;
    Finding finding;
    finding.kind = FindingKind::balance;
    finding.hint = true;
    finding.span = span;
    finding.worst = static_cast<int>(std::max_element(off.begin() + span.first, off.begin() + span.last + 1) - off.begin());
    const double most = off[static_cast<std::size_t>(finding.worst)];
    finding.measure = 1000 * most;
    finding.severity = std::clamp(most / context.scaled(0.3), 0.02, 1.0);
    finding.bones = {boneName(context, hips)};
    finding.sentence = "Standing still, the body's weight lies " + spokenFigure(finding.measure, "mm") + " outside of its feet";
    finding.cause = "The weight is that of a person of this build; a prop or another build may balance it";
    nameFinding(finding, context.rate);
    out.push_back(std::move(finding));
  }
  return out;
}

}  // namespace understudy
