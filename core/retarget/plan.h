// Which joint of the character follows which of the performer, and how. Internal to retargeting.
#pragma once

#include <vector>

#include "core/retarget/alignment.h"

namespace understudy {

/// How one character joint gets its world rotation.
struct Driver {
  enum class Kind { hold, follow, blend, twist } kind = Kind::hold;
  Quatf local;                 ///< hold: the constant local rotation
  int a = -1, b = -1;          ///< performer joints (follow: a; blend: a to b)
  Quatf ca, cb;                ///< performer world rotation → character world rotation
  float t = 0;                 ///< blend weight; twist share
  int twistOf = -1, twistFrom = -1;  ///< twist: character joints whose relative twist is shared
  Vec3f axis;                  ///< twist: axis in twistFrom's frame; aim: see below
  Quatf relative;              ///< twist: reference rotation of twistOf in twistFrom's frame
  int aimEnd = -1;             ///< ≥ 0: performer joint whose true direction corrects the swing
  Vec3f aimRest;               ///< reference direction to aimEnd in a's frame
};

/// A character joint that needs a translation track.
struct Mover {
  int joint = -1;
  int anchor = -1;      ///< character joint it follows; −1 for the hips
  Vec3d offset;         ///< in the anchor's frame, world metres
};

struct Plan {
  PosedBody performer, character;
  std::vector<Driver> drivers;
  std::vector<Mover> movers;       ///< hips first
  std::vector<char> performerNeeded, characterNeeded;
  std::vector<int> animated;
  double stride = 1;
  bool sameBody = false;           ///< both figures have the same reference pose: rotations carry over as they are
};

/// Fills in all of a plan but its bodies, its stride and whether they are the same.
void planDrivers(Plan& plan, const Alignment& alignment, const Motion& clip);

/// The joints and all above them, ascending.
[[nodiscard]] std::vector<int> withAncestors(const std::vector<int>& parents, const std::vector<int>& joints);

}  // namespace understudy
