#include "core/repair/clearance_tasks.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/repair/grip.h"
#include "core/repair/prop_floor.h"

namespace understudy {
namespace {

/// A grip that the stage of grips applies, with both hands.
const GripRepair* twoHanded(const RepairContext& context, const Repair& repair) {
  const auto* grip = std::get_if<GripRepair>(&repair.action);
  return grip && grip->support && grip->anchored && context.arms[0].complete() && context.arms[1].complete() ? grip : nullptr;
}

bool touches(const RepairContext& context, const Repair& repair, int side, const std::vector<const Repair*>& repairs) {
  const auto* touch = std::get_if<TouchRepair>(&repair.action);
  const int hand = context.arms[static_cast<std::size_t>(side)].end;
  if (!touch || hand < 0) return false;
  // A prop takes the hand that leads it.
  if (touch->prop != 0)
    for (const Repair* other : repairs)
      if (const auto* grip = std::get_if<GripRepair>(&other->action); grip && grip->prop == touch->prop && grip->leadLeft == (side == 0)) return true;
  for (const std::string& name : {touch->bone, touch->on}) {
    if (name.empty()) continue;
    const Result<int> joint = findBone(context, name);
    if (joint && (*joint == hand || isAncestor(context.figure->skeleton, hand, *joint))) return true;
  }
  return false;
}

/// A touch for which the spine may turn, and with it an arm that it does not touch.
bool turnsTrunk(const RepairContext& context, const Repair& repair, int side) {
  const auto* touch = std::get_if<TouchRepair>(&repair.action);
  if (!touch || !touch->spine) return false;
  const auto own = [&](const std::string& name) {
    const Result<int> joint = name.empty() ? Result<int>(-1) : findBone(context, name);
    const int root = context.arms[static_cast<std::size_t>(side)].root;
    return joint && *joint >= 0 && (*joint == root || isAncestor(context.figure->skeleton, root, *joint));
  };
  return !own(touch->on) && std::none_of(touch->path.begin(), touch->path.end(), [&](const TouchMark& mark) { return own(mark.on); });
}

/// Whether all that a hand's skin touches are parts that its arm is kept out of.
bool touchesBody(const RepairContext& context, const BodyModel& model, const Repair& repair, int side, const ArmClearanceSettings& settings) {
  if (!std::holds_alternative<TouchRepair>(repair.action)) return false;
  const auto& touch = std::get<TouchRepair>(repair.action);
  if (!touch.skin || touch.prop != 0 || touch.target != TouchTarget::body) return false;
  const Result<int> hand = findBone(context, touch.bone);
  if (!hand || *hand != context.arms[static_cast<std::size_t>(side)].end) return false;
  const auto asked = [&](const std::string& on) {
    const Result<int> joint = findBone(context, on);
    const BodyPart part = joint && *joint >= 0 ? model.surface.jointParts[static_cast<std::size_t>(*joint)] : BodyPart::none;
    const bool meant = part == BodyPart::torso ? settings.torso : part == BodyPart::head ? settings.head : (part == BodyPart::leftThigh || part == BodyPart::rightThigh) && settings.thighs;
    return meant && model.solid(part);
  };
  if (touch.path.empty()) return asked(touch.on);
  return std::all_of(touch.path.begin(), touch.path.end(), [&](const TouchMark& mark) { return asked(mark.on); });
}

/// What lies in a hand by the grips among `which`. Where they hold a prop in several ways, the first counts.
HeldProp heldBy(const RepairContext& context, const std::vector<const Repair*>& repairs, const std::vector<std::size_t>& which, int side, bool both) {
  HeldProp out;
  std::optional<Rigid> place;
  const PropItem* prop = nullptr;
  for (const std::size_t r : which) {
    const auto* grip = std::get_if<GripRepair>(&repairs[r]->action);
    if (!grip || grip->prop == 0 || !grip->anchored || grip->leadLeft != (side == 0) || (prop && prop->id != grip->prop)) continue;
    for (const PropItem& item : context.props)
      if (item.id == grip->prop) prop = &item;
    if (!prop) continue;
    if (!place) place = rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip));
    if (grip->support == both) out.grips.push_back(r);
  }
  // Holders count where no grip does; hands that hold together are not free then.
  if (!both)
    for (const PropItem& item : context.props) {
      if (prop && prop->id != item.id) continue;
      for (std::size_t h = 0; h < item.holders.size(); ++h) {
        const Result<int> joint = item.holders[h].bone.empty() ? Result<int>(-1) : findBone(context, item.holders[h].bone);
        if (!joint || *joint < 0 || *joint != context.arms[static_cast<std::size_t>(side)].end) continue;
        prop = &item;
        if (!place) place = rigidOf(item.holders[h].place);
        const auto frame = [&](double time) { return static_cast<int>(std::lround(std::clamp(time * context.rate.hertz(), -1e9, 1e9))); };
        out.spans.push_back({frame(item.holders[h].time), h + 1 < item.holders.size() ? frame(item.holders[h + 1].time) - 1 : context.frames - 1});
      }
    }
  if (!prop || !place || (out.grips.empty() && out.spans.empty())) return {};
  for (const Vec3d& p : propSurface(*prop)) out.points.push_back(apply(*place, p));
  return out;
}

/// Holds that meet in time, and the frames in which arms are looked at for them.
struct Holds {
  FrameSpan span;
  std::vector<std::size_t> repairs;  // ascending
  bool together = false;             // both hands hold one thing
};

std::vector<Holds> holdsOf(const RepairContext& context, const std::vector<const Repair*>& repairs) {
  std::vector<Holds> out;
  const int around = static_cast<int>(std::ceil(2 * fadeSeconds * context.rate.hertz()));
  for (std::size_t r = 0; r < repairs.size(); ++r) {
    const bool together = twoHanded(context, *repairs[r]) != nullptr;
    if (!together && !touches(context, *repairs[r], 0, repairs) && !touches(context, *repairs[r], 1, repairs)) continue;
    const FrameSpan span = common(widened(repairFrames(*repairs[r], context.rate, context.frames).acting(), around, around), {0, context.frames - 1});
    if (!span.empty()) out.push_back({span, {r}, together});
  }
  std::stable_sort(out.begin(), out.end(), [](const Holds& a, const Holds& b) { return a.span.first < b.span.first; });
  std::vector<Holds> met;
  for (Holds& holds : out) {
    if (met.empty() || common(met.back().span, holds.span).empty()) {
      met.push_back(std::move(holds));
      continue;
    }
    Holds& last = met.back();
    last.span.last = std::max(last.span.last, holds.span.last);
    last.together = last.together || holds.together;
    last.repairs.insert(last.repairs.end(), holds.repairs.begin(), holds.repairs.end());
  }
  for (Holds& holds : met) std::sort(holds.repairs.begin(), holds.repairs.end());
  return met;
}

/// What clearances ask of each arm all along, if anything; no arm where they ask nothing.
struct Asked {
  ClearanceTask task;
  bool prop = false;
};

Asked askedOf(const RepairContext& context, const std::vector<const Repair*>& repairs, int side, ClearedHands hands, Issues& issues) {
  Asked out;
  ClearanceTask& task = out.task;
  ClearedArm arm;
  arm.side = side;
  arm.settings.handStays = hands == ClearedHands::stay;
  arm.settings.torso = arm.settings.head = arm.settings.thighs = arm.settings.floor = false;
  for (std::size_t r = 0; r < repairs.size(); ++r) {
    const auto* what = std::get_if<ClearanceRepair>(&repairs[r]->action);
    if (!what) continue;
    bool meant = what->limbs.empty();
    for (const std::string& name : what->limbs) {
      const Result<int> joint = findBone(context, name);
      if (!joint) {
        if (side == 0) issues.push_back(makeWarning(joint.error().what, describe(*repairs[r]), joint.error().todo));
        continue;
      }
      const LimbRig& limb = context.arms[static_cast<std::size_t>(side)];
      meant = meant || *joint == limb.root || *joint == limb.mid || *joint == limb.end;
    }
    if (!meant) continue;
    const auto body = [&](const char* name) { return what->bodies.empty() || std::find(what->bodies.begin(), what->bodies.end(), name) != what->bodies.end(); };
    arm.settings.torso = arm.settings.torso || body("torso");
    arm.settings.head = arm.settings.head || body("head");
    arm.settings.thighs = arm.settings.thighs || body("thighs");
    arm.settings.floor = arm.settings.floor || body("floor");
    task.margin = std::max(task.margin, context.scaled(what->margin));
    task.repairs.push_back(r);
    out.prop = out.prop || what->prop;
  }
  if (!task.repairs.empty()) task.arms.push_back(std::move(arm));
  return out;
}

/// Both arms in one: what both hands hold moves with both.
ClearanceTask together(ClearanceTask both, ClearanceTask other) {
  both.arms.push_back(std::move(other.arms.front()));
  both.margin = std::max(both.margin, other.margin);
  const auto join = [](std::vector<std::size_t>& to, const std::vector<std::size_t>& more) {
    to.insert(to.end(), more.begin(), more.end());
    std::sort(to.begin(), to.end());
    to.erase(std::unique(to.begin(), to.end()), to.end());
  };
  join(both.repairs, other.repairs);
  for (const ClearancePin& pin : other.pins)
    if (std::find(both.pins.begin(), both.pins.end(), pin) == both.pins.end()) both.pins.push_back(pin);
  return both;
}

}  // namespace

bool gripsMatterToFreeArms(const RepairContext& context, const std::vector<const Repair*>& repairs) {
  for (const PropItem& item : context.props)
    if (!item.holders.empty()) return true;
  return std::any_of(repairs.begin(), repairs.end(), [](const Repair* repair) {
    const auto* grip = std::get_if<GripRepair>(&repair->action);
    return grip && grip->prop != 0 && !grip->support;
  });
}

std::vector<ClearanceTask> clearanceTasks(const RepairContext& context, const BodyModel& model, const std::vector<const Repair*>& repairs, ClearedHands hands, Issues& issues) {
  std::vector<ClearanceTask> tasks;
  std::array<Asked, 2> asked;
  for (int side = 0; side < 2; ++side) asked[static_cast<std::size_t>(side)] = askedOf(context, repairs, side, hands, issues);
  if (hands == ClearedHands::free) {
    std::vector<std::size_t> all(repairs.size());
    std::iota(all.begin(), all.end(), std::size_t{0});
    for (Asked& of : asked) {
      if (of.task.arms.empty()) continue;
      ClearedArm& arm = of.task.arms.front();
      if (of.prop) arm.held = heldBy(context, repairs, all, arm.side, false);
      of.task.span = {0, context.frames - 1};
      tasks.push_back(std::move(of.task));
    }
    return tasks;
  }
  for (const Holds& holds : holdsOf(context, repairs)) {
    std::vector<ClearanceTask> own;
    for (const Asked& of : asked) {
      if (of.task.arms.empty()) continue;
      ClearanceTask task = of.task;
      ClearedArm& arm = task.arms.front();
      for (const std::size_t r : holds.repairs) {
        const bool touched = touches(context, *repairs[r], arm.side, repairs);
        if (touched) task.pins.push_back({r, touchesBody(context, model, *repairs[r], arm.side, arm.settings)});
        if (touched || twoHanded(context, *repairs[r])) arm.holders.push_back(r);
      }
      // An arm that holds nothing may have come into the body as the spine helped the other one: its hand is free.
      if (arm.holders.empty()) {
        for (const std::size_t r : holds.repairs)
          if (turnsTrunk(context, *repairs[r], arm.side)) arm.holders.push_back(r);
        arm.settings.handStays = false;
      }
      if (arm.holders.empty()) continue;
      if (of.prop) arm.held = heldBy(context, repairs, holds.repairs, arm.side, true);
      task.span = holds.span;
      own.push_back(std::move(task));
    }
    if (holds.together && own.size() == 2) own = {together(std::move(own[0]), std::move(own[1]))};
    tasks.insert(tasks.end(), std::make_move_iterator(own.begin()), std::make_move_iterator(own.end()));
  }
  return tasks;
}

}  // namespace understudy
