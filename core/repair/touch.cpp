#include "core/repair/touch.h"

#include "core/repair/touch_layer.h"

namespace understudy {

RepairLayerPtr makeTouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues, SkinMeasure measure) {
  auto layer = std::make_shared<const TouchLayer>(std::move(context), std::move(repairs), issues, measure);
  if (layer->empty()) return nullptr;
  return layer;
}

std::vector<TouchMiss> touchMisses(const RepairContext& context, const TiledMotion& motion, const Repair& touch, const std::vector<const Repair*>& grips,
                                   SkinMeasure measure) {
  Issues ignored;
  std::vector<const Repair*> all{&touch};
  for (const Repair* repair : grips)
    if (std::holds_alternative<GripRepair>(repair->action)) all.push_back(repair);
  // The layer only looks at the context while this lasts.
  const std::shared_ptr<const RepairContext> borrowed(std::shared_ptr<const RepairContext>(), &context);
  return TouchLayer(borrowed, std::move(all), ignored, measure).misses(motion);
}

}  // namespace understudy
