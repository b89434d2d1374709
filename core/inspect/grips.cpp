#include "core/inspect/grips.h"

#include <algorithm>
#include <cmath>

#include "core/repair/poser.h"

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
                                 const GripProposalSettings& settings, Issues& issues) {
  std::vector<Repair> out;
  const auto tell = [&](const Issue& why) {
    issues.push_back(makeWarning("The hands hold something together here, but cannot be kept so: " + why.what, why.where, why.todo));
  };
  for (const HandsTogether& hold : holds) {
    Repair whole;
    whole.name = "hands together";
    whole.span = TimeRange{rate.seconds(hold.first), rate.seconds(hold.last)};
    whole.easeBefore = whole.easeAfter = settings.ease;
    whole.proposed = true;
    const FrameSpan frames = repairFrames(whole, context.rate, std::min(context.frames, motion.frames())).span;
    if (frames.empty()) continue;
    GripRepair grip;
    grip.prop = settings.prop;
    grip.share = settings.prop == 0 ? settings.share : 0;
    whole.action = grip;
    if (context.arms[0].complete() && context.arms[1].complete()) grip.leadLeft = settings.leadLeft.value_or(leftLeads(context, motion, frames));
    whole.action = grip;
    const Result<std::vector<FrameSpan>> spans = divideGrip(context, motion, whole, settings.division);
    if (!spans) {
      tell(spans.error());
      continue;
    }
    for (std::size_t i = 0; i < spans->size(); ++i) {
      Repair repair = whole;
      repair.span = TimeRange{context.rate.seconds((*spans)[i].first), context.rate.seconds((*spans)[i].last)};
      // From one grip to the next the eases meet, so that the hands go straight from place to place.
      if (i > 0) repair.easeBefore = context.rate.seconds((*spans)[i].first - (*spans)[i - 1].last);
      if (i + 1 < spans->size()) repair.easeAfter = context.rate.seconds((*spans)[i + 1].first - (*spans)[i].last);
      Result<GripRepair> ready = anchorGrip(context, motion, repair);
      if (!ready) {
        tell(ready.error());
        continue;
      }
      repair.action = *ready;
      // A prop stays in the lead hand as it is from one hold to the next.
      if (settings.prop != 0 && !out.empty()) repair.action = withLeadGripOf(context, *ready, std::get<GripRepair>(out.front().action));
      out.push_back(std::move(repair));
    }
  }
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
