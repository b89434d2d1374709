// Flips over time removed, and twist shared along limbs.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// `repairs` hold UntwistRepair. Two things are done, neither of which changes the place of a limb's joint:
///
/// Flips. A step of a joint's local rotation from one frame to the next that is larger than a quarter turn and more than three times the
/// steps on both sides is a flip. One that comes and goes inside the repair's frames is taken out: the frames between get the turn that
/// joins them to the course on both sides. A flip that does not go back is left alone and told as the residual of its frame.
///
/// Twist. Of each limb (arms, legs) the end's twist about the middle bone and then the middle's twist about the upper bone are followed
/// over the repair's frames, so that turns past half a turn keep counting; near a half turn of swing, where twist means nothing, the
/// last one is kept. What exceeds `limit` (from 10° below, so that nothing starts with a jerk) is the excess; `share` of it goes to the
/// bone above, which turns about its own length. Bones between and twist bones beside take their part by their place along the bone.
/// Hands and feet keep their orientation in the stage (also fingers that hang on the forearm beside the hand, which are moved along for
/// that), and the middle bone when its own twist is shared.
///
/// Hinges, where asked for: a forearm or shank that spins about its own length while its hand or foot does not (its joint cannot, so the
/// capture is wrong) takes its twist from the course between the last frame before the repair's and the first behind them; at a clip's end
/// from the one edge there is. A repair over the whole clip has no edge, and hinges are left out with a warning.
///
/// The support of a frame is the repair's span and eases, with hinges one frame more on both sides. Detached ends share nothing.
[[nodiscard]] RepairLayerPtr makeUntwistLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

/// Twist of `change` about the unit vector `axis`, radians in (last − π, last + π]; within 10° of a half turn of swing `last` itself.
[[nodiscard]] double followedTwist(const Quatd& change, const Vec3d& axis, double last);

/// The part of a twist that is too much, with the twist's sign.
[[nodiscard]] double excessTwist(double twist, double limit);

}  // namespace understudy
