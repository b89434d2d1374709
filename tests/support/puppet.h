// A round character made of closed surfaces, for tests of what touches what.
#pragma once

#include <memory>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"
#include "core/motion/motion.h"
#include "core/repair/repair_context.h"

namespace understudy::test {

struct PuppetOptions {
  double belly = 0.2;      ///< half width of the torso, metres; the shoulders stay 0.2 from the middle
  double scale = 1;        ///< of everything
  bool rigid = false;      ///< meshes hang on joints instead of being skinned
  bool openSleeves = false;  ///< arms without end caps, torso without its top
};

/// Y up, facing +Z, T-pose, 1.7 m times `scale`; hips, spine, chest, head, arms with hands, legs with feet. Joints are named like their roles.
[[nodiscard]] std::shared_ptr<Figure> puppet(const PuppetOptions& options = {});
[[nodiscard]] SkeletonMap puppetMap(const Figure& figure);
/// Of a character without a performer. Throws where none can be made.
[[nodiscard]] std::shared_ptr<const RepairContext> puppetContext(std::shared_ptr<const Figure> figure, FrameRate rate, int frames);

/// Arms hang down, swing by `swing` radians and bend by `bend`; the spine stays or bows by `bow`. One cycle a second.
[[nodiscard]] std::shared_ptr<Motion> puppetWalk(const Figure& figure, int frames, FrameRate rate, double swing = 0.3, double bend = 0.5, double bow = 0.2);

}  // namespace understudy::test
