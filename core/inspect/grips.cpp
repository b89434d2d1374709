#include "core/inspect/grips.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/base/parallel.h"
#include "core/repair/poser.h"
#include "core/repair/grip_fit.h"
#include "core/repair/prop_floor.h"

namespace understudy {
namespace {

/// Whether the left palm travels clearly more against the chest than the right one over the span.
bool leftLeads(const RepairContext& context, const TiledMotion& motion, FrameSpan span) {
  int chest = context.joint(Role::hips);
  for (const Role role : {Role::spine, Role::chest, Role::upperChest})
    if (context.joint(role) >= 0) chest = context.joint(role);
  const int step = std::max(1, static_cast<int>(std::lround(context.rate.hertz() / 15)));
  std::array<std::vector<Vec3d>, 2> places;
  Poser poser(context);
  for (int f = span.first; f <= span.last; f += step) {
    poser.load(motion, f);
    for (std::size_t side = 0; side < 2; ++side) {
      const Vec3d hand = poser.position(context.arms[side].end);
      places[side].push_back(chest >= 0 ? poser.toJoint(chest, hand) : hand);
    }
  }
  double way[2] = {0, 0};
  for (std::size_t side = 0; side < 2; ++side)
    for (std::size_t k = 1; k < places[side].size(); ++k) way[side] += distance(places[side][k], places[side][k - 1]);
  return way[0] > 1.6 * way[1];
}

}  // namespace

std::vector<Repair> proposeGrips(const RepairContext& context, const TiledMotion& motion, const std::vector<HandsTogether>& holds, FrameRate rate,
                                 const GripProposalSettings& settings, Issues& issues, const TiledMotion* performed, int threads) {
  std::vector<Repair> out;
  const auto tell = [&](const Issue& why) {
    issues.push_back(makeWarning("The hands hold something together here, but cannot be kept so: " + why.what, why.where, why.todo));
  };
  struct Held {
    std::optional<Issue> wrong;
    std::vector<Repair> grips;
    std::vector<Result<GripRepair>> ready;
  };
  std::vector<Held> held(holds.size());
  parallelFor(static_cast<int>(holds.size()), [&](int h) {
    const HandsTogether& hold = holds[static_cast<std::size_t>(h)];
    Held& own = held[static_cast<std::size_t>(h)];
    Repair whole;
    whole.name = "hands together";
    whole.span = TimeRange{rate.seconds(hold.first), rate.seconds(hold.last)};
    whole.easeBefore = whole.easeAfter = settings.ease;
    whole.proposed = true;
    const FrameSpan frames = repairFrames(whole, context.rate, std::min(context.frames, motion.frames())).span;
    if (frames.empty()) return;
    GripRepair grip;
    grip.prop = settings.prop;
    grip.share = settings.prop == 0 ? settings.share : 0;
    grip.floor = settings.prop != 0 && settings.onFloor;
    whole.action = grip;
    if (context.arms[0].complete() && context.arms[1].complete()) grip.leadLeft = settings.leadLeft.value_or(leftLeads(context, motion, frames));
    whole.action = grip;
    const Result<std::vector<FrameSpan>> spans = divideGrip(context, performed ? *performed : motion, whole, settings.division);
    if (!spans) {
      own.wrong = spans.error();
      return;
    }
    for (std::size_t i = 0; i < spans->size(); ++i) {
      Repair repair = whole;
      repair.span = TimeRange{context.rate.seconds((*spans)[i].first), context.rate.seconds((*spans)[i].last)};
      // From one grip to the next the eases meet, so that the hands go straight from place to place.
      if (i > 0) repair.easeBefore = context.rate.seconds((*spans)[i].first - (*spans)[i - 1].last);
      if (i + 1 < spans->size()) repair.easeAfter = context.rate.seconds((*spans)[i + 1].first - (*spans)[i].last);
      own.ready.push_back(anchorGrip(context, motion, repair));
      own.grips.push_back(std::move(repair));
    }
  }, threads);
  for (Held& own : held) {
    if (own.wrong) tell(*own.wrong);
    for (std::size_t i = 0; i < own.grips.size(); ++i) {
      Repair& repair = own.grips[i];
      Result<GripRepair>& ready = own.ready[i];
      if (!ready) {
        tell(ready.error());
        continue;
      }
      repair.action = *ready;
      if (settings.prop != 0 && settings.onFloor && out.empty()) {
        const GripShift shift = floorShift(context, motion, repair);
        if (shift.along > 0) {
          ready = shiftedGrip(context, *ready, shift.along);
          repair.action = *ready;
          char text[200];
          std::snprintf(text, sizeof text,
                        "At its size the prop's working end would go %.0f mm into the floor: the hands hold it %.0f mm further down its handle", 1000 * shift.deepest,
                        1000 * shift.along);
          char todo[120];
          std::snprintf(todo, sizeof todo, "To have them where its handle is held by default, scale the prop to %.2f", shift.scale);
          issues.push_back(makeNote(text, {}, todo));
        }
      }
      // A prop stays in the lead hand as it is from one hold to the next.
      if (settings.prop != 0 && !out.empty()) repair.action = withLeadGripOf(context, *ready, std::get<GripRepair>(out.front().action));
      out.push_back(std::move(repair));
    }
  }
  return out;
}

GripShift floorShift(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  GripShift out;
  const GripRepair* grip = std::get_if<GripRepair>(&repair.action);
  const PropItem* prop = grip ? propOf(context, grip->prop) : nullptr;
  const LimbRig& arm = context.arms[grip && grip->leadLeft ? 0 : 1];
  const std::optional<PropHandle> handle = prop && grip->anchored && arm.complete() ? handleOfGrip(*prop, *grip, context.height) : std::nullopt;
  if (!handle) return out;
  const Rigid propInHand = rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip));
  const std::optional<PropFloor> tilts = PropFloor::of(*prop, *grip, context.height);
  const FrameSpan span = repairFrames(repair, context.rate, motion.frames()).span;
  std::vector<double> needed;
  Poser poser(context);
  for (int f = span.first; f <= span.last; ++f) {
    poser.load(motion, f);
    const Rigid place = Rigid{poser.rotation(arm.end), poser.position(arm.end)} * propInHand;
    const double rise = rotate(place.turn, handle->up).y;
    if (rise < 0.35) continue;
    const double low = tilts ? tilts->lowest(place) : apply(place, *prop->end).y;
    needed.push_back(-low / rise);
    out.deepest = std::max(out.deepest, -low);
  }
  if (needed.empty()) return out;
  // Hands that tilt a prop off the floor can hold it so that it is on the floor for half of the time.
  const auto at = needed.begin() + static_cast<std::ptrdiff_t>((tilts ? 0.5 : 0.95) * static_cast<double>(needed.size() - 1));
  std::nth_element(needed.begin(), at, needed.end());
  out.needed = *at;
  if (*at < context.scaled(0.005)) return out;
  const double length = dot(rigidOf(grip->leadGrip).at - *prop->end, handle->up);
  out.along = std::min(*at, handle->room);
  out.scale = length > 1e-6 ? std::max(0.0, length - *at) / length : 1;
  return out;
}

GripRepair shiftedGrip(const RepairContext& context, const GripRepair& grip, double along) {
  GripRepair out = grip;
  const PropItem* prop = propOf(context, grip.prop);
  const std::optional<PropHandle> handle = prop ? handleOfGrip(*prop, grip, context.height) : std::nullopt;
  if (!handle) return out;
  out.leadGrip.position -= handle->up * along;
  out.supportGrip.position -= handle->up * along;
  return out;
}

GripDrift gripDrift(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  GripDrift out;
  const GripRepair* grip = std::get_if<GripRepair>(&repair.action);
  if (!grip || !grip->anchored || !grip->support) return out;
  const LimbRig &lead = context.arms[grip->leadLeft ? 0 : 1], &support = context.arms[grip->leadLeft ? 1 : 0];
  if (!lead.complete() || !support.complete()) return out;
  const Rigid relation = inverse(rigidOf(grip->leadGrip)) * rigidOf(grip->supportGrip);
  const FrameSpan span = repairFrames(repair, context.rate, motion.frames()).span;
  Poser poser(context);
  for (int f = span.first; f <= span.last; ++f) {
    poser.load(motion, f);
    const Rigid wanted = Rigid{poser.rotation(lead.end), poser.position(lead.end)} * rigidOf(grip->leadPalm) * relation;
    const Rigid got = Rigid{poser.rotation(support.end), poser.position(support.end)} * rigidOf(grip->supportPalm);
    const double metres = distance(got.at, wanted.at);
    out.meanMetres += metres / span.count();
    out.worstRadians = std::max(out.worstRadians, angleBetween(got.turn, wanted.turn));
    if (metres <= out.worstMetres) continue;
    out.worstMetres = metres;
    out.worstFrame = f;
  }
  return out;
}

}  // namespace understudy
