// Findings and repairs made by hand, for tests of what is done with them.
#pragma once

#include "core/inspect/finding.h"

namespace understudy::test {

[[nodiscard]] inline Finding flaw(FindingKind kind, const char* bone, FrameSpan span, double measure, double severity = 0.2, const std::string& cause = {}) {
  Finding finding;
  finding.kind = kind;
  finding.bones = {bone};
  finding.span = span;
  finding.worst = span.first;
  finding.measure = measure;
  finding.severity = severity;
  finding.cause = cause;
  finding.sentence = "Something is wrong with " + std::string(bone);
  return finding;
}

[[nodiscard]] inline Repair proposedRepair(RepairAction action, const char* name) {
  Repair repair;
  repair.name = name;
  repair.action = std::move(action);
  repair.proposed = true;
  return repair;
}

}  // namespace understudy::test
