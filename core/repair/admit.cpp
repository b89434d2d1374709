#include "core/repair/admit.h"

#include <cmath>

namespace understudy {

bool admitted(const Repair& repair, const RepairFrames& frames, const RepairContext& context, Issues& issues) {
  const auto refuse = [&](std::string what, std::string todo) {
    issues.push_back(makeWarning(std::move(what), describe(repair), std::move(todo)));
    return false;
  };
  const bool times = std::isfinite(repair.easeBefore) && std::isfinite(repair.easeAfter) &&
                     (!repair.span || (std::isfinite(repair.span->first) && std::isfinite(repair.span->last)));
  if (!times || !std::isfinite(repair.weight)) return refuse("Its times or its weight are no numbers; it is left out", "Set them anew");
  if (repair.span && repair.span->last < repair.span->first) return refuse("Its span ends before it begins; it is left out", "Set the first frame before the last");
  const std::string clip = "the clip has frames 1:" + std::to_string(context.frames);
  if (frames.span.empty()) return refuse("Its span lies outside the clip; it is left out", "Move it: " + clip);
  if (repair.span) {
    const double hertz = context.rate.hertz();
    if (repair.span->first * hertz < -0.5 || repair.span->last * hertz > context.frames - 0.5)
      issues.push_back(makeNote("Its span is cut off: " + clip, describe(repair)));
  }
  return true;
}

FrameSpan hull(FrameSpan a, FrameSpan b) {
  if (a.empty()) return b;
  if (b.empty()) return a;
  return {std::min(a.first, b.first), std::max(a.last, b.last)};
}

}  // namespace understudy
