#include "core/inspect/range.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>

#include "core/inspect/limb_names.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

struct Joint {
  int joint;
  double limit;
  const char* how;
  std::function<double(const Poser&)> bend;  ///< degrees
};

/// How far a bone that ends at `to` is swung against the bone above from its place in the reference pose.
double swing(const RepairContext& context, const Poser& poser, int above, int joint, int to) {
  const PosedBody& body = context.body;
  const auto at = [](const auto& list, int j) { return list[static_cast<std::size_t>(j)]; };
  const Vec3d rest = rotate(conjugate(at(body.rotation, above)), at(body.position, to) - at(body.position, joint));
  const Vec3d now = rotate(conjugate(poser.rotation(above)), poser.position(to) - poser.position(joint));
  return angleBetween(rest, now) / degree;
}

std::vector<Joint> jointsOf(const RepairContext& context, const RangeLimits& limits) {
  std::vector<Joint> out;
  const auto hinge = [&](const LimbRig& limb, double most, double back) {
    if (!limb.complete()) return;
    const auto bend = [&limb](const Poser& poser) {
      const Vec3d upper = poser.position(limb.mid) - poser.position(limb.root), lower = poser.position(limb.end) - poser.position(limb.mid);
      return std::pair{angleBetween(upper, lower) / degree, dot(cross(upper, lower), rotate(poser.rotation(limb.root), limb.hinge))};
    };
    out.push_back({limb.mid, most, "bends", [bend](const Poser& poser) { return bend(poser).first; }});
    // The hinge opens the joint about its axis: bent backwards the limb lies on the other side of straight. Close to it the side says nothing.
    out.push_back({limb.mid, back, "bends backwards", [bend](const Poser& poser) {
                     const auto [size, side] = bend(poser);
                     return size > 10 && side > 0 ? size : 0.0;
                   }});
  };
  const int hips = context.joint(Role::hips);
  for (std::size_t side = 0; side < 2; ++side) {
    const LimbRig &arm = context.arms[side], &leg = context.legs[side];
    hinge(arm, limits.elbow, limits.elbowBack);
    hinge(leg, limits.knee, limits.kneeBack);
    const int finger = context.joint(side == 0 ? Role::leftMiddleProximal : Role::rightMiddleProximal);
    if (arm.complete() && finger >= 0)
      out.push_back({arm.end, limits.wrist, "bends", [&context, &arm, finger](const Poser& poser) { return swing(context, poser, arm.mid, arm.end, finger); }});
    if (leg.complete() && hips >= 0)
      out.push_back({leg.root, limits.hip, "swings", [&context, &leg, hips](const Poser& poser) { return swing(context, poser, hips, leg.root, leg.mid); }});
    if (leg.complete() && leg.tip >= 0)
      out.push_back({leg.end, limits.ankle, "bends", [&context, &leg](const Poser& poser) { return swing(context, poser, leg.mid, leg.end, leg.tip); }});
  }
  return out;
}

}  // namespace

Findings rangeFindings(const RepairContext& context, const TiledMotion& motion, const TiledMotion& performed, const RangeLimits& limits) {
  Findings out;
  const std::vector<Joint> joints = jointsOf(context, limits);
  const int frames = motion.frames(), shortest = std::max(1, static_cast<int>(std::lround(limits.shortest * context.rate.hertz())));
  std::vector<std::vector<double>> bends(joints.size());
  Poser poser(context);
  for (int f = 0; f < frames; ++f) {
    poser.load(motion, f);
    for (std::size_t j = 0; j < joints.size(); ++j) bends[j].push_back(joints[j].bend(poser));
  }
  for (std::size_t j = 0; j < joints.size(); ++j) {
    const Joint& joint = joints[j];
    for (int f = 0; f < frames; ++f) {
      const auto beyond = [&](int k) { return k < frames && bends[j][static_cast<std::size_t>(k)] > joint.limit + limits.margin; };
      if (!beyond(f)) continue;
      FrameSpan span{f, f};
      while (beyond(span.last + 1)) ++span.last;
      f = span.last;
      if (span.count() < shortest) continue;
      Finding finding;
      finding.kind = FindingKind::range;
      finding.hint = true;
      finding.span = span;
      finding.worst = static_cast<int>(std::max_element(bends[j].begin() + span.first, bends[j].begin() + span.last + 1) - bends[j].begin());
      const double most = bends[j][static_cast<std::size_t>(finding.worst)];
      finding.measure = most - joint.limit;
      finding.severity = std::clamp(finding.measure / 90, 0.02, 1.0);
      finding.bones = {boneName(context, joint.joint)};
      finding.sentence = "The " + spokenBone(finding.bones.front()) + " " + joint.how + " by " + spokenFigure(most, "°") + "; people's goes to " + spokenFigure(joint.limit, "°");
      poser.load(performed, finding.worst);
      const double own = joint.bend(poser);
      finding.cause = own > most - 5 ? "It is as far without repairs: " + spokenFigure(own, "°") + ", by the performance or by how bones were matched"
                                     : "Repairs take it there; without them it is " + spokenFigure(own, "°");
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    }
  }
  return out;
}

}  // namespace understudy
