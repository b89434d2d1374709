// World transforms of a few joints of a body in motion. Internal to retargeting.
#pragma once

#include <vector>

#include "core/retarget/plan.h"

namespace understudy {

class FewJoints {
 public:
  FewJoints(const PosedBody& body, const Motion& motion, const std::vector<int>& joints)
      : body_(body), motion_(motion), toWorld_(worldFromFile(*body.figure, body.pose)), joints_(withAncestors(body.rig.parents, joints)),
        track_(body.rig.parents.size(), -1), world_(body.rig.parents.size()) {
    for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) track_[static_cast<std::size_t>(motion.movedJoints[k])] = static_cast<int>(k);
  }

  /// World metres, by joint; only the wanted ones and those above them are worked out.
  const std::vector<Affined>& at(int frame) {
    const auto q = motion_.rotationsAt(frame);
    const auto t = motion_.translationsAt(frame);
    for (const int j : joints_) {
      const auto at = static_cast<std::size_t>(j);
      Trsd local = body_.figure->skeleton.rest[at];
      local.rotation = Quatd(q[at]);
      if (track_[at] >= 0) local.translation = Vec3d(t[static_cast<std::size_t>(track_[at])]);
      const int parent = body_.rig.parents[at];
      world_[at] = (parent < 0 ? toWorld_ : world_[static_cast<std::size_t>(parent)]) * Affined(local);
    }
    return world_;
  }

 private:
  const PosedBody& body_;
  const Motion& motion_;
  Affined toWorld_;
  std::vector<int> joints_, track_;
  std::vector<Affined> world_;
};

}  // namespace understudy
