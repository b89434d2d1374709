// Plants that a performance asks for.
#pragma once

#include <vector>

#include "core/contact/contacts.h"
#include "core/repair/repair.h"

namespace understudy {

struct PlantProposalSettings {
  double release = 0.14;      ///< last part of a plant in which the foot may begin to slip
  double longestRelease = 0.12;  ///< seconds
  double leastPhase = 0.06;   ///< seconds; shorter phases from which the foot comes back are noise
  double spinRate = 0.8;      ///< radians a second above which a standing foot spins
  double heelStays = 0.7;     ///< a foot spins on its heel where that goes less far than this part of the ball's way
  double leastSpin = 0.25;    ///< radians; less turn than this is none
  double rise = 0.004;        ///< parts of the performer's leg; a heel or ball that has risen further bears no longer
  double ballRise = 0.006;    ///< the same for a ball that leaves the ground to the toes
  double leastToe = 0.06;     ///< seconds in which the toes leave the ground at least
  double easeBefore = 0.3, easeAfter = 0.4;  ///< seconds in which the foot joins its own way
  double groundNear = 0.08;   ///< ground within this part of the performer's leg of the floor is the floor: captures of flat floors wander by 0.055
};

/// One plant for each stay of a performer's feet on the ground, in time, with phases, spins and release; not anchored yet.
/// `contacts` were found at `rate`, best the performer's own; `scale` is the character's leg by the performer's.
[[nodiscard]] std::vector<Repair> proposePlants(const Contacts& contacts, FrameRate rate, double scale = 1, const PlantProposalSettings& settings = {});

}  // namespace understudy
