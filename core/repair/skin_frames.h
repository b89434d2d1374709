// Points of the skin in the frames their joints have in motion.
#pragma once

#include <vector>

#include "core/repair/layer.h"

namespace understudy {

/// Takes points of the reference pose to the rigid frame a joint has in motion. Nodes keep their own constant scale there,
/// which need not be that of the bind pose. The context must outlive it.
class SkinFrames {
 public:
  explicit SkinFrames(const RepairContext& context);
  /// In the joint's frame, metres, Y up, of a point in the file's space and unit.
  [[nodiscard]] Vec3d local(int joint, const Vec3d& filePosition) const;

 private:
  const RepairContext& context_;
  std::vector<Affined> rest_;
  std::vector<Quatd> turn_;
};

}  // namespace understudy
