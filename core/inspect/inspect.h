// All findings of a take's result, with what is proposed for each.
#pragma once

#include "core/evaluate/evaluate.h"
#include "core/inspect/finding.h"
#include "core/inspect/limits.h"
#include "core/inspect/performance.h"

namespace understudy {

/// In the order in which their repairs are applied; hints propose none.
enum class InspectPart : unsigned char { jumps, feet, body, touches, grips, depth, hints };
inline constexpr int inspectParts = 7;

struct InspectSettings {
  std::array<bool, inspectParts> parts{true, true, true, true, true, true, true};
  std::optional<bool> leadLeft;  ///< which hand leads a grip; none: by the performance
  std::uint64_t prop = 0;        ///< of the take, held where both hands hold something; 0: none is seen
  FindingLimits limits;
};

/// What was found on one evaluation. Findings of what the take repairs already, as well as it can be, have no proposal but a cause.
struct Inspection {
  Findings findings;
  Findings settled;   ///< jumps that no bridge takes away: fast as the performer is, they are no flaws
  Issues issues;
};

/// Flaws inside the take's trim. `evaluated` is the take's own evaluation and must be complete. Errors: stopped.
[[nodiscard]] Result<Inspection> inspectTake(const Take& take, const Evaluated& evaluated, const Performance& performance, const InspectSettings& settings = {},
                                             const RunControl& control = {});

/// True where a repair of the take does already what `proposal` would do: the same kind and part over some of the same frames; for
/// bridges: all its bones over all its frames.
[[nodiscard]] bool repairsAlready(const Repairs& repairs, const Repair& proposal, FrameRate rate, int clipFrames);

}  // namespace understudy
