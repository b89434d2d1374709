#include "core/contact/body_sites.h"

#include <algorithm>
#include <cmath>

#include "core/retarget/posed_body.h"

namespace understudy {
namespace {

// Fractions of the stature.
constexpr double legFraction = 0.491;   // thigh .245 and shank .246
constexpr double handFraction = 0.108;
constexpr double headAboveShoulders = 0.117;  // middle of the head .935, shoulder joints .818
constexpr double waist = 0.45;                // part of the way from the hip joints to the shoulder joints

const Vec3d front{0, 0, 1}, up{0, 1, 0};

struct Thickness {
  double frontStart, frontEnd, sideStart, sideEnd, cap;
};

Thickness thicknessOf(BodySite site) {
  switch (site) {
    case BodySite::head: return {.057, .057, .044, .044, .045};
    case BodySite::chest: return {.062, .070, .082, .095, .035};
    case BodySite::belly: return {.068, .062, .095, .082, .035};
    case BodySite::leftUpperArm:
    case BodySite::rightUpperArm: return {.034, .027, .034, .027, .030};
    case BodySite::leftForearm:
    case BodySite::rightForearm: return {.026, .017, .026, .017, .020};
    case BodySite::leftHand:
    case BodySite::rightHand: return {.009, .009, .025, .025, .009};
    case BodySite::leftThigh:
    case BodySite::rightThigh: return {.054, .037, .054, .037, .042};
    case BodySite::leftShank:
    case BodySite::rightShank: return {.035, .021, .035, .021, .028};
    case BodySite::count: break;
  }
  return {};
}

class Builder {
 public:
  Builder(const PosedBody& body, std::span<const Quatd> turn) : body_(body), turn_(turn) {}

  BodySites build() {
    out_.stature = body_.pose.legLength / legFraction;
    const auto hips = middle(Role::leftUpperLeg, Role::rightUpperLeg);
    const auto shoulders = middle(Role::leftUpperArm, Role::rightUpperArm);
    const int chest = chestJoint();
    if (hips && shoulders && body_.has(Role::hips) && chest >= 0) {
      const Vec3d middle = lerp(*hips, *shoulders, waist);
      set(BodySite::belly, Role::hips, body_.joint(Role::hips), *hips, middle);
      set(BodySite::chest, chestRole_, chest, middle, *shoulders);
    }
    if (shoulders && body_.has(Role::head)) {
      const Vec3d at = *body_.at(Role::head);
      // Head joints lie anywhere between the neck and the ears; the shoulders tell how high the head is above them.
      const double lift = std::clamp(headAboveShoulders * out_.stature - (at.y - shoulders->y), 0.0, 0.06 * out_.stature);
      const Vec3d centre = at + up * lift + front * (0.008 * out_.stature);
      const double half = 0.02 * out_.stature;
      set(BodySite::head, Role::head, body_.joint(Role::head), centre - up * half, centre + up * half);
    }
    limb(BodySite::leftUpperArm, Role::leftUpperArm);
    limb(BodySite::rightUpperArm, Role::rightUpperArm);
    limb(BodySite::leftForearm, Role::leftLowerArm);
    limb(BodySite::rightForearm, Role::rightLowerArm);
    limb(BodySite::leftThigh, Role::leftUpperLeg);
    limb(BodySite::rightThigh, Role::rightUpperLeg);
    limb(BodySite::leftShank, Role::leftLowerLeg);
    limb(BodySite::rightShank, Role::rightLowerLeg);
    hand(0);
    hand(1);
    return out_;
  }

 private:
  [[nodiscard]] std::optional<Vec3d> middle(Role a, Role b) const {
    const auto p = body_.at(a), q = body_.at(b);
    return p && q ? std::optional<Vec3d>((*p + *q) * 0.5) : std::nullopt;
  }

  /// The trunk joint that carries the arms.
  int chestJoint() {
    const int arm = body_.joint(Role::leftUpperArm);
    if (arm < 0) return -1;
    for (const Role role : {Role::upperChest, Role::chest, Role::spine, Role::hips}) {
      const int joint = body_.joint(role);
      if (joint < 0 || !isAncestor(body_.figure->skeleton, joint, arm)) continue;
      chestRole_ = role;
      return joint;
    }
    return -1;
  }

  void set(BodySite site, Role role, int joint, const Vec3d& start, const Vec3d& end, std::optional<Vec3d> facing = {}) {
    SiteShape& shape = out_.shapes[static_cast<std::size_t>(site)];
    const Vec3d along = end - start;
    if (joint < 0 || !(length(along) > 1e-4 * out_.stature)) return;
    const Vec3d axis = normalised(along);
    Vec3d towards = facing ? *facing : std::abs(axis.z) < 0.8 ? front : up;
    const auto index = static_cast<std::size_t>(indexOf(role));
    if (index < turn_.size() && !facing) towards = rotate(conjugate(turn_[index]), towards);
    towards = normalised(towards - axis * dot(towards, axis), anyPerpendicular(axis));
    const Quatd back = conjugate(body_.rotation[joint]);
    shape.joint = joint;
    shape.start = rotate(back, start - body_.position[joint]);
    shape.end = rotate(back, end - body_.position[joint]);
    shape.front = rotate(back, towards);
    shape.side = rotate(back, cross(axis, towards));
    const Thickness t = thicknessOf(site);
    const double h = out_.stature;
    shape.frontStart = t.frontStart * h;
    shape.frontEnd = t.frontEnd * h;
    shape.sideStart = t.sideStart * h;
    shape.sideEnd = t.sideEnd * h;
    shape.cap = t.cap * h;
  }

  void limb(BodySite site, Role role) {
    const int end = segmentEnd(*body_.map, role);
    if (!body_.has(role) || end < 0) return;
    set(site, role, body_.joint(role), *body_.at(role), body_.position[end]);
  }

  void hand(int s) {
    const bool left = s == 0;
    const Role role = left ? Role::leftHand : Role::rightHand, lower = left ? Role::leftLowerArm : Role::rightLowerArm;
    const int joint = body_.joint(role);
    if (joint < 0 || !body_.has(lower)) return;
    const Vec3d wrist = body_.position[joint], forearm = wrist - *body_.at(lower);
    const Vec3d ahead = normalised(forearm, left ? Vec3d{1, 0, 0} : Vec3d{-1, 0, 0});
    // Knuckles, or what else goes on from the forearm, give the direction; the farthest of it the length.
    Vec3d sum{};
    const int knuckles = indexOf(left ? Role::leftIndexProximal : Role::rightIndexProximal);
    for (int finger = 0; finger < 4; ++finger)
      if (const auto p = body_.at(roleAt(knuckles + 3 * finger))) sum += *p - wrist;
    double reach = 0;
    Vec3d leaves{};
    const Skeleton& skeleton = body_.figure->skeleton;
    for (int j = joint + 1; j < skeleton.size(); ++j) {
      if (!isAncestor(skeleton, joint, j)) continue;
      const Vec3d d = body_.position[j] - wrist;
      if (length(d) < 0.1 * length(forearm) || angleBetween(d, ahead) > 0.7) continue;
      leaves += d;
      reach = std::max(reach, dot(d, ahead));
    }
    const Vec3d along = normalised(length(sum) > 1e-9 ? sum : leaves, ahead);
    const double usual = handFraction * out_.stature;
    out_.handLength[s] = std::clamp(reach > 0 ? reach : usual, 0.5 * usual, usual);
    // Across the hand towards the thumb, where the hand shows it; else the elbow's way to bend tells the palm.
    const auto at = [&](Role l, Role r) { return body_.at(left ? l : r); };
    Vec3d radial{};
    const auto index = at(Role::leftIndexProximal, Role::rightIndexProximal), little = at(Role::leftLittleProximal, Role::rightLittleProximal);
    if (index && little) radial = *index - *little;
    if (length(radial) < 1e-9)
      for (const Role r : {Role::leftThumbDistal, Role::leftThumbProximal, Role::leftThumbMetacarpal})
        if (const auto p = body_.at(left ? r : mirrored(r)); p && length(*p - wrist) > 1e-6) {
          radial = *p - wrist;
          break;
        }
    radial = radial - along * dot(radial, along);
    if (length(radial) < 1e-6) {
      // Arms raised sideways or hanging, thumbs point to the front; held forward, upwards.
      const Vec3d thumb = std::abs(along.z) < 0.8 ? front : up;
      radial = thumb - along * dot(thumb, along);
    }
    radial = normalised(radial);
    const Vec3d palm = left ? cross(along, radial) : cross(radial, along);
    set(left ? BodySite::leftHand : BodySite::rightHand, role, joint, wrist, wrist + along * out_.handLength[s], palm);
  }

  const PosedBody& body_;
  std::span<const Quatd> turn_;
  BodySites out_;
  Role chestRole_ = Role::hips;
};

}  // namespace

std::string_view bodySiteName(BodySite site) {
  switch (site) {
    case BodySite::head: return "head";
    case BodySite::chest: return "chest";
    case BodySite::belly: return "hips";
    case BodySite::leftUpperArm: return "left upper arm";
    case BodySite::rightUpperArm: return "right upper arm";
    case BodySite::leftForearm: return "left forearm";
    case BodySite::rightForearm: return "right forearm";
    case BodySite::leftHand: return "left hand";
    case BodySite::rightHand: return "right hand";
    case BodySite::leftThigh: return "left thigh";
    case BodySite::rightThigh: return "right thigh";
    case BodySite::leftShank: return "left shank";
    case BodySite::rightShank: return "right shank";
    case BodySite::count: break;
  }
  return "";
}

BodySite mirrored(BodySite site) {
  if (site < BodySite::leftUpperArm || site >= BodySite::count) return site;
  const int first = static_cast<int>(BodySite::leftUpperArm);
  return static_cast<BodySite>(first + ((static_cast<int>(site) - first) ^ 1));
}

BodySites bodySites(const PosedBody& body, std::span<const Quatd> turn) { return Builder(body, turn).build(); }

Vec3d axisPoint(const SiteShape& site, double along) { return lerp(site.start, site.end, along); }

Vec3d outwards(const SiteShape& site, double around) { return site.front * std::cos(around) + site.side * std::sin(around); }

SiteView viewFrom(const SiteShape& site, const Quatd& rotation, const Vec3d& position, const Vec3d& point) {
  const Vec3d p = rotate(conjugate(rotation), point - position), along = site.end - site.start;
  const double size = length(along);
  SiteView view;
  view.place.along = dot(p - site.start, along) / (size * size);
  const double t = std::clamp(view.place.along, 0.0, 1.0);
  const Vec3d q = p - axisPoint(site, t);
  const double f = dot(q, site.front), s = dot(q, site.side), over = (view.place.along - t) * size;
  view.place.around = std::atan2(s, f);
  view.place.tilt = std::atan2(over, std::hypot(s, f));
  const double rf = site.frontStart + (site.frontEnd - site.frontStart) * t, rs = site.sideStart + (site.sideEnd - site.sideStart) * t;
  const double k = std::sqrt(f * f / (rf * rf) + s * s / (rs * rs) + over * over / (site.cap * site.cap));
  view.gap = k > 1e-6 ? length(q) * (1 - 1 / k) : -std::min(rf, rs);
  return view;
}

}  // namespace understudy
