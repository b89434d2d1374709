#include "core/repair/plant_work.h"

#include <algorithm>
#include <cmath>

#include "core/repair/admit.h"
#include "core/repair/plant.h"
#include "core/repair/plant_calm.h"
#include "core/repair/plant_run.h"
#include "core/repair/plant_steady.h"

namespace understudy {

PlantPlan::PlantPlan(const RepairContext& c)
    : context(c), legs(c.standing->legs), reach(std::max(1, static_cast<int>(std::lround(plantSettings().pelvisTime * c.rate.hertz())))), kernel(bump(reach)) {}

// What keeps the body above the ground reads all of its time, and changes the pelvis' way in all of it.
FrameSpan PlantPlan::affected(FrameSpan changed) const {
  FrameSpan out = affectedByFeet(changed);
  std::vector<char> done(grounds.size(), 0);
  for (std::size_t i = 0; i < grounds.size(); ++i) {
    if (done[i] || common(grounds[i].extent, out).empty()) continue;
    done[i] = 1;
    out = hull(out, affectedByFeet(grounds[i].extent));
    i = static_cast<std::size_t>(-1);
  }
  return out;
}

FrameSpan PlantPlan::affectedByFeet(FrameSpan changed) const {
  FrameSpan out = changed;
  const int calms = calmReach(context.rate.hertz()) + std::max(twistReach(context.rate.hertz()), toesReach(context.rate.hertz()));
  const FrameSpan span = widened(changed, calms, calms);
  const auto cover = [](FrameSpan& all, FrameSpan w) { all = all.empty() ? w : FrameSpan{std::min(all.first, w.first), std::max(all.last, w.last)}; };
  FrameSpan pelvis = span;  // where its way may change
  for (const Stay& s : stays) {
    if (!common(widened(written(s), 2 * reach, 2 * reach), span).empty()) cover(out, written(s));
    if (!common(s.span, span).empty()) cover(pelvis, widened(eased(s), reach, reach));
  }
  FrameSpan sinks = widened(pelvis, 3 * reach, 3 * reach);
  for (const Stay& s : stays)
    if (!common(pelvis, s.span).empty()) {
      cover(out, written(s));
      cover(sinks, widened(s.span, 3 * reach, 3 * reach));
    }
  // Feet roll by how the legs stand before and after them, and legs on their way lead to where the stays beside them end up.
  const int around = std::max(2 * longestEase + 4, static_cast<int>(2 * blendTime * context.rate.hertz()) + 2);
  FrameSpan rolls = sinks;
  for (const Stay& s : stays)
    if (const FrameSpan w = widened(s.span, around, around); !common(sinks, w).empty()) cover(rolls, w);
  FrameSpan sinksAgain = rolls;
  const int again = 6 * reach + steadyReach(context.rate.hertz());
  for (const Stay& s : stays)
    if (!common(rolls, s.span).empty()) cover(sinksAgain, widened(s.span, again, again));
  // They roll a second time as the pelvis goes then, and it sinks once more for them.
  FrameSpan rollsAgain = sinksAgain, last = sinksAgain;
  for (const Stay& s : stays)
    if (const FrameSpan w = widened(s.span, around, around); !common(sinksAgain, w).empty()) cover(rollsAgain, w);
  cover(last, rollsAgain);
  for (const Stay& s : stays)
    if (!common(rollsAgain, s.span).empty()) cover(last, widened(s.span, 3 * reach, 3 * reach));
  for (const Stay& s : stays)
    if (!common(last, widened(s.span, longestEase + 2, longestEase + 2)).empty()) cover(out, written(s));
  return out;
}

}  // namespace understudy
