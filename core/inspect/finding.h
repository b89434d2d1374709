// Flaws of a take's result as the program finds them.
#pragma once

#include <string>
#include <vector>

#include "core/repair/repair.h"

namespace understudy {

enum class FindingKind : unsigned char {
  slide,        ///< mm a planted foot wanders
  afloat,       ///< mm a planted foot stands above the ground
  sink,         ///< mm a sole lies below the ground
  snap,         ///< knee or elbow: degrees by which its angle jumps at full stretch
  flip,         ///< degrees a bone turns in one frame and back
  pop,          ///< degrees a bone jumps in one frame
  twist,        ///< degrees of twist beyond what the joint carries
  range,        ///< degrees beyond the joint's range
  depth,        ///< mm a limb lies in the body
  gripDrift,    ///< mm the support hand leaves its place
  missedTouch,  ///< mm a touch misses
  lostContact,  ///< mm between body parts that met in the performance
  broken,       ///< mm by which a late nudge breaks a repair
  balance,      ///< mm that the weight of a standing body lies outside of its feet
};
inline constexpr int findingKinds = 14;

/// The spelling in reports: "slide", "float", "sink", "snap" …
[[nodiscard]] const std::string& findingName(FindingKind kind);
/// "mm" or "°".
[[nodiscard]] const char* findingUnit(FindingKind kind);

/// One flaw. Frames count from 0 in the untrimmed clip.
struct Finding {
  FindingKind kind = FindingKind::slide;
  std::string key;      ///< what it is known by from one evaluation to the next: kind, bone, and time to a tenth of a second
  double measure = 0;   ///< in findingUnit()
  double severity = 0;  ///< 0 barely there … 1 anyone sees it
  FrameSpan span;
  int worst = 0;        ///< frame
  std::vector<std::string> bones;  ///< as repairs name them
  std::string sentence; ///< for people
  std::vector<Repair> proposal;    ///< repairs that mend it; empty: none is known
  std::string harm;     ///< what accepting the proposal brings along, a sentence; empty: nothing, or nobody has tried it (core/job/offers.h)
  std::string cause;    ///< of what remains after its repair, measured; empty: not explained
  bool waved = false;
  bool hint = false;    ///< worth a look, but no flaw of the take: never counted as left undone
};
using Findings = std::vector<Finding>;

/// Fills in `key` from kind, first bone and the middle of the span.
void nameFinding(Finding& finding, FrameRate rate);

}  // namespace understudy
