// A bone map while it is made. Internal to mapping.
#pragma once

#include <string>
#include <vector>

#include "core/mapping/body_shape.h"
#include "core/mapping/bone_map.h"

namespace understudy {

struct Mapper {
  const Figure& figure;
  const BodyTree& t;
  SkeletonMap map;

  /// Gives joints to a role. `geometry`: confidence from the place in the body, to which the name adds or from which it takes.
  void set(Role role, std::vector<int> joints, double geometry, const std::string& where);
};

/// Fingers below a hand or beside it, by their names or else by their shape.
void mapFingers(Mapper& m, int hand, int lower, bool left);

}  // namespace understudy
