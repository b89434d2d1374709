// When a performer's feet are on the ground, found from the motion alone.
#pragma once

#include <array>
#include <vector>

#include "core/base/run_control.h"
#include "core/body/soles.h"
#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"
#include "core/motion/motion.h"

namespace understudy {

/// Lengths are fractions of the leg (thigh + shank), speeds legs a second, so that one setting serves bodies of any size.
/// Heights count from the level at which the same point of the foot stands when the foot is flat and still.
struct ContactSettings {
  /// A point lower than `nearHeight` and slower than `slow` may be in contact. Swinging feet pass the ground at 3 legs a
  /// second and more; feet that leave it pass 1 within about 20 ms of the moment the load is gone.
  double nearHeight = 0.05;
  double slow = 1.0;
  /// A falling foot lands when the ground begins to brake it: at its fastest fall, if that exceeds `fall`, within this many
  /// seconds before and after the moment it became slow and near, and never while it is higher than `landHeight`.
  double fall = 0.15;
  double searchBefore = 0.03;
  double searchAfter = 0.08;
  double landHeight = 0.015;
  /// A foot is thrown into swing if its acceleration peaks above this (legs a second squared) within the same search; it then
  /// leaves at half that peak, at most `searchBefore` from the moment it became fast. An easy walk reaches 45 and more.
  double push = 15;
  /// Within a contact, heel and ball count as down below this height; on landing also only once slower than `settled`.
  double downHeight = 0.015;
  double settled = 0.5;
  /// The stationary part of a contact: the point the foot stands on is slower than this. Feet roll and drift, so it is not 0.
  double still = 0.2;
  /// Contacts and gaps shorter than this (seconds) are no steps.
  double shortest = 0.06;
  /// A foot that turns about the vertical faster than this (radians a second) as it lands or leaves does not stand yet, or no more. Walkers
  /// who turn on the spot do so by about four.
  double whirl = 8;
  /// A foot that rests level this many seconds or more higher than `nearHeight`, with the leg stretched over it to `carryReach` of its length
  /// at some time, while the other one steps, carries the body: it stands on something of its own height, as on stairs.
  double carries = 0.1;
  double carryReach = 0.85;
  /// Where a foot spends this part of the clip or more lower than `airHeight` below the level at which it is stillest, and never rests
  /// there, that level is in the air: clips that walk and run in place have such feet.
  double airHeight = 0.1;
  double airPart = 0.2;
  /// Where less than this part of all contacts is stationary, and feet slide faster in them than the body travels, nothing is a contact:
  /// the clip walks in place.
  double restPart = 0.3;
  /// A slow step: between two rests farther apart than `stepLength`, heel and ball are both higher than `stepLift`.
  double stepLength = 0.08;
  double stepLift = 0.012;
  /// Where no sole is known: how far the heel's contact point lies behind the ankle. Foot length .152 H, a quarter of it
  /// behind the ankle, less the rounding of the heel (proportions: Drillis and Contini 1966).
  double heelBehind = 0.06;
  /// Where no sole is known: height of the ball's joint above the ground.
  double ballAbove = 0.034;
};

/// What the foot stands on or turns about.
enum class FootPhase : unsigned char { none, heel, flat, ball, toe };

/// One stay on the ground. Frames count from 0, inclusive.
struct ContactSpan {
  int first = 0, last = 0;
  double landing = 0, leaving = 0;             ///< seconds from the first frame, between frames where the motion tells
  bool landingSeen = false, leavingSeen = false;  ///< false: the clip begins or ends on the ground
  int stillFirst = -1, stillLast = -1;         ///< the stationary part, −1: none
  int stillFrames = 0;                         ///< of it, those in which the foot rests
  double height = 0;                           ///< of the ground above Contacts::floor, metres, from the stationary part
  friend bool operator==(const ContactSpan&, const ContactSpan&) = default;
};

struct FootContact {
  std::vector<FootPhase> phases;       ///< one a frame; empty where the foot is not mapped
  std::vector<ContactSpan> spans;      ///< in order
  std::vector<Vec3d> heel, ball;       ///< paths of the contact points, world metres
  double heelLevel = 0, ballLevel = 0; ///< world heights at which they stand

  [[nodiscard]] bool down(int frame) const { return phases[static_cast<std::size_t>(frame)] != FootPhase::none; }
  [[nodiscard]] bool heelDown(int frame) const {
    const FootPhase p = phases[static_cast<std::size_t>(frame)];
    return p == FootPhase::heel || p == FootPhase::flat;
  }
  [[nodiscard]] bool ballDown(int frame) const {
    const FootPhase p = phases[static_cast<std::size_t>(frame)];
    return p == FootPhase::ball || p == FootPhase::flat;
  }
};

struct Contacts {
  std::array<FootContact, 2> feet;  ///< left, right
  double leg = 0;    ///< thigh + shank, metres
  bool inPlace = false;  ///< feet hardly ever stand still: what looked like contacts is left out
  double floor = 0;  ///< world height of the ground, metres; from the skin where there is one, else ± 0.02 leg
  Issues issues;
};

/// Finds the contacts of both feet. Errors: the motion belongs to another skeleton, has no frames or no finite numbers; no
/// foot, or no leg to measure it by, is mapped. A single missing foot is a warning.
[[nodiscard]] Result<Contacts> findContacts(const Figure& figure, const SkeletonMap& map, const Motion& motion,
                                            const ContactSettings& settings = {}, const RunControl& control = {});

}  // namespace understudy
