// What is one event to the eye is one finding.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/repair_context.h"

namespace understudy {

struct EventSettings {
  double join = 0.25;  ///< seconds between flaws of one kind and limb that are told as one
};

/// Findings of one kind on one limb that overlap or follow each other within the settings' time become one: the whole span, the
/// worst measure with its sentence and cause, all bones and all different proposals. Those with proposals and those without are kept
/// apart. In order of their first frames.
[[nodiscard]] Findings joinedEvents(Findings findings, FrameRate rate, const EventSettings& settings = {});

/// The same flaw in two looks at a take: the same kind and limb at some of the same time (to within `near` frames).
[[nodiscard]] bool sameFlaw(const Finding& a, const Finding& b, int near = 0);

}  // namespace understudy
