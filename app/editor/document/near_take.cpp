#include "app/editor/document/near_take.h"

#include <algorithm>
#include <cmath>

#include "core/repair/stages.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

/// Seconds on each side of the frame, and how many times as long a repair has to be to be cut.
constexpr double side = 0.5;
constexpr int longer = 3;

/// What it does at a frame needs no more than the frames around it.
bool cuts(const Repair& repair) {
  return std::holds_alternative<OffsetRepair>(repair.action) || std::holds_alternative<SmoothRepair>(repair.action) || std::holds_alternative<ClearanceRepair>(repair.action) ||
         std::holds_alternative<TouchRepair>(repair.action) || std::holds_alternative<GripRepair>(repair.action);
}

/// The first stage that has to do with it.
int stageOf(const Repair& repair) {
  for (int s = 0; s < stageCount; ++s)
    if (concerns(static_cast<RepairStage>(s), repair)) return s;
  return stageCount;
}

}  // namespace

std::optional<Take> nearTake(const Take& take, const Take& before, FrameRate rate, int clipFrames, int frame) {
  Take rest = take;
  rest.repairs = before.repairs;
  if (!(rest == before) || clipFrames <= 0 || frame < 0 || frame >= clipFrames) return {};
  const int reach = std::max(8, static_cast<int>(std::lround(side * rate.hertz())));
  const FrameSpan near{std::max(0, frame - reach), std::min(clipFrames - 1, frame + reach)};
  const auto isLong = [&](const Repair& repair) { return repairFrames(repair, rate, clipFrames).span.count() > longer * (2 * reach + 1); };
  // What changed: from which stage on, and over how many frames.
  int from = stageCount, changed = 0;
  for (const auto& node : *take.repairs) {
    const Repair* was = findRepair(before, node->id);
    if ((was && *was == *node) || node->muted || node->weight == 0) continue;
    const FrameSpan span = repairFrames(*node, rate, clipFrames).acting();
    if (isLong(*node) && !cuts(*node) && !common(span, near).empty()) return {};
    from = std::min(from, stageOf(*node));
    changed += span.count();
  }
  if (changed <= longer * (2 * reach + 1)) return {};
  Repairs cut;
  for (const auto& node : *take.repairs) {
    const Repair* was = findRepair(before, node->id);
    const RepairFrames frames = repairFrames(*node, rate, clipFrames);
    if (stageOf(*node) >= from && isLong(*node) && cuts(*node)) {
      Repair part = *node;
      const FrameSpan span = common(frames.span, near);
      if (span.empty()) continue;
      part.span = TimeRange{rate.seconds(span.first), rate.seconds(span.last)};
      if (span.first > frames.span.first) part.easeBefore = 0;
      if (span.last < frames.span.last) part.easeAfter = 0;
      cut.push_back(Node<Repair>(std::move(part)));
    } else if (!(was && *was == *node) && common(frames.acting(), near).empty()) {
      // Far from here all is as it was.
      if (was) cut.push_back(Node<Repair>(*was));
    } else {
      cut.push_back(node);
    }
  }
  return setRepairs(take, std::move(cut));
}

}  // namespace understudy::editor
