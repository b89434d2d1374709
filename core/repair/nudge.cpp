#include "core/repair/nudge.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

namespace understudy {
namespace {

constexpr std::array<const char*, 6> spaceNames{"bone", "parent", "character", "world", "view", "ground"};

int framesIn(double seconds, FrameRate rate) {
  // Beyond a billion frames nothing is meant any more, and the sums below stay inside an int.
  return static_cast<int>(std::lround(std::clamp(seconds * rate.hertz(), -1e9, 1e9)));
}

}  // namespace

std::string nudgeSpaceName(NudgeSpace space) { return spaceNames[static_cast<std::size_t>(space)]; }

bool nudgeSpaceNamed(const std::string& name, NudgeSpace& space) {
  for (std::size_t i = 0; i < spaceNames.size(); ++i)
    if (name == spaceNames[i]) {
      space = static_cast<NudgeSpace>(i);
      return true;
    }
  return false;
}

NudgeFrames nudgeFrames(const Nudge& nudge, FrameRate rate) {
  return {framesIn(nudge.time, rate), std::max(0, framesIn(nudge.easeBefore, rate)), std::max(0, framesIn(nudge.easeAfter, rate))};
}

double easeWeight(const NudgeFrames& frames, int frame) {
  const int distance = std::abs(frame - frames.frame);
  if (distance == 0) return 1;
  const int ease = frame < frames.frame ? frames.before : frames.after;
  if (distance >= ease) return 0;
  const double t = static_cast<double>(distance) / ease;
  return 2 * t * t * t - 3 * t * t + 1;
}

std::vector<JointNudge> slopeParts(const std::vector<NudgeSlope>& slopes) {
  std::vector<JointNudge> parts;
  for (const NudgeSlope& slope : slopes) parts.push_back({slope.joint, slope.before, {}});
  for (const NudgeSlope& slope : slopes) parts.push_back({slope.joint, slope.after, {}});
  return parts;
}

std::vector<NudgeSlope> slopesOf(const std::vector<JointNudge>& parts) {
  std::vector<NudgeSlope> slopes;
  const std::size_t count = parts.size() / 2;
  for (std::size_t i = 0; i < count; ++i) slopes.push_back({parts[i].joint, parts[i].rotation, parts[count + i].rotation});
  return slopes;
}

double slopeWeight(const NudgeFrames& frames, int frame) {
  const int distance = frame - frames.frame, ease = distance < 0 ? frames.before : frames.after;
  if (distance == 0 || std::abs(distance) >= ease) return 0;
  const double t = static_cast<double>(std::abs(distance)) / ease;
  return distance * (t * t - 2 * t + 1);
}

}  // namespace understudy
