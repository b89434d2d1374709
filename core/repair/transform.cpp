#include "core/repair/transform.h"

#include <cmath>
#include <utility>

#include "core/repair/layer.h"
#include "core/repair/grip.h"
#include "core/repair/mirror.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

template <class... Cases>
struct Overloaded : Cases... {
  using Cases::operator()...;
};

std::string nameOf(const Nudge& nudge) { return nudge.name.empty() ? "nudge " + std::to_string(nudge.id) : "nudge '" + nudge.name + "'"; }

class Mirror {
 public:
  Mirror(const RepairContext& context, const SagittalPlane& plane, std::string where, Issues& issues)
      : context_(context), plane_(plane), turn_(fromAxisAngle(Vec3d{0, 1, 0}, plane.heading)), where_(std::move(where)), issues_(issues) {}

  /// Both joints, −1 where there is none.
  std::pair<int, int> joints(const std::string& name) {
    const Result<int> joint = findBone(context_, name);
    if (!joint) {
      issues_.push_back(makeWarning(joint.error().what, where_, joint.error().todo));
      return {-1, -1};
    }
    const int other = mirroredJoint(context_, *joint);
    if (other < 0) issues_.push_back(makeWarning("'" + name + "' has no bone on the other side; it keeps its side", where_));
    return {*joint, other};
  }
  void bone(std::string& name) {
    if (const auto [joint, other] = joints(name); other >= 0) name = boneName(context_, other);
  }
  void bones(std::vector<std::string>& names) {
    for (std::string& name : names) bone(name);
  }
  [[nodiscard]] Vec3d direction(const Vec3d& v) const { return rotate(turn_, mirroredPlace(rotate(conjugate(turn_), v))); }
  [[nodiscard]] Vec3d place(const Vec3d& p) const { return plane_.point + direction(p - plane_.point); }
  [[nodiscard]] double yaw(double y) const { return std::remainder(2 * plane_.heading - y, 2 * M_PI); }

  void changes(std::vector<JointNudge>& list, NudgeSpace space) {
    for (JointNudge& part : list) {
      const auto [joint, other] = joints(part.joint);
      if (other < 0) continue;
      if (!mirrorChange(context_, joint, other, space, part.rotation, part.translation)) {
        part.rotation = rotate(turn_, mirroredTurn(rotate(conjugate(turn_), part.rotation)));
        part.translation = direction(part.translation);
      }
      part.joint = boneName(context_, other);
    }
  }

  void touch(TouchRepair& t) {
    const auto [joint, other] = joints(t.bone);
    const auto pointOver = [&, from = joint, to = other](Vec3d& p) {
      if (to >= 0) p = mirroredPlace(context_, from, to, p);
    };
    if (t.prop == 0) pointOver(t.point);
    if (other >= 0) t.bone = boneName(context_, other);
    const auto onBone = [&](std::string& on, Vec3d& at, Vec3d& normal) {
      if (on.empty()) return;
      const auto [from, to] = joints(on);
      if (to < 0) return;
      at = mirroredPlace(context_, from, to, at);
      normal = mirroredPlace(context_, from, to, normal);
      on = boneName(context_, to);
    };
    switch (t.target) {
      case TouchTarget::point:
      case TouchTarget::plane:
        t.place = place(t.place);
        t.normal = direction(t.normal);
        break;
      case TouchTarget::body:
      case TouchTarget::hand:
        onBone(t.on, t.place, t.normal);
        for (TouchMark& mark : t.path) {
          onBone(mark.on, mark.place, mark.normal);
          pointOver(mark.point);
        }
        break;
      case TouchTarget::set:
      case TouchTarget::prop: break;
    }
  }

  void grip(GripRepair& g) {
    const int left = context_.joint(Role::leftHand), right = context_.joint(Role::rightHand);
    if (left < 0 || right < 0) {
      issues_.push_back(makeWarning("The character has no two hands; the grip keeps its side", where_));
      return;
    }
    g = mirroredGrip(context_, g);
  }

 private:
  const RepairContext& context_;
  const SagittalPlane plane_;
  const Quatd turn_;
  const std::string where_;
  Issues& issues_;
};

PlantPart mirroredPart(PlantPart part) {
  if (part == PlantPart::seat) return part;
  const int i = static_cast<int>(part);
  return static_cast<PlantPart>(i % 2 == 0 ? i + 1 : i - 1);
}

}  // namespace

SagittalPlane sagittalPlane(const RepairContext& context, const TiledMotion& motion, int frame) {
  const int hips = context.joint(Role::hips);
  if (hips < 0 || frame < 0 || frame >= motion.frames()) return {};
  Poser poser(context);
  poser.load(motion, frame);
  return {poser.position(hips), headingOf(context, poser.rotation(hips))};
}

Repair mirrored(const Repair& repair, const RepairContext& context, const SagittalPlane& plane, Issues& issues) {
  Repair out = repair;
  Mirror mirror(context, plane, describe(repair), issues);
  std::visit(Overloaded{
                 [&](OffsetRepair& r) { mirror.changes(r.bones, r.space); },
                 [&](BridgeRepair& r) { mirror.bones(r.bones); },
                 [&](StillRepair& r) { mirror.bones(r.bones); },
                 [&](RestoreRepair& r) { mirror.bones(r.bones); },
                 [&](UntwistRepair& r) { mirror.bones(r.bones); },
                 [&](SmoothRepair& r) { mirror.bones(r.bones); },
                 [&](PlantRepair& r) {
                   r.part = mirroredPart(r.part);
                   r.normal = mirror.direction(r.normal);
                   r.anchor = mirror.place(r.anchor);
                   r.yaw = mirror.yaw(r.yaw);
                   r.turn = -r.turn;
                   for (PlantMark& mark : r.marks)
                     if (mark.turn) mark.turn = -*mark.turn;
                 },
                 [&](TouchRepair& r) { mirror.touch(r); },
                 [&](GripRepair& r) { mirror.grip(r); },
                 [&](ClearanceRepair& r) { mirror.bones(r.limbs); },
                 [&](HandShapeRepair& r) { r.left = !r.left; },
                 [](GroundRepair&) {},
             },
             out.action);
  return out;
}

Nudge mirrored(const Nudge& nudge, const RepairContext& context, const SagittalPlane& plane, Issues& issues) {
  Nudge out = nudge;
  Mirror(context, plane, nameOf(nudge), issues).changes(out.joints, out.space);
  std::vector<JointNudge> slopes = slopeParts(nudge.slopes);
  Issues told;  // what stands against the slopes stands against the turns, and was said
  Mirror(context, plane, nameOf(nudge), told).changes(slopes, out.space);
  out.slopes = slopesOf(slopes);
  return out;
}

Repair movedInTime(const Repair& repair, double seconds) {
  Repair out = repair;
  if (out.span) {
    out.span->first += seconds;
    out.span->last += seconds;
  }
  if (auto* still = std::get_if<StillRepair>(&out.action); still && still->time) *still->time += seconds;
  if (auto* plant = std::get_if<PlantRepair>(&out.action)) {
    for (PlantMark& mark : plant->marks) mark.time += seconds;
    if (plant->release) *plant->release += seconds;
  }
  if (auto* touch = std::get_if<TouchRepair>(&out.action))
    for (TouchMark& mark : touch->path) mark.time += seconds;
  return out;
}

Nudge movedInTime(const Nudge& nudge, double seconds) {
  Nudge out = nudge;
  out.time += seconds;
  return out;
}

}  // namespace understudy
