#include "core/inspect/causes.h"

#include <algorithm>

#include "core/inspect/limb_names.h"
#include "core/math/angle.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

/// Part of a limb's length from which on it counts as stretched.
constexpr double nearlyStraight = 0.975;

/// Whether a repair moves bones of the body part a bone belongs to, as far as its own parameters tell.
bool movesPart(const Repair& repair, BodyLimb part) {
  const auto names = [&](const std::vector<std::string>& bones) {
    return bones.empty() || std::any_of(bones.begin(), bones.end(), [&](const std::string& bone) { return limbOfBone(bone) == part; });
  };
  if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) {
    // The pelvis follows all plants, and with it everything.
    if (plant->part == PlantPart::leftFoot || plant->part == PlantPart::leftKnee) return part != BodyLimb::rightLeg;
    if (plant->part == PlantPart::rightFoot || plant->part == PlantPart::rightKnee) return part != BodyLimb::leftLeg;
    return true;
  }
  if (const auto* touch = std::get_if<TouchRepair>(&repair.action))
    return limbOfBone(touch->bone) == part || part == BodyLimb::trunk || (touch->target == TouchTarget::hand && touch->share > 0);
  if (const auto* clearance = std::get_if<ClearanceRepair>(&repair.action)) return names(clearance->limbs);
  return true;
}

}  // namespace

Miss Causes::worstMiss(const Repair& repair, std::optional<FrameSpan> span) const {
  const RepairContext& context = *seen_.context;
  Miss worst;
  FrameSpan wanted = repairFrames(repair, context.rate, context.frames).span;
  if (span) wanted = common(wanted, *span);
  for (const Residual& residual : seen_.residuals) {
    if (residual.repair != repair.id) continue;
    for (std::size_t k = 0; k < residual.values.size(); ++k) {
      if (!wanted.holds(residual.first + static_cast<int>(k))) continue;
      worst.metres = std::max(worst.metres, residual.values[k].metres);
      worst.radians = std::max(worst.radians, residual.values[k].radians);
    }
  }
  return worst;
}

bool Causes::stretches(const TouchRepair& touch, FrameSpan frames) const {
  const RepairContext& context = *seen_.context;
  const Result<int> bone = findBone(context, touch.bone);
  if (!bone) return true;
  Poser poser(context);
  for (const LimbRig* limb : {&context.arms[0], &context.arms[1], &context.legs[0], &context.legs[1]}) {
    if (!limb->complete() || (*bone != limb->end && !isAncestor(context.figure->skeleton, limb->end, *bone))) continue;
    for (int f = std::max(0, frames.first); f <= std::min(frames.last, context.frames - 1); ++f) {
      poser.load(seen_.stageInputs[static_cast<std::size_t>(RepairStage::touch) + 1], f);
      if (distance(poser.position(limb->root), poser.position(limb->end)) > nearlyStraight * limb->full()) return true;
    }
    return false;
  }
  return true;
}

std::string Causes::ofMiss(const Repair& repair, const Finding& finding) const {
  const Miss miss = worstMiss(repair, widened(finding.span, 2, 2));
  if (1000.0 * miss.metres > 0.25 * finding.measure) {
    const auto* touch = std::get_if<TouchRepair>(&repair.action);
    const bool within = touch && touch->skin && !stretches(*touch, {finding.worst - 2, finding.worst + 2});
    return describe(repair) + " misses by " + spokenFigure(1000.0 * miss.metres, "mm") + (within ? ": the way of the hand is kept smooth" : ": out of reach");
  }
  if (miss.radians > 0.01) return describe(repair) + " is " + spokenFigure(miss.radians * degreesPerRadian, "°") + " off: out of reach";
  return {};
}

std::array<double, stageCount + 1> Causes::steps(int joint, int frame) const {
  std::array<double, stageCount + 1> out{};
  for (std::size_t s = 0; s <= stageCount; ++s) {
    const TiledMotion& motion = s < stageCount ? seen_.stageInputs[s] : seen_.untrimmed;
    const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(joint)]); };
    out[s] = angleBetween(at(frame - 1), at(frame)) * degreesPerRadian;
  }
  return out;
}

std::string Causes::ofJump(const Finding& finding, double performed) const {
  const Result<int> joint = findBone(*seen_.context, finding.bones.front());
  if (!joint || finding.worst < 1) return {};
  const auto step = steps(*joint, finding.worst);
  // Bridges and the like have the first word: what they leave is the performance's.
  constexpr auto own = static_cast<std::size_t>(RepairStage::offset);
  if (step[own] >= performed * finding.measure) return {};
  std::size_t maker = stageCount;
  double most = 0;
  for (std::size_t s = own; s < stageCount; ++s)
    if (step[s + 1] - step[s] > most) {
      most = step[s + 1] - step[s];
      maker = s;
    }
  if (maker == stageCount) return {};
  const Repair* repair = repairAt(static_cast<RepairStage>(maker), finding.bones.front(), finding.worst);
  return (repair ? describe(*repair) : "A nudge") + " turns it by " + spokenFigure(most, "°") + " more in that frame";
}

const Repair* Causes::repairAt(RepairStage stage, const std::string& bone, int frame) const {
  const RepairContext& context = *seen_.context;
  const bool clears = stage == RepairStage::freeClearance || stage == RepairStage::gripClearance || stage == RepairStage::headClearance;
  const BodyLimb part = limbOfBone(bone);
  // Some reach beyond their eases, as legs do that are led from one stay to the next: the nearest in time then.
  const Repair* nearest = nullptr;
  int least = 0;
  for (const Node<Repair>& repair : *take_.repairs) {
    if (!concerns(stage, *repair) || repair->muted || (clears && !std::holds_alternative<ClearanceRepair>(repair->action))) continue;
    const FrameSpan acting = repairFrames(*repair, context.rate, context.frames).acting();
    if (acting.empty()) continue;
    const int away = 2 * std::max({acting.first - frame, frame - acting.last, 0}) + !movesPart(*repair, part);
    if (!nearest || away < least) nearest = &*repair, least = away;
  }
  return nearest;
}

}  // namespace understudy
