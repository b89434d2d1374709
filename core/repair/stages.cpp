#include "core/repair/stages.h"

namespace understudy {

bool concerns(RepairStage stage, const Repair& repair) {
  const auto is = [&]<class... Kinds>() { return (std::holds_alternative<Kinds>(repair.action) || ...); };
  switch (stage) {
    case RepairStage::untwist: return is.operator()<UntwistRepair>();
    case RepairStage::smooth: return is.operator()<SmoothRepair>();
    case RepairStage::hold: return is.operator()<BridgeRepair, StillRepair>();
    case RepairStage::offset: return is.operator()<OffsetRepair, RestoreRepair>();
    case RepairStage::plant: return is.operator()<PlantRepair>();
    case RepairStage::freeClearance:
    case RepairStage::gripClearance: return is.operator()<ClearanceRepair, TouchRepair, GripRepair>();
    case RepairStage::touch: return is.operator()<TouchRepair>();
    case RepairStage::grip: return is.operator()<GripRepair>();
    case RepairStage::hands: return is.operator()<HandShapeRepair, GripRepair>();
    case RepairStage::late: return is.operator()<RestoreRepair>();
  }
  return false;
}

bool concerns(RepairStage stage, const Nudge& nudge) { return stage == (nudge.late ? RepairStage::late : RepairStage::offset); }

RepairLayerPtr makeLayer(RepairStage stage, std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs,
                         std::vector<const Nudge*> nudges, Issues& issues) {
  static_cast<void>(stage);
  static_cast<void>(context);
  static_cast<void>(repairs);
  static_cast<void>(nudges);
  static_cast<void>(issues);
  return nullptr;
}

Result<Repair> anchored(const Repair& repair, const std::shared_ptr<const RepairContext>& context, const TiledMotion& input) {
  static_cast<void>(context);
  static_cast<void>(input);
  return repair;
}

}  // namespace understudy
