#include "core/repair/repair.h"

#include <algorithm>
#include <cmath>

namespace understudy {

const std::vector<std::string>& repairKinds() {
  static const std::vector<std::string> kinds{"offset", "bridge", "still", "restore", "untwist", "smooth", "plant", "touch", "grip", "clearance", "hand shape", "ground"};
  return kinds;
}

bool hasAnchor(const Repair& repair) {
  return std::visit([](const auto& action) { return requires { action.anchored; }; }, repair.action);
}

bool isAnchored(const Repair& repair) {
  return std::visit(
      [](const auto& action) {
        if constexpr (requires { action.anchored; })
          return action.anchored;
        else
          return true;
      },
      repair.action);
}

void setAnchored(Repair& repair, bool anchored) {
  std::visit(
      [&](auto& action) {
        if constexpr (requires { action.anchored; }) action.anchored = anchored;
      },
      repair.action);
}

RepairFrames repairFrames(const Repair& repair, FrameRate rate, int clipFrames) {
  // Beyond a billion frames nothing is meant any more, and sums stay inside an int.
  const auto framesIn = [&](double seconds) { return static_cast<int>(std::lround(std::clamp(seconds * rate.hertz(), -1e9, 1e9))); };
  RepairFrames out;
  if (repair.span && !(std::isfinite(repair.span->first) && std::isfinite(repair.span->last))) return out;
  out.span = repair.span ? common({framesIn(repair.span->first), framesIn(repair.span->last)}, {0, clipFrames - 1}) : FrameSpan{0, clipFrames - 1};
  if (!repair.span) return out;
  if (std::isfinite(repair.easeBefore)) out.before = std::max(0, framesIn(repair.easeBefore));
  if (std::isfinite(repair.easeAfter)) out.after = std::max(0, framesIn(repair.easeAfter));
  return out;
}

double spanWeight(const RepairFrames& frames, int frame) {
  if (frames.span.empty()) return 0;
  if (frames.span.holds(frame)) return 1;
  const bool early = frame < frames.span.first;
  const int distance = early ? frames.span.first - frame : frame - frames.span.last, ease = early ? frames.before : frames.after;
  if (distance >= ease) return 0;
  const double t = static_cast<double>(distance) / ease;
  return (2 * t - 3) * t * t + 1;
}

}  // namespace understudy
