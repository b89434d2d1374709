#include "app/editor/stage/stage_handles.h"

#include <algorithm>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "core/repair/drag.h"
#include "core/repair/grip.h"
#include "core/repair/poser.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

/// The prop's place by the hand that leads; where nothing is seen in the hands, the lead hand's own frame.
std::optional<Rigid> propAt(const Poser& poser, const GripRepair& grip) {
  const int hand = poser.context().joint(grip.leadLeft ? Role::leftHand : Role::rightHand);
  if (hand < 0) return {};
  const Rigid bone{poser.rotation(hand), poser.position(hand)};
  return bone * rigidOf(grip.leadPalm) * inverse(rigidOf(grip.leadGrip));
}

/// The bone that carries a touch's target; −1: it lies in the stage.
int carrierOf(const RepairContext& context, const TouchRepair& touch) {
  if (touch.target != TouchTarget::body && touch.target != TouchTarget::hand) return -1;
  const auto joint = findBone(context, touch.on);
  return joint ? joint.value() : -1;
}

bool inStage(const TouchRepair& touch) { return touch.target == TouchTarget::point || touch.target == TouchTarget::plane; }

bool isLimbPart(Role role) {
  switch (role) {
    case Role::hips:
    case Role::leftHand:
    case Role::rightHand:
    case Role::leftFoot:
    case Role::rightFoot:
    case Role::leftLowerArm:
    case Role::rightLowerArm:
    case Role::leftLowerLeg:
    case Role::rightLowerLeg: return true;
    default: return false;
  }
}

}  // namespace

std::vector<StageHandle> handlesOf(const Document& document, const Session& session) {
  std::vector<StageHandle> handles;
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context || session.frame() >= evaluated->motion.frames()) return handles;
  const RepairContext& context = *evaluated->context;
  Poser poser(context);
  poser.load(evaluated->motion, session.frame());
  if (const Repair* repair = findRepair(document.take(), session.repair())) {
    if (const auto* plant = std::get_if<PlantRepair>(&repair->action); plant && plant->anchored) {
      handles.push_back({HandleKind::plantPlace, {plant->anchor.x, plant->ground, plant->anchor.z}});
      handles.push_back({HandleKind::plantHeight, {plant->anchor.x, plant->ground + 0.16 * context.height, plant->anchor.z}});
    } else if (const auto* touch = std::get_if<TouchRepair>(&repair->action); touch && touch->path.empty()) {
      const int carrier = carrierOf(context, *touch);
      if (carrier >= 0) handles.push_back({HandleKind::touchPlace, poser.toWorld(carrier, touch->place)});
      else if (inStage(*touch)) handles.push_back({HandleKind::touchPlace, touch->place});
    } else if (const auto* grip = std::get_if<GripRepair>(&repair->action); grip && grip->anchored) {
      if (const auto prop = propAt(poser, *grip)) {
        if (grip->prop != 0) handles.push_back({HandleKind::gripLead, apply(*prop, grip->leadGrip.position)});
        if (grip->support) handles.push_back({HandleKind::gripSupport, apply(*prop, grip->supportGrip.position)});
      }
    }
  }
  if (const auto bone = session.selected(); bone && bone->cast == Cast::character)
    if (const auto role = roleOf(document.map().character, bone->joint); role && isLimbPart(*role))
      handles.push_back({HandleKind::limb, poser.position(bone->joint), bone->joint, {}, -1, {}});
  return handles;
}

std::vector<StageHandle> arrowsOf(const StageHandle& limb, const Quatd& axes, double length) {
  std::vector<StageHandle> arrows;
  if (limb.kind != HandleKind::limb) return arrows;
  for (int i = 0; i < 3; ++i) {
    StageHandle arrow = limb;
    arrow.kind = HandleKind::limbAxis;
    arrow.number = i;
    arrow.axis[i] = 1;
    arrow.axis = rotate(axes, arrow.axis);
    arrow.tip = limb.at + arrow.axis * length;
    arrows.push_back(arrow);
  }
  return arrows;
}

QString handleText(HandleKind kind) {
  switch (kind) {
    case HandleKind::plantPlace: return Document::tr("drag: where it stands");
    case HandleKind::plantHeight: return Document::tr("drag up or down: the ground there");
    case HandleKind::touchPlace: return Document::tr("drag: what is touched");
    case HandleKind::gripLead: return Document::tr("drag: where the lead hand holds it");
    case HandleKind::gripSupport: return Document::tr("drag: where the support hand holds it");
    case HandleKind::limbAxis: return Document::tr("drag: the limb follows along this axis; type millimetres");
    case HandleKind::limb: break;
  }
  return Document::tr("drag: the whole limb follows");
}

HandleDrag::HandleDrag(Document& document, Session& session, StageHandle handle, const Sight& sight, const Vec3d& shift, double x, double y, int number)
    : document_(document), session_(session), handle_(handle), sight_(sight), shift_(shift), now_(handle.at), key_(QStringLiteral("handle-%1").arg(number)), seen_(document.evaluated()) {
  if (const Repair* repair = findRepair(document.take(), session.repair()); repair && handle.kind != HandleKind::limb && handle.kind != HandleKind::limbAxis) base_ = *repair;
  frame_ = session.frame() + (seen_ ? seen_->trimFirst : 0);
  grabbed_ = placeAt(x, y);
}

Vec3d HandleDrag::placeAt(double x, double y) const {
  const Ray ray = rayThrough(sight_.camera, sight_.width, sight_.height, x, y);
  const Vec3d at = handle_.at + shift_;
  if (handle_.kind == HandleKind::plantHeight || handle_.axis != Vec3d{}) {
    // The point of the line nearest to the ray.
    const Vec3d up = handle_.axis != Vec3d{} ? handle_.axis : Vec3d{0, 1, 0}, between = at - ray.origin;
    const double b = dot(up, ray.direction), d = dot(up, between), e = dot(ray.direction, between), denominator = 1 - b * b;
    return denominator < 1e-6 ? at - shift_ : at + up * ((b * e - d) / denominator) - shift_;
  }
  const Vec3d normal = handle_.kind == HandleKind::plantPlace ? Vec3d{0, 1, 0} : sight_.camera.forward();
  const double along = dot(ray.direction, normal);
  if (std::abs(along) < 1e-3) return at - shift_;
  const double t = dot(at - ray.origin, normal) / along;
  return t > 0 ? ray.origin + ray.direction * t - shift_ : at - shift_;
}

void HandleDrag::moveTo(double x, double y, double step) {
  Vec3d by = placeAt(x, y) - grabbed_;
  if (step > 0 && handle_.axis != Vec3d{})
    by = handle_.axis * (step * std::round(dot(by, handle_.axis) / step));
  else if (step > 0)
    by = {step * std::round(by.x / step), step * std::round(by.y / step), step * std::round(by.z / step)};
  moveBy(by);
}

void HandleDrag::moveBy(const Vec3d& by) {
  const Vec3d place = handle_.at + by;
  if (handle_.kind == HandleKind::limb || handle_.kind == HandleKind::limbAxis)
    writeNudge(place);
  else
    writeRepair(place);
  now_ = place;
}

void HandleDrag::writeRepair(const Vec3d& place) {
  if (!base_ || !seen_ || !seen_->context) return;
  const Vec3d by = place - handle_.at;
  Repair next = *base_;
  Poser poser(*seen_->context);
  poser.load(seen_->motion, frame_ - seen_->trimFirst);
  QString label;
  if (auto* plant = std::get_if<PlantRepair>(&next.action)) {
    plant->anchor += by;
    if (handle_.kind == HandleKind::plantHeight) plant->ground += by.y;
    label = handle_.kind == HandleKind::plantHeight ? Document::tr("Raise a plant's ground") : Document::tr("Move where a foot stands");
  } else if (auto* touch = std::get_if<TouchRepair>(&next.action)) {
    const int carrier = carrierOf(*seen_->context, *touch);
    touch->place = carrier >= 0 ? poser.toJoint(carrier, place) : place;
    label = Document::tr("Move what is touched");
  } else if (auto* grip = std::get_if<GripRepair>(&next.action)) {
    const auto prop = propAt(poser, *grip);
    if (!prop) return;
    (handle_.kind == HandleKind::gripLead ? grip->leadGrip : grip->supportGrip).position = apply(inverse(*prop), place);
    label = Document::tr("Move a grip");
  }
  changeItem(document_, std::move(next), label, key_);
}

void HandleDrag::writeNudge(const Vec3d& place) {
  if (!seen_ || !seen_->context) return;
  // What the nudges before it leave: the new one comes last of them.
  const TiledMotion& input = seen_->stageInputs[static_cast<std::size_t>(RepairStage::plant)];
  const TiledMotion& motion = input.frames() > 0 ? input : seen_->untrimmed;
  auto made = dragged(*seen_->context, motion, frame_, handle_.joint, place);
  if (!made) return;
  miss_ = made->miss;
  Nudge nudge = std::move(made->nudge);
  if (nudge.joints.empty()) return;
  const QString label = Document::tr("Drag %1").arg(jointText(*seen_->context->figure, handle_.joint));
  if (nudge_ != 0 && findNudge(document_.take(), nudge_)) {
    nudge.id = nudge_;
    document_.edit(label, changeNudge(document_.take(), nudge), key_);
  } else {
    document_.edit(label, addNudge(document_.take(), nudge, &nudge_), key_);
    session_.setRepair(nudge_);
  }
}

std::vector<SoleMark> soleMarks(const Document& document, const Evaluated& evaluated, int frame) {
  std::vector<SoleMark> marks;
  if (!evaluated.context || frame < 0 || frame >= evaluated.motion.frames()) return marks;
  const RepairContext& context = *evaluated.context;
  std::optional<Poser> poser;
  for (const auto& node : *document.take().repairs) {
    const Repair& repair = *node;
    const auto* plant = std::get_if<PlantRepair>(&repair.action);
    if (!plant || repair.muted || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) continue;
    if (!repairFrames(repair, evaluated.rate, evaluated.clipFrames).span.holds(frame + evaluated.trimFirst)) continue;
    if (!poser) {
      poser.emplace(context);
      poser->load(evaluated.motion, frame);
    }
    for (const JointPoint& point : context.soles[plant->part == PlantPart::leftFoot ? 0 : 1].points) {
      const Vec3d at = poser->toWorld(point.joint, context.rigidPoint(point));
      marks.push_back({{at.x, plant->ground, at.z}, std::abs(at.y - plant->ground) <= context.scaled(0.002)});
    }
  }
  return marks;
}

}  // namespace understudy::editor
