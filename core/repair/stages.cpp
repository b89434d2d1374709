#include "core/repair/stages.h"

#include "core/repair/clearance.h"
#include "core/repair/grip.h"
#include "core/repair/hand_shape.h"
#include "core/repair/head_clearance.h"
#include "core/repair/hold.h"
#include "core/repair/offset.h"
#include "core/repair/plant.h"
#include "core/repair/smooth.h"
#include "core/repair/touch.h"
#include "core/repair/untwist.h"

namespace understudy {

bool concerns(RepairStage stage, const Repair& repair) {
  const auto is = [&]<class... Kinds>() { return (std::holds_alternative<Kinds>(repair.action) || ...); };
  switch (stage) {
    case RepairStage::untwist: return is.operator()<UntwistRepair>();
    case RepairStage::smooth: return is.operator()<SmoothRepair>();
    case RepairStage::hold: return is.operator()<BridgeRepair, StillRepair>();
    case RepairStage::offset: return is.operator()<OffsetRepair, RestoreRepair>();
    case RepairStage::plant: return is.operator()<PlantRepair, GroundRepair>();
    case RepairStage::freeClearance:
    case RepairStage::gripClearance: return is.operator()<ClearanceRepair, TouchRepair, GripRepair>();
    case RepairStage::headClearance: return is.operator()<ClearanceRepair, TouchRepair>();
    case RepairStage::touch: return is.operator()<TouchRepair, GripRepair>();
    case RepairStage::grip: return is.operator()<GripRepair, TouchRepair>();
    case RepairStage::hands: return is.operator()<HandShapeRepair, GripRepair>();
    case RepairStage::late: return is.operator()<RestoreRepair>();
  }
  return false;
}

bool appliedBy(RepairStage stage, const Repair& repair) {
  const bool clearance = stage == RepairStage::freeClearance || stage == RepairStage::gripClearance || stage == RepairStage::headClearance;
  if (clearance) return std::holds_alternative<ClearanceRepair>(repair.action);
  if (stage == RepairStage::hands) return std::holds_alternative<HandShapeRepair>(repair.action);
  if (stage == RepairStage::touch) return std::holds_alternative<TouchRepair>(repair.action);
  if (stage == RepairStage::grip) return std::holds_alternative<GripRepair>(repair.action);
  return concerns(stage, repair);
}

bool concerns(RepairStage stage, const Nudge& nudge) { return stage == (nudge.late ? RepairStage::late : RepairStage::offset); }

RepairLayerPtr makeLayer(RepairStage stage, std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs,
                         std::vector<const Nudge*> nudges, Issues& issues) {
  switch (stage) {
    case RepairStage::offset: return makeOffsetLayer(std::move(context), std::move(repairs), std::move(nudges), issues);
    case RepairStage::late: return nudges.empty() ? nullptr : makeLateLayer(std::move(context), std::move(repairs), std::move(nudges), issues);
    default: break;
  }
  if (repairs.empty()) return nullptr;
  switch (stage) {
    case RepairStage::untwist: return makeUntwistLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::smooth: return makeSmoothLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::hold: return makeHoldLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::plant: return makePlantLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::freeClearance: return makeClearanceLayer(std::move(context), std::move(repairs), ClearedHands::free, issues);
    case RepairStage::gripClearance: return makeClearanceLayer(std::move(context), std::move(repairs), ClearedHands::stay, issues);
    case RepairStage::headClearance: return makeHeadLayer(std::move(context), std::move(repairs));
    case RepairStage::touch: return makeTouchLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::grip: return makeGripLayer(std::move(context), std::move(repairs), issues);
    case RepairStage::hands: return makeHandLayer(std::move(context), std::move(repairs), issues);
    default: return nullptr;
  }
}

Result<Repair> anchored(const Repair& repair, const std::shared_ptr<const RepairContext>& context, const TiledMotion& input) {
  Repair out = repair;
  if (std::holds_alternative<GripRepair>(repair.action)) {
    Result<GripRepair> grip = anchorGrip(*context, input, repair);
    if (!grip) return grip.error();
    out.action = std::move(*grip);
  } else if (std::holds_alternative<PlantRepair>(repair.action)) {
    out = anchoredPlant(std::move(out), *context, input);
    if (!isAnchored(out)) return makeWarning("There is no place for it to stand", describe(repair), "Move its span into the clip");
  }
  return out;
}

}  // namespace understudy
