// A performer's touches of its own body, carried to the same places of the character's skin; how they are kept.
#pragma once

#include <vector>

#include "core/contact/body_contacts.h"
#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct TouchProposalSettings {
  double ease = 0.25;        ///< seconds before and after, at least
  double longestEase = 0.9;  ///< seconds
  double turning = 2.2;      ///< radians a second, on average, by which arms turn to a touch and back; slower than `ease` only
  double confidence = 0.5;   ///< contacts that are less sure are left out
  double moments = 12;       ///< of a path, a second
  double shortest = 0.1;     ///< seconds of a part of a contact that is carried by itself
  double pause = 0.15;       ///< seconds between two such parts
  double bridge = 0.04;      ///< seconds of a part that may miss altogether
  double nearly = 0.012;     ///< metres (at a height of 1.7) between the skins, either way, at which a part may go on
  double share = 0.7;        ///< of a part's frames that have to touch
  double farthest = 0.2;     ///< part of the height a hand may end from its place along the surface
  double fastest = 4;        ///< heights a second by which a touch may change a hand's way; beyond it would leap
  double quickest = 15;      ///< radians a second that it may add to a turn of upper arm, forearm or hand
};

/// One touch a contact, in order. `rate` is that of the contacts' frames; `plain` the character's motion (untrimmed) and
/// `alignment` that of its retarget, which tells how the performer's limbs lie to the character's. A place on a capsule of the
/// performer goes to the skin of the character's own part in the same direction, its nearest skin of the hand is what touches. Where
/// the arm does not get there, or the hand would lie in the body, the place moves over the same part of the body, or the
/// one that goes on from it, as little as it takes and smoothly from moment to moment; of several such ways the one that touches longest
/// is taken. A contact whose hand would leap is carried in the parts between the leaps. Left out and told in
/// `issues` are contacts whose parts the character lacks, that its arms cannot get to or that other parts of it are in the way of, or
/// of both hands on each other's arms. `threads` as in parallelFor().
[[nodiscard]] std::vector<Repair> touchesOf(const RepairContext& context, const BodyContacts& contacts, FrameRate rate, const TiledMotion& plain,
                                            const Alignment& alignment, const TouchProposalSettings& settings, Issues& issues, int threads = 0);

struct TouchLimits {
  double gap = 0.005, depth = 0.002;  ///< metres between skins, of a character 1.7 m tall
  double place = 0.001;               ///< metres, where a point is what touches
};

/// How a motion keeps a touch over its span, metres.
struct TouchKept {
  double gap = 0, depth = 0;  ///< worst; of points only `gap`
  double place = 0;           ///< worst distance of the point from its place, along the surface
  int worst = 0;              ///< frame
  int frames = 0, kept = 0;   ///< of the span; within the limits
  FrameSpan lost{0, -1};      ///< from the first to the last of the others
};
/// `grips` say how a touch's prop lies in the hand.
[[nodiscard]] TouchKept touchKept(const RepairContext& context, const TiledMotion& motion, const Repair& touch, const TouchLimits& limits = {},
                                  const std::vector<const Repair*>& grips = {});

/// Touches that a motion does not keep: contacts of the performance that were lost, or touches of the artist that are missed.
/// Each finding proposes its touch. `threads` as in parallelFor().
[[nodiscard]] Findings touchFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& touches,
                                     const TouchLimits& limits = {}, const std::vector<const Repair*>& grips = {}, int threads = 0);

}  // namespace understudy
