// Grips turned round or mirrored, and where their props are over time.
#include <algorithm>
#include <cmath>

#include "core/repair/grip_fit.h"
#include "core/repair/mirror.h"
#include "core/repair/prop_floor.h"

namespace understudy {
namespace {

/// A mirror image across the plane x = 0 of the hand's own mirror pair: palm frames are defined alike on both hands, so a
/// relation between them mirrors in the palm frame's y–z plane.
Placement mirroredRelation(const Placement& p) {
  return {{-p.position.x, p.position.y, p.position.z}, {p.rotation.w, p.rotation.x, -p.rotation.y, -p.rotation.z}};
}

}  // namespace

GripRepair mirroredGrip(const RepairContext& context, const GripRepair& grip) {
  GripRepair out = grip;
  out.leadLeft = !grip.leadLeft;
  const int lead = context.joint(grip.leadLeft ? Role::leftHand : Role::rightHand), support = context.joint(grip.leadLeft ? Role::rightHand : Role::leftHand);
  if (lead < 0 || support < 0) return grip;
  out.leadPalm = mirroredPlacement(context, lead, support, grip.leadPalm);
  out.supportPalm = mirroredPlacement(context, support, lead, grip.supportPalm);
  // The prop itself is mirrored at the plane of its handle's axis and its own lead grip's z, so that it stays in both hands.
  const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr;
  const Rigid plane = prop ? rigidOf(prop->leadGrip) : Rigid{};
  const auto mirroredOn = [&](const Placement& p) { return placementOf(plane * rigidOf(mirroredRelation(placementOf(inverse(plane) * rigidOf(p))))); };
  out.leadGrip = mirroredOn(grip.leadGrip);
  out.supportGrip = mirroredOn(grip.supportGrip);
  return out;
}

GripRepair swappedGrip(const GripRepair& grip) {
  GripRepair out = grip;
  out.leadLeft = !grip.leadLeft;
  std::swap(out.leadPalm, out.supportPalm);
  std::swap(out.leadGrip, out.supportGrip);
  return out;
}

Repair ledAsChosen(const Repair& old, Repair next) {
  const auto* was = std::get_if<GripRepair>(&old.action);
  auto* now = std::get_if<GripRepair>(&next.action);
  if (!was || !now || !was->anchored || !now->anchored || was->leadLeft == now->leadLeft) return next;
  if (was->leadPalm == now->leadPalm && was->supportPalm == now->supportPalm && was->leadGrip == now->leadGrip && was->supportGrip == now->supportGrip) {
    now->leadLeft = was->leadLeft;
    *now = swappedGrip(*now);
  }
  return next;
}

PropItem carriedByLead(const RepairContext& context, const PropItem& prop, const std::vector<const Repair*>& repairs, bool leadLeft) {
  if (!prop.holders.empty()) return prop;
  std::size_t side = leadLeft ? 0 : 1;
  Rigid propInHand = handsOf(context)[side].palm * inverse(rigidOf(prop.leadGrip));
  for (const Repair* repair : repairs)
    if (const GripRepair* grip = std::get_if<GripRepair>(&repair->action); grip && grip->prop == prop.id && grip->anchored && !repair->muted && repair->weight > 0) {
      side = grip->leadLeft ? 0 : 1;
      propInHand = rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip));
      break;
    }
  if (handsOf(context)[side].joint < 0) return prop;
  PropItem out = prop;
  out.holders.push_back({0, side == 0 ? "@leftHand" : "@rightHand", placementOf(propInHand)});
  return out;
}

GripRepair withLeadGripOf(const RepairContext& context, const GripRepair& grip, const GripRepair& like) {
  const PropItem* prop = propOf(context, grip.prop);
  if (!prop || !grip.anchored || !like.anchored || grip.leadLeft != like.leadLeft) return grip;
  GripRepair out = grip;
  out.leadGrip = like.leadGrip;
  Rigid support = rigidOf(like.leadGrip) * inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
  const Rigid own = rigidOf(prop->supportGrip);
  const Vec3d axis = rotate(own.turn, Vec3d{0, 1, 0}), through = apply(own, Vec3d{0, 0, prop->radius}), hold = apply(support, Vec3d{0, 0, prop->radius});
  support.at += through + axis * dot(hold - through, axis) - hold;
  out.supportGrip = placementOf(support);
  return out;
}

std::vector<HolderFrom> holdersOf(const RepairContext& context, const PropItem& prop) {
  std::vector<HolderFrom> out;
  for (const PropHolder& holder : prop.holders) {
    if (!std::isfinite(holder.time) || !isFinite(holder.place)) continue;
    const Result<int> joint = holder.bone.empty() ? Result<int>(-1) : findBone(context, holder.bone);
    if (joint) out.push_back({static_cast<int>(std::lround(std::clamp(holder.time * context.rate.hertz(), -1e9, 1e9))), *joint, &holder});
  }
  std::stable_sort(out.begin(), out.end(), [](const HolderFrom& a, const HolderFrom& b) { return a.first < b.first; });
  return out;
}

const HolderFrom* holderAt(const std::vector<HolderFrom>& holders, int frame) {
  const auto after = std::upper_bound(holders.begin(), holders.end(), frame, [](int f, const HolderFrom& h) { return f < h.first; });
  return after == holders.begin() ? nullptr : &*std::prev(after);
}

std::vector<Rigid> propPath(const RepairContext& context, const TiledMotion& motion, const PropItem& prop, const std::vector<const Repair*>& repairs,
                            FrameSpan frames) {
  frames = common(frames, {0, motion.frames() - 1});
  std::vector<Rigid> path(static_cast<std::size_t>(frames.count()));
  struct Use {
    const GripRepair* grip;
    RepairFrames when;
    int joint;
    Rigid propInHand;
    std::optional<PropFloor> floor;
  };
  std::vector<Use> uses;
  for (const Repair* repair : repairs) {
    const GripRepair* grip = std::get_if<GripRepair>(&repair->action);
    if (!grip || grip->prop != prop.id || repair->muted || repair->weight <= 0 || !grip->anchored || gripUnfit(context, *repair, *grip)) continue;
    const RepairFrames when = repairFrames(*repair, context.rate, motion.frames());
    if (when.span.empty()) continue;
    uses.push_back({grip, when, context.arms[grip->leadLeft ? 0 : 1].end, rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip)),
                    PropFloor::of(prop, *grip, context.height)});
  }
  const std::vector<HolderFrom> holders = holdersOf(context, prop);

  Poser poser(context);
  int loaded = -1;
  const auto load = [&](int f) {
    if (loaded != f) poser.load(motion, f);
    loaded = f;
  };
  const auto inHand = [&](const Use& use, int f) {
    load(f);
    const Rigid place = Rigid{poser.rotation(use.joint), poser.position(use.joint)} * use.propInHand;
    return use.floor ? use.floor->above(place, 1 - propTouched(context, repairs, prop.id, f, motion.frames())) : place;
  };
  for (int f = frames.first; f <= frames.last; ++f) {
    Rigid& place = path[static_cast<std::size_t>(f - frames.first)];
    const Use *inside = nullptr, *before = nullptr, *after = nullptr;
    for (const Use& use : uses) {
      if (use.when.span.holds(f)) inside = &use;
      if (use.when.span.last < f && (!before || use.when.span.last > before->when.span.last)) before = &use;
      if (use.when.span.first > f && (!after || use.when.span.first < after->when.span.first)) after = &use;
    }
    if (inside) {
      place = inHand(*inside, f);
    } else if (const HolderFrom* hold = holderAt(holders, f)) {
      place = rigidOf(hold->holder->place);
      if (hold->joint >= 0) {
        load(f);
        place = Rigid{poser.rotation(hold->joint), poser.position(hold->joint)} * place;
      }
      // From hand to holder and back the prop goes within the grip's eases.
      for (const Use& use : uses)
        if (const double w = spanWeight(use.when, f); w > 0) place = blend(place, inHand(use, f), w);
    } else if (before && after) {
      const double t = static_cast<double>(f - before->when.span.last) / (after->when.span.first - before->when.span.last);
      const Rigid from = inHand(*before, before->when.span.last), to = inHand(*after, after->when.span.first);
      place = blend(from, to, (3 - 2 * t) * t * t);
    } else if (before || after) {
      place = before ? inHand(*before, before->when.span.last) : inHand(*after, after->when.span.first);
    }
  }
  return path;
}

}  // namespace understudy
