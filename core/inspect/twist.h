// Forearms and shanks that spin about their own length while the hand or foot does not.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct TwistLimits {
  double arm = 28;      ///< degrees by which a forearm may turn against both neighbours; clean captures stay below 21, grips add a few
  double leg = 60;      ///< of a shank: a knee gives way when the body turns over a standing foot, up to 33 in clean captures
  /// Parts of these from which a spin of at most `brief` seconds counts whose course between its edges is left by `local` of them.
  double seed = 0.4, local = 0.75, brief = 1.2;
  double window = 4;    ///< seconds around a frame whose median twist is what the limb is used to
  double edge = 1;      ///< degrees below which the twist is over
};

/// An elbow or knee is a hinge: its lower bone's own twist changes little, and where it does, the hand goes along. A flaw is a span in
/// which the lower bone turns one way against the upper one and the hand or foot the other way against it, both away from their median.
/// Brief ones are measured against the
/// course from edge to edge as well, since what the limb does of its own hides a part of them. Proposes an untwist of hinges over the span.
[[nodiscard]] Findings twistFindings(const RepairContext& context, const TiledMotion& motion, const TwistLimits& limits = {});

}  // namespace understudy
