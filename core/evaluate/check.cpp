#include "core/evaluate/check.h"

#include <algorithm>
#include <cmath>

#include "core/repair/layer.h"

namespace understudy {
namespace {

std::string spanText(FrameSpan span, int firstShown) { return std::to_string(span.first + firstShown) + ":" + std::to_string(span.last + firstShown); }

struct Checker {
  const Repair& repair;
  const Repairs& others;
  const RepairContext& context;
  int firstShown;
  Issues issues;
  RepairFrames frames = repairFrames(repair, context.rate, context.frames);

  void wrong(std::string what, std::string todo) { issues.push_back(makeError(Fault::usage, std::move(what), describe(repair), std::move(todo))); }
  std::string clipFrames() const { return "the clip has frames " + spanText({0, context.frames - 1}, firstShown); }
  std::string shown(double seconds) const { return std::to_string(frameOf(seconds) + firstShown); }
  /// What lies beyond a billion frames is told as that.
  long frameOf(double seconds) const { return std::isfinite(seconds) ? std::lround(std::clamp(seconds * context.rate.hertz(), -1e9, 1e9)) : -1000000000L; }
  /// Half a frame of grace, as times are rounded to frames.
  bool inside(double seconds) const {
    const double frame = seconds * context.rate.hertz();
    return std::isfinite(frame) && frame >= -0.5 && frame < context.frames - 0.5 + 1e-9;
  }
  bool insideSpan(double seconds) const {
    const long frame = frameOf(seconds);
    return inside(seconds) && frame >= frames.span.first && frame <= frames.span.last;
  }

  void bone(const std::string& name, const char* what) {
    if (name.empty()) return wrong(std::string(what) + " names no bone", "Name one: @role, or the joint's own name");
    if (const Result<int> joint = findBone(context, name); !joint) wrong(joint.error().what, joint.error().todo);
  }
  void bones(const std::vector<std::string>& names) {
    for (const std::string& name : names) bone(name, "One of the bones");
  }
  void oneOf(const std::vector<std::string>& names, std::initializer_list<const char*> known, const char* what) {
    std::string list;
    for (const char* name : known) list += (list.empty() ? "" : ", ") + std::string(name);
    for (const std::string& name : names)
      if (std::find(known.begin(), known.end(), name) == known.end()) wrong("'" + name + "' is no " + what, "Give " + list);
  }
  void direction(const Vec3d& v, const char* what) {
    if (!(length(v) > 1e-9)) wrong(std::string(what) + " has no length", "Give a direction, such as 0,1,0");
  }
  void prop(std::uint64_t id) {
    if (std::none_of(context.props.begin(), context.props.end(), [&](const PropItem& p) { return p.id == id; }))
      wrong("There is no prop " + std::to_string(id), context.props.empty() ? "The take has none; add one first" : "Give the number of one of the take's props");
  }
  /// Another repair of the same kind, not muted, over some of the same frames.
  template <class Action, class Conflict>
  void against(Conflict conflict) {
    if (repair.muted || repair.weight == 0) return;
    for (const Node<Repair>& other : others) {
      const auto* action = std::get_if<Action>(&other->action);
      if (!action || other->id == repair.id || other->muted || other->weight == 0) continue;
      const FrameSpan both = common(frames.span, repairFrames(*other, context.rate, context.frames).span);
      if (both.empty()) continue;
      if (const std::string what = conflict(*action); !what.empty())
        wrong(what + " in " + describe(*other) + " too, over the frames " + spanText(both, firstShown), "Move one of the two, or mute it");
    }
  }

  void operator()(const OffsetRepair& offset) {
    if (offset.bones.empty()) wrong("It names no bones", "Say which bones are to be turned or moved");
    for (const JointNudge& part : offset.bones) bone(part.joint, "One of the bones");
  }
  void operator()(const BridgeRepair& bridge) {
    bones(bridge.bones);
    if (!frames.span.empty() && frames.span.first == 0 && frames.span.last == context.frames - 1)
      wrong("A bridge over the whole clip has no edges to be built from", "Give it a span inside the clip: " + clipFrames());
  }
  void operator()(const StillRepair& still) {
    bones(still.bones);
    if (still.time && !inside(*still.time)) wrong("The kept pose's frame " + shown(*still.time) + " lies outside the clip", "Choose one inside: " + clipFrames());
  }
  void operator()(const RestoreRepair& restore) { bones(restore.bones); }
  void operator()(const UntwistRepair& untwist) { bones(untwist.bones); }
  void operator()(const SmoothRepair& smooth) {
    bones(smooth.bones);
    if (smooth.cutoff >= context.rate.hertz() / 2)
      wrong("Nothing in a clip of " + context.rate.text() + " frames/s moves faster than " + std::to_string(static_cast<int>(context.rate.hertz() / 2)) + " Hz, so nothing would be damped",
            "Choose less");
  }
  void operator()(const PlantRepair& plant) {
    const bool foot = plant.part == PlantPart::leftFoot || plant.part == PlantPart::rightFoot;
    double last = -INFINITY;
    for (const PlantMark& mark : plant.marks) {
      if (!insideSpan(mark.time)) wrong("Its phase at frame " + shown(mark.time) + " lies outside its span " + spanText(frames.span, firstShown), "Move the mark or the span");
      if (mark.time <= last) wrong("Its phases are not in order of time", "Put the marks in order, each after the one before");
      last = mark.time;
      if (!foot && mark.phase != PlantPhase::flat && mark.phase != PlantPhase::spin)
        wrong(std::string("Only a foot has the phase '") + namesOfPhase(mark.phase) + "'", "Give flat or spin");
    }
    if (plant.release && !insideSpan(*plant.release))
      wrong("Its release at frame " + shown(*plant.release) + " lies outside its span " + spanText(frames.span, firstShown), "Move the release or the span");
    direction(plant.normal, "The ground's normal");
    if (plant.normal.y <= 0 && length(plant.normal) > 1e-9) wrong("The ground's normal points down", "Give a direction away from the ground");
    if (partMissing(plant.part)) wrong("The character has no bone for this part", "Map one, or choose another part");
    against<PlantRepair>([&](const PlantRepair& other) { return other.part == plant.part ? std::string("The same part is planted") : std::string(); });
  }
  void operator()(const TouchRepair& touch) {
    bone(touch.bone, "The touching bone");
    if (touch.prop != 0) prop(touch.prop);
    direction(touch.normal, "The target's normal");
    switch (touch.target) {
      case TouchTarget::point:
      case TouchTarget::plane: break;
      case TouchTarget::set:
        if (std::none_of(context.set.begin(), context.set.end(), [&](const SetItem& item) { return item.name == touch.on; }))
          wrong("There is no set object '" + touch.on + "'", context.set.empty() ? "The take has none; add one first" : "Give the name of one of the take's set objects");
        break;
      case TouchTarget::prop:
        if (std::none_of(context.props.begin(), context.props.end(), [&](const PropItem& item) { return item.name == touch.on; }))
          wrong("There is no prop '" + touch.on + "'", context.props.empty() ? "The take has none; add one first" : "Give the name of one of the take's props");
        break;
      case TouchTarget::body:
      case TouchTarget::hand:
        if (touch.path.empty()) bone(touch.on, "The touched body");
        break;
    }
    double last = -INFINITY;
    for (const TouchMark& mark : touch.path) {
      bone(mark.on, "A moment of the touch");
      direction(mark.normal, "The normal of a moment");
      if (mark.time <= last) wrong("Its moments are not in order of time", "Put them in order, each after the one before");
      last = mark.time;
    }
  }
  void operator()(const GripRepair& grip) {
    if (grip.prop != 0) prop(grip.prop);
    for (const Role role : {Role::leftHand, Role::rightHand})
      if (context.joint(role) < 0 && (grip.support || (role == Role::leftHand) == grip.leadLeft))
        wrong("The character has no " + std::string(role == Role::leftHand ? "left" : "right") + " hand", "Map one");
    against<GripRepair>([&](const GripRepair& other) -> std::string {
      const bool left = (grip.leadLeft || grip.support) && (other.leadLeft || other.support), right = (!grip.leadLeft || grip.support) && (!other.leadLeft || other.support);
      return left || right ? std::string(left && right ? "Both hands hold" : left ? "The left hand holds" : "The right hand holds") + " something" : std::string();
    });
  }
  void operator()(const ClearanceRepair& clearance) {
    oneOf(clearance.bodies, {"torso", "head", "thighs", "floor"}, "part of the body");
    bones(clearance.limbs);
  }
  void operator()(const GroundRepair& ground) {
    oneOf(ground.bodies, {"torso", "thighs", "shanks"}, "part of the body");
    if (context.joint(Role::hips) < 0) wrong("The character has no hips to raise", "Map them");
  }
  void operator()(const HandShapeRepair& hand) {
    oneOf({hand.shape}, {"relaxed", "flat", "fist", "point", "grip"}, "shape of a hand");
    against<HandShapeRepair>([&](const HandShapeRepair& other) { return other.left == hand.left && other.shape != hand.shape ? std::string("The same hand has another shape") : std::string(); });
  }

  static const char* namesOfPhase(PlantPhase phase) {
    static const char* names[] = {"heel", "flat", "ball", "toe", "spin"};
    return names[static_cast<int>(phase)];
  }
  bool partMissing(PlantPart part) const {
    switch (part) {
      case PlantPart::leftFoot: return context.joint(Role::leftFoot) < 0;
      case PlantPart::rightFoot: return context.joint(Role::rightFoot) < 0;
      case PlantPart::leftKnee: return context.joint(Role::leftLowerLeg) < 0;
      case PlantPart::rightKnee: return context.joint(Role::rightLowerLeg) < 0;
      case PlantPart::leftHand: return context.joint(Role::leftHand) < 0;
      case PlantPart::rightHand: return context.joint(Role::rightHand) < 0;
      case PlantPart::seat: return context.joint(Role::hips) < 0;
    }
    return true;
  }

  void run() {
    if (repair.span) {
      if (!std::isfinite(repair.span->first) || !std::isfinite(repair.span->last)) return wrong("Its span is no number", "Set it anew: " + clipFrames());
      if (repair.span->last < repair.span->first) return wrong("Its span ends before it begins", "Set the first frame before the last");
      if (!inside(repair.span->first) || !inside(repair.span->last))
        return wrong("Its span " + shown(repair.span->first) + ":" + shown(repair.span->last) + " reaches outside the clip", "Move it: " + clipFrames());
    }
    std::visit(*this, repair.action);
  }
};

}  // namespace

Issues checkRepair(const Repair& repair, const Repairs& others, const RepairContext& context, int firstShown) {
  Checker checker{repair, others, context, firstShown, {}};
  checker.run();
  return std::move(checker.issues);
}

Issues checkNudge(const Nudge& nudge, const RepairContext& context, int firstShown) {
  Issues issues;
  const std::string where = "nudge " + std::to_string(nudge.id);
  const double frame = nudge.time * context.rate.hertz();
  if (!(frame >= -0.5 && frame < context.frames - 0.5 + 1e-9))
    issues.push_back(makeError(Fault::usage, "Its frame lies outside the clip", where,
                               "Move it: the clip has frames " + spanText({0, context.frames - 1}, firstShown)));
  if (nudge.joints.empty()) issues.push_back(makeError(Fault::usage, "It names no bones", where, "Say which bones are to be turned or moved"));
  for (const JointNudge& part : nudge.joints)
    if (const Result<int> joint = findBone(context, part.joint); !joint) issues.push_back(makeError(Fault::usage, joint.error().what, where, joint.error().todo));
  return issues;
}

}  // namespace understudy
