#include "core/repair/layer.h"

namespace understudy {

RepairLayer::RepairLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs)
    : context_(std::move(context)), repairs_(std::move(repairs)) {
  frames_.reserve(repairs_.size());
  for (const Repair* repair : repairs_) frames_.push_back(repairFrames(*repair, context_->rate, context_->frames));
}

std::string describe(const Repair& repair) {
  return repair.kind() + " " + std::to_string(repair.id) + (repair.name.empty() ? std::string() : " '" + repair.name + "'");
}

}  // namespace understudy
