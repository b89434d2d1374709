// When a performer's hands touch its own body or each other, and when they hold something together, found from the motion alone.
#pragma once

#include <vector>

#include "core/base/run_control.h"
#include "core/contact/body_sites.h"
#include "core/motion/motion.h"

namespace understudy {

/// Lengths are fractions of the stature (leg ÷ .491), so that one setting serves bodies of any size.
struct BodyContactSettings {
  /// A hand touches once it is nearer to a site than `enter`, and as long as it is nearer than `stay`. Hands that swing past
  /// the thighs in walking keep more than .015.
  double enter = 0.012;
  double stay = 0.022;
  /// One that comes no nearer than `lingers` touches where it stays for this long (seconds).
  double lingers = 0.018, lingering = 0.18;
  double drifts = 1.1;  ///< times `stay`, up to which it may go meanwhile
  /// A straight arm that hangs brushes hip and thigh without meaning to, unless it is deeper than this.
  double hanging = -0.010;
  /// A blow between frames: the hands' gap has a minimum below `blow`, where their closing speed changes by more than `shock`
  /// (statures a second squared; capture of reaches and strokes in the air stays below half of it).
  double blow = 0.035;
  double shock = 20;
  /// Touches and the gaps between them shorter than this (seconds) are none.
  double shortest = 0.05;
  double bridge = 0.10;
  /// Touches shorter than this (seconds) meet; longer ones rest where the place wanders less than `wander`, else they glide.
  double meeting = 0.15;
  double wander = 0.03;
  /// Hands that hold something together: the distance between the palms keeps within a band of this width for at least
  /// `holding` seconds and is at most `apart`, while both hands travel against the chest: by the distance's own spread times
  /// `travel` (more the farther apart they are) and by at least `least`, as standard deviations.
  double band = 0.085;
  double holding = 1.0;
  double apart = 0.40;
  double travel = 4;
  double least = 0.03;
  double twist = 0.5;    ///< radians (root mean square) the hands may turn against each other meanwhile
  /// Arms that swing alike, as in a jump, keep the hands apart as the shoulders are without holding anything: hands at least
  /// `besideLeast` apart within `besideTilt` (radians) of the chest's breadth may turn no more than `twistSideBySide`.
  double besideLeast = 0.15, besideTilt = 0.3, twistSideBySide = 0.15;
  double regrip = 0.35;  ///< seconds of a break over which a hold goes on
};

enum class BodyContactKind : unsigned char { meet, rest, glide };

/// One frame of a contact.
struct BodyContactFrame {
  BodySite site = BodySite::head;
  SitePlace place;       ///< of the touching point, on `site`
  double onHand = 0.5;   ///< where along the hand it is: 0 wrist, 1 finger tips
  double gap = 0;        ///< metres between hand and site, as far as proportions tell; negative: the thicknesses overlap
};

/// One touch. Frames count from 0, inclusive.
struct BodyContact {
  int hand = 0;                         ///< 0 left, 1 right; where both hands touch each other, 0
  BodySite site = BodySite::head;       ///< the one touched longest
  BodyContactKind kind = BodyContactKind::rest;
  int first = 0, last = 0, nearest = 0;
  std::vector<BodyContactFrame> frames; ///< one a frame, first … last
  double confidence = 0;                ///< 0 … 1

  [[nodiscard]] bool handToHand() const { return site == BodySite::leftHand || site == BodySite::rightHand; }
};

/// Both hands on one thing that is not seen.
struct HandsTogether {
  int first = 0, last = 0;
  double distance = 0;    ///< metres between the palms, median
  double spread = 0;      ///< metres, standard deviation of that distance
  double turn = 0;        ///< radians, root mean square of the right hand's rotation seen from the left, about its mean
  Vec3d position;         ///< median of the right palm seen from the left palm, in the left hand's joint frame, metres
  Quatd rotation;         ///< mean of the right hand's rotation seen from the left hand
  double travel = 0;      ///< metres, standard deviation of the palms' places against the chest (the lesser of both)
  double confidence = 0;  ///< 0 … 1
};

struct BodyContacts {
  std::vector<BodyContact> touches;     ///< in order of their first frames
  std::vector<HandsTogether> together;
  BodySites sites;                      ///< of the performer
  Issues issues;
};

/// Errors: the motion belongs to another skeleton, has no frames or numbers that are not finite; no legs are mapped. Without
/// arms there are no contacts, which `issues` notes.
[[nodiscard]] Result<BodyContacts> findBodyContacts(const Figure& figure, const SkeletonMap& map, const Motion& motion,
                                                    const BodyContactSettings& settings = {}, const RunControl& control = {});

}  // namespace understudy
