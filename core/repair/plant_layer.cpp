#include <algorithm>
#include <cmath>

#include "core/repair/plant.h"
#include "core/repair/plant_work.h"

namespace understudy {
namespace {

class PlantLayer : public RepairLayer {
 public:
  PlantLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), plan_(*context_) {
    std::vector<Stay>& stays = plan_.stays;
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const auto* plant = std::get_if<PlantRepair>(&repairs_[i]->action);
      if (!plant || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) continue;
      const int side = plant->part == PlantPart::leftFoot ? 0 : 1;
      if (!plan_.legs[static_cast<std::size_t>(side)].limb.complete() || context_->joint(Role::hips) < 0) {
        issues.push_back(makeWarning("This plant needs a leg and hips in the bone map; it is left out", describe(*repairs_[i]), "Map them"));
        continue;
      }
      std::optional<Stay> stay = stayOf(*context_, *repairs_[i], frames_[i], plan_.legs[static_cast<std::size_t>(side)]);
      if (!stay) continue;
      stay->repair = i;
      const auto other = std::find_if(stays.begin(), stays.end(), [&](const Stay& o) { return o.side == stay->side && !common(o.span, stay->span).empty(); });
      if (other != stays.end()) {
        issues.push_back(makeWarning("This plant overlaps " + describe(*repairs_[other->repair]) + " of the same foot; it is left out", describe(*repairs_[i]),
                                     "Shorten one of them"));
        continue;
      }
      plan_.longestEase = std::max({plan_.longestEase, stay->before, stay->after});
      stays.push_back(std::move(*stay));
    }
    parts_ = std::make_unique<PartPlants>(*this, issues);
    keepAbove(issues);
    std::sort(stays.begin(), stays.end(), [](const Stay& a, const Stay& b) { return a.span.first < b.span.first; });
    for (std::size_t i = 0; i < stays.size(); ++i) plan_.order[static_cast<std::size_t>(stays[i].side)].push_back(static_cast<int>(i));
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override {
    for (const Stay& s : plan_.stays)
      if (s.repair == repair) return common(plan_.written(s), {0, context_->frames - 1});
    for (const GroundTask& task : plan_.grounds)
      if (task.repair == repair) return task.extent;
    return parts_->extent(repair).value_or(FrameSpan{});
  }
  [[nodiscard]] FrameSpan affected(FrameSpan span) const override {
    FrameSpan out = plan_.affected(span);
    for (const FrameSpan& w : parts_->extents())
      if (!common(w, span).empty()) out = {std::min(out.first, w.first), std::max(out.last, w.last)};
    return common(out, {0, context_->frames - 1});
  }
  [[nodiscard]] std::vector<int> movedJoints() const override {
    if (plan_.stays.empty() && plan_.grounds.empty() && parts_->empty()) return {};
    std::vector<int> out{context_->joint(Role::hips)};
    for (const PlantLeg& leg : plan_.legs) {
      if (!leg.limb.complete()) continue;
      if (leg.limb.detached) out.push_back(leg.limb.end);
      if (leg.offPelvis) out.push_back(leg.limb.root);
    }
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
  }
  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    frames = common(frames, {0, in.frames() - 1});
    if (!plan_.stays.empty() || !plan_.grounds.empty() || parts_->hasSeat()) applyPlants(plan_, *parts_, in, frames, out, residuals);
    parts_->apply(in, frames, out, residuals);
  }

 private:
  void keepAbove(Issues& issues) {
    const RepairContext& context = *context_;
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const auto* ground = std::get_if<GroundRepair>(&repairs_[i]->action);
      if (!ground || frames_[i].span.empty()) continue;
      if (context.joint(Role::hips) < 0 || GroundBody(context).empty()) {
        issues.push_back(makeWarning("The character has no hips or no skin to keep above the ground; it is left out", describe(*repairs_[i]), "Map its hips"));
        continue;
      }
      const auto has = [&](const char* name) { return ground->bodies.empty() || std::find(ground->bodies.begin(), ground->bodies.end(), name) != ground->bodies.end(); };
      plan_.grounds.push_back({i, frames_[i], common(frames_[i].acting(), {0, context.frames - 1}), {has("torso"), has("thighs"), has("shanks"), has("shanks")}, context.scaled(ground->margin),
                               std::clamp(repairs_[i]->weight, 0.0, 1.0)});
    }
    if (!plan_.grounds.empty()) plan_.lowest = lowestGround(context, repairs_);
  }

  PlantPlan plan_;
  std::unique_ptr<const PartPlants> parts_;
};

}  // namespace

const PlantSettings& plantSettings() {
  static const PlantSettings settings;
  return settings;
}

RepairLayerPtr makePlantLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  return std::make_shared<PlantLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
