#include "core/inspect/prop_sinks.h"

#include <algorithm>
#include <cmath>

#include "core/inspect/limb_names.h"
#include "core/repair/grip.h"
#include "core/repair/layer.h"
#include "core/repair/prop_floor.h"

namespace understudy {
namespace {

/// Seconds around a prop in the ground over which a hand that carries it gets its grip: it is above the ground there, so that the grip
/// changes nothing when it sets in.
constexpr double around = 0.4;

struct Hold {
  const Repair* repair = nullptr;
  FrameSpan span;
};

/// A grip of the hand that carries the prop; none where no hand does.
std::optional<Repair> carrying(const RepairContext& context, const PropItem& prop, const PropHolder& holder, FrameSpan span) {
  const Result<int> bone = findBone(context, holder.bone);
  if (!bone || *bone < 0) return std::nullopt;
  for (std::size_t side = 0; side < 2; ++side) {
    if (context.arms[side].end != *bone || !context.arms[side].complete()) continue;
    GripRepair grip;
    grip.prop = prop.id;
    grip.leadLeft = side == 0;
    grip.support = false;
    grip.floor = true;
    const Rigid palm = handsOf(context)[side].palm;
    grip.leadPalm = placementOf(palm);
    grip.leadGrip = placementOf(inverse(Rigid{normalised(holder.place.rotation), holder.place.position}) * palm);
    grip.anchored = true;
    Repair out;
    out.name = (prop.name.empty() ? std::string("prop") : prop.name) + " above the ground";
    out.span = TimeRange{context.rate.seconds(span.first), context.rate.seconds(span.last)};
    out.action = std::move(grip);
    return out;
  }
  return std::nullopt;
}

}  // namespace

Findings propSinks(const RepairContext& context, const TiledMotion& motion, const std::vector<const Repair*>& repairs, double limit) {
  Findings out;
  const int margin = static_cast<int>(std::ceil(around * context.rate.hertz()));
  for (const PropItem& prop : context.props) {
    const std::vector<Vec3d> points = propSurface(prop);
    std::vector<Hold> holds;
    for (const Repair* repair : repairs) {
      const auto* grip = std::get_if<GripRepair>(&repair->action);
      if (grip && grip->prop == prop.id && grip->anchored && !repair->muted && repair->weight > 0) holds.push_back({repair, repairFrames(*repair, context.rate, motion.frames()).span});
    }
    if (points.empty() || (holds.empty() && prop.holders.empty())) continue;
    const std::vector<HolderFrom> holders = holdersOf(context, prop);
    const std::vector<Rigid> path = propPath(context, motion, prop, repairs, {0, motion.frames() - 1});
    const auto gripAt = [&](int f) -> const Hold* {
      for (const Hold& hold : holds)
        if (hold.span.holds(f)) return &hold;
      return nullptr;
    };
    const auto carrierAt = [&](int f) -> const void* {
      if (const Hold* hold = gripAt(f)) return hold->repair;
      const HolderFrom* from = holderAt(holders, f);
      return from && from->joint >= 0 ? from->holder : nullptr;
    };
    for (int f = 0; f < motion.frames();) {
      const void* carrier = carrierAt(f);
      int end = f + 1;
      while (end < motion.frames() && carrierAt(end) == carrier) ++end;
      const FrameSpan whole{f, end - 1};
      f = end;
      if (!carrier) continue;
      FrameSpan sunk{0, -1};
      double deepest = context.scaled(limit);
      int worst = 0;
      for (int k = whole.first; k <= whole.last; ++k) {
        const double deep = -lowestHeight(points, path[static_cast<std::size_t>(k)]);
        if (deep <= context.scaled(limit)) continue;
        if (sunk.empty()) sunk.first = k;
        sunk.last = k;
        if (deep > deepest) deepest = deep, worst = k;
      }
      if (sunk.empty()) continue;
      Finding finding;
      finding.kind = FindingKind::sink;
      finding.measure = 1000 * deepest;
      finding.severity = std::clamp(deepest / context.scaled(0.1), 0.05, 1.0);
      finding.span = sunk;
      finding.worst = worst;
      finding.sentence = "The prop '" + (prop.name.empty() ? std::string("prop") : prop.name) + "' sinks " + spokenFigure(finding.measure, "mm") + " into the ground";
      if (const Hold* hold = gripAt(worst)) {
        const auto& grip = std::get<GripRepair>(hold->repair->action);
        finding.bones = {grip.leadLeft ? "@leftHand" : "@rightHand"};
        finding.cause = describe(*hold->repair) + (grip.floor ? ": the hands have no more room on the handle on that side" : " does not keep it above the ground");
      } else {
        const auto* holder = static_cast<const PropHolder*>(carrier);
        finding.bones = {holder->bone};
        if (std::optional<Repair> grip = carrying(context, prop, *holder, common(widened(sunk, margin, margin), whole))) finding.proposal = {std::move(*grip)};
      }
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    }
  }
  return out;
}

}  // namespace understudy
