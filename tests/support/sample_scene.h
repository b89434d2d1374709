// The demo's performance on its character, retargeted and not repaired.
#pragma once

#include <memory>

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

struct SampleScene {
  std::shared_ptr<const Figure> performer;
  std::shared_ptr<const BoneMap> map;
  Motion clip;                                  ///< the performer's
  std::shared_ptr<const RepairContext> context; ///< null: the samples cannot be read
  TiledMotion motion;
};

[[nodiscard]] SampleScene sampleScene();

}  // namespace understudy
