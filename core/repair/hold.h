// Bridges (bones rebuilt over a span from its two edges) and stills (one pose kept over a span).
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// `repairs` hold BridgeRepair and StillRepair; each sees what those before it in the list have made.
///
/// A bridge writes its span's frames, whose own values do not matter. It starts from the last frame before the span and ends at the
/// first behind it, with the velocities found there over a thirtieth of a second (bridgeReach() frames) outside the span. Between them
/// the bone takes the even course (slerp, or a straight line) plus its surplus of velocity at each edge times t (1 − t/D)², t counted
/// from the edge: over D = the gap this is the cubic Hermite curve; D is half a second at most, so that a fast edge does not swing far
/// out in a long gap (at most 4/27 · D times the surplus). Where the span touches an end of the clip the bones come to rest within a
/// quarter of a second; a span over the whole clip has no edge and is left out with a warning. The repair's eases are not used; a
/// weight below 1 blends with the input.
///
/// A still takes the pose at its time (default: the span's first frame; outside the clip: the nearest frame, with a warning), keeps it
/// over the span and blends with the input over the eases.
[[nodiscard]] RepairLayerPtr makeHoldLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

/// Frames over which the velocity at a bridge's edge is taken.
[[nodiscard]] int bridgeReach(FrameRate rate);

}  // namespace understudy
