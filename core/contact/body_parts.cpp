#include "core/contact/body_parts.h"

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
  double frontStart, frontEnd, sideStart, sideEnd;
};

Thickness thicknessOf(BodyPart part) {
  switch (part) {
    case BodyPart::head: return {.057, .057, .044, .044};
    case BodyPart::chest: return {.062, .070, .082, .095};
    case BodyPart::belly: return {.068, .062, .095, .082};
    case BodyPart::leftUpperArm:
    case BodyPart::rightUpperArm: return {.034, .027, .034, .027};
    case BodyPart::leftForearm:
    case BodyPart::rightForearm: return {.026, .017, .026, .017};
    case BodyPart::leftHand:
    case BodyPart::rightHand: return {.009, .009, .025, .025};
    case BodyPart::leftThigh:
    case BodyPart::rightThigh: return {.054, .037, .054, .037};
    case BodyPart::leftShank:
    case BodyPart::rightShank: return {.035, .021, .035, .021};
    case BodyPart::count: break;
  }
  return {};
}

class Builder {
 public:
  Builder(const PosedBody& body, std::span<const Quatd> turn) : body_(body), turn_(turn) {}

  BodyParts build() {
    out_.stature = body_.pose.legLength / legFraction;
    const auto hips = middle(Role::leftUpperLeg, Role::rightUpperLeg);
    const auto shoulders = middle(Role::leftUpperArm, Role::rightUpperArm);
    const int chest = chestJoint();
    if (hips && shoulders && body_.has(Role::hips) && chest >= 0) {
      const Vec3d middle = lerp(*hips, *shoulders, waist);
      set(BodyPart::belly, Role::hips, body_.joint(Role::hips), *hips, middle);
      set(BodyPart::chest, chestRole_, chest, middle, *shoulders);
    }
    if (shoulders && body_.has(Role::head)) {
      const Vec3d at = *body_.at(Role::head);
      // Head joints lie anywhere between the neck and the ears; the shoulders tell how high the head is above them.
      const double lift = std::clamp(headAboveShoulders * out_.stature - (at.y - shoulders->y), 0.0, 0.06 * out_.stature);
      const Vec3d centre = at + up * lift + front * (0.008 * out_.stature);
      const double half = 0.02 * out_.stature;
      set(BodyPart::head, Role::head, body_.joint(Role::head), centre - up * half, centre + up * half);
    }
    limb(BodyPart::leftUpperArm, Role::leftUpperArm);
    limb(BodyPart::rightUpperArm, Role::rightUpperArm);
    limb(BodyPart::leftForearm, Role::leftLowerArm);
    limb(BodyPart::rightForearm, Role::rightLowerArm);
    limb(BodyPart::leftThigh, Role::leftUpperLeg);
    limb(BodyPart::rightThigh, Role::rightUpperLeg);
    limb(BodyPart::leftShank, Role::leftLowerLeg);
    limb(BodyPart::rightShank, Role::rightLowerLeg);
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

  void set(BodyPart part, Role role, int joint, const Vec3d& start, const Vec3d& end, std::optional<Vec3d> facing = {}) {
    PartShape& shape = out_.parts[static_cast<int>(part)];
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
    const Thickness t = thicknessOf(part);
    const double h = out_.stature;
    shape.frontStart = t.frontStart * h;
    shape.frontEnd = t.frontEnd * h;
    shape.sideStart = t.sideStart * h;
    shape.sideEnd = t.sideEnd * h;
  }

  void limb(BodyPart part, Role role) {
    const int end = segmentEnd(*body_.map, role);
    if (!body_.has(role) || end < 0) return;
    set(part, role, body_.joint(role), *body_.at(role), body_.position[end]);
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
    set(left ? BodyPart::leftHand : BodyPart::rightHand, role, joint, wrist, wrist + along * out_.handLength[s], palm);
  }

  const PosedBody& body_;
  std::span<const Quatd> turn_;
  BodyParts out_;
  Role chestRole_ = Role::hips;
};

}  // namespace

std::string_view bodyPartName(BodyPart part) {
  switch (part) {
    case BodyPart::head: return "head";
    case BodyPart::chest: return "chest";
    case BodyPart::belly: return "hips";
    case BodyPart::leftUpperArm: return "left upper arm";
    case BodyPart::rightUpperArm: return "right upper arm";
    case BodyPart::leftForearm: return "left forearm";
    case BodyPart::rightForearm: return "right forearm";
    case BodyPart::leftHand: return "left hand";
    case BodyPart::rightHand: return "right hand";
    case BodyPart::leftThigh: return "left thigh";
    case BodyPart::rightThigh: return "right thigh";
    case BodyPart::leftShank: return "left shank";
    case BodyPart::rightShank: return "right shank";
    case BodyPart::count: break;
  }
  return "";
}

BodyPart mirrored(BodyPart part) {
  if (part < BodyPart::leftUpperArm || part >= BodyPart::count) return part;
  const int first = static_cast<int>(BodyPart::leftUpperArm);
  return static_cast<BodyPart>(first + ((static_cast<int>(part) - first) ^ 1));
}

BodyParts bodyParts(const PosedBody& body, std::span<const Quatd> turn) { return Builder(body, turn).build(); }

Vec3d axisPoint(const PartShape& part, double along) { return lerp(part.start, part.end, along); }

Vec3d outwards(const PartShape& part, double around) { return part.front * std::cos(around) + part.side * std::sin(around); }

PartView viewFrom(const PartShape& part, const Quatd& rotation, const Vec3d& position, const Vec3d& point) {
  const Vec3d p = rotate(conjugate(rotation), point - position), along = part.end - part.start;
  const double size = length(along);
  PartView view;
  view.place.along = dot(p - part.start, along) / (size * size);
  const double t = std::clamp(view.place.along, 0.0, 1.0);
  const Vec3d q = p - axisPoint(part, t);
  const double f = dot(q, part.front), s = dot(q, part.side), over = (view.place.along - t) * size;
  view.place.around = std::atan2(s, f);
  const double rf = part.frontStart + (part.frontEnd - part.frontStart) * t, rs = part.sideStart + (part.sideEnd - part.sideStart) * t;
  const double cap = std::sqrt(rf * rs);
  const double k = std::sqrt(f * f / (rf * rf) + s * s / (rs * rs) + over * over / (cap * cap));
  view.gap = k > 1e-6 ? length(q) * (1 - 1 / k) : -std::min(rf, rs);
  return view;
}

}  // namespace understudy
