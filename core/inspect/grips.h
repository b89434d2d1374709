// Two hands that stay together: found on the performer, proposed as grips, measured on the result.
#pragma once

#include <optional>
#include <vector>

#include "core/base/run_control.h"
#include "core/repair/grip.h"

namespace understudy {

/// Lengths are fractions of the performer's height, so that one setting serves bodies of any size.
struct HeldSettings {
  double farthest = 0.40;      ///< palms that hold one thing are at most this far apart
  double wanders = 0.030;      ///< how far their distance may stray from its median
  double turns = 0.8;          ///< radians the hands may turn to each other from their mean
  double moving = 0.10;        ///< a second: both palms move faster than this against the chest somewhere
  double approach = 0.30;      ///< there the distance changes by less than this part of the palms' own speed
  double steadier = 0.8;       ///< seen from one hand, the other strays less than this part of what both travel against the chest
  double window = 0.5;         ///< seconds over which these two are judged
  double shortest = 0.7;       ///< seconds
  double together = 0.4;       ///< seconds of a span, at least, in which the hands move as said
};

/// Both hands hold one thing. Frames count from 0, inclusive.
struct HeldSpan {
  FrameSpan frames;
  double distance = 0;   ///< median between the palms, metres
  double drift = 0;      ///< 95th percentile of how far the distance strays from it, metres
  bool leadLeft = false; ///< the hand that moves more leads; the right one where they are alike
  friend bool operator==(const HeldSpan&, const HeldSpan&) = default;
};

/// Spans in which the performer's hands move as one: a thing held in both keeps them at one distance while they travel, which
/// arms that hang, swing or rest do not. Errors: the motion is another skeleton's or not finite; no body can be read off it.
/// Without both hands in the map: no spans.
[[nodiscard]] Result<std::vector<HeldSpan>> findHeld(const Figure& performer, const SkeletonMap& map, const Motion& motion, const HeldSettings& settings = {},
                                                     const RunControl& control = {});

struct GripProposalSettings {
  std::optional<bool> leadLeft;  ///< which hand leads; none: as found
  std::uint64_t prop = 0;        ///< the context's prop that is held; 0: none is seen
  double ease = 0.3;             ///< seconds before and after
};

/// One grip a span, with its frames worked out on `motion` (what the stage of grips gets). Without a prop both hands meet half way;
/// with one the lead hand keeps its pose. Spans that cannot be gripped are told in `issues`.
[[nodiscard]] std::vector<Repair> proposeGrips(const RepairContext& context, const TiledMotion& motion, const std::vector<HeldSpan>& spans,
                                               FrameRate spanRate, const GripProposalSettings& settings, Issues& issues);

/// How far the support palm is from its place on the lead hand over a grip's span.
struct GripDrift {
  double worstMetres = 0, meanMetres = 0;
  double worstRadians = 0;
  int worstFrame = 0;      ///< counted from 0
};
[[nodiscard]] GripDrift gripDrift(const RepairContext& context, const TiledMotion& motion, const Repair& grip);

}  // namespace understudy
