// What every kind of repair asks of its input before it is applied.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// False, with a warning, where a repair cannot be applied: its span lies outside the clip or runs backwards, or its times or
/// weight are no numbers. A span that is cut off by the clip's ends is told in a note.
[[nodiscard]] bool admitted(const Repair& repair, const RepairFrames& frames, const RepairContext& context, Issues& issues);

/// The smallest span that holds both; an empty one counts for nothing.
[[nodiscard]] FrameSpan hull(FrameSpan a, FrameSpan b);

}  // namespace understudy
