#include "core/repair/clearance_tasks.h"

#include <algorithm>
#include <cmath>

#include "core/repair/grip.h"

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

/// Points of a prop's surface, in its own frame.
std::vector<Vec3d> outlineOf(const PropItem& prop) {
  if (!prop.outline.empty()) {
    return prop.outline;
  }
  std::vector<Vec3d> out;
  if (!prop.path.empty()) return out;
  // Four lines along the shaft.
  const double length = prop.length * prop.scale, radius = prop.radius * prop.scale;
  const int rings = std::clamp(static_cast<int>(std::lround(length / 0.04)) + 1, 2, 48);
  for (int r = 0; r < rings; ++r)
    for (const Vec3d& way : {Vec3d{1, 0, 0}, Vec3d{0, 0, 1}, Vec3d{-1, 0, 0}, Vec3d{0, 0, -1}}) out.push_back(Vec3d{0, length * r / (rings - 1), 0} + way * radius);
  return out;
}

/// What lies in a hand. Where its grips hold a prop in several ways, the first counts.
HeldProp heldBy(const RepairContext& context, const std::vector<const Repair*>& repairs, int side, bool both) {
  HeldProp out;
  std::optional<Rigid> place;
  const PropItem* prop = nullptr;
  for (std::size_t r = 0; r < repairs.size(); ++r) {
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
  for (const Vec3d& p : outlineOf(*prop)) out.points.push_back(apply(*place, p));
  return out;
}

}  // namespace

std::vector<ClearanceTask> clearanceTasks(const RepairContext& context, const std::vector<const Repair*>& repairs, ClearedHands hands, Issues& issues) {
  std::vector<ClearanceTask> tasks;
  for (int side = 0; side < 2; ++side) {
    ClearanceTask task;
    ClearedArm arm;
    arm.side = side;
    arm.settings.handStays = hands == ClearedHands::stay;
    arm.settings.torso = arm.settings.head = arm.settings.thighs = false;
    bool prop = false;
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
      task.margin = std::max(task.margin, context.scaled(what->margin));
      task.repairs.push_back(r);
      prop = prop || what->prop;
    }
    if (task.repairs.empty()) continue;
    for (std::size_t r = 0; r < repairs.size(); ++r) {
      if (twoHanded(context, *repairs[r])) {
        task.grips.push_back(r);
        arm.holders.push_back(r);
      }
      if (hands == ClearedHands::stay && touches(context, *repairs[r], side, repairs)) {
        task.pins.push_back(r);
        arm.holders.push_back(r);
      }
    }
    if (hands == ClearedHands::stay && arm.holders.empty()) continue;
    if (prop) arm.held = heldBy(context, repairs, side, hands == ClearedHands::stay);
    task.arms.push_back(std::move(arm));
    tasks.push_back(std::move(task));
  }
  // What both hands hold moves with both.
  if (hands == ClearedHands::stay && tasks.size() == 2 && !tasks[0].grips.empty()) {
    ClearanceTask& both = tasks[0];
    both.arms.push_back(std::move(tasks[1].arms.front()));
    both.margin = std::max(both.margin, tasks[1].margin);
    const auto join = [](std::vector<std::size_t>& to, const std::vector<std::size_t>& more) {
      to.insert(to.end(), more.begin(), more.end());
      std::sort(to.begin(), to.end());
      to.erase(std::unique(to.begin(), to.end()), to.end());
    };
    join(both.repairs, tasks[1].repairs);
    join(both.pins, tasks[1].pins);
    tasks.pop_back();
  }
  return tasks;
}

}  // namespace understudy
