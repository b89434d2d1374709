#include "core/inspect/finding.h"

#include <array>
#include <cmath>
#include <cstdio>

namespace understudy {

const std::string& findingName(FindingKind kind) {
  static const std::array<std::string, findingKinds> names{"slide", "float", "sink", "snap", "flip", "pop", "twist", "range", "depth", "grip drift",
                                                           "missed touch", "lost contact", "broken repair", "balance"};
  return names[static_cast<std::size_t>(kind)];
}

const char* findingUnit(FindingKind kind) {
  switch (kind) {
    case FindingKind::snap:
    case FindingKind::flip:
    case FindingKind::pop:
    case FindingKind::twist:
    case FindingKind::range: return "°";
    default: return "mm";
  }
}

void nameFinding(Finding& finding, FrameRate rate) {
  char time[32];
  std::snprintf(time, sizeof time, "%.1f", rate.seconds(finding.span.first + finding.span.last) / 2);
  finding.key = findingName(finding.kind) + (finding.bones.empty() ? std::string() : " " + finding.bones.front()) + " " + time;
}

}  // namespace understudy
