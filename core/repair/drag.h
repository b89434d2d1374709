// What dragging a joint in the stage writes: a nudge by which the limb or the body follows.
#pragma once

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

struct DragSettings {
  bool endKeepsRotation = true;  ///< a dragged hand or foot keeps its orientation in the stage; false: it goes with the limb's last bone
  bool endStays = true;          ///< elbow and knee swing about the line from root to end; false: the upper bone turns, the end goes along
  bool feetStay = true;          ///< when the hips are dragged
  bool handsStay = false;        ///< when the hips are dragged
  double soft = 1;               ///< as in TwoBoneGoal: below 1 the limb nears full stretch gently
};

struct Dragged {
  Nudge nudge;      ///< in the bones' own space, at the frame's time, with the default ease; without changes where nothing moves
  double miss = 0;  ///< metres the joint (or a foot or hand that is to stay) is away from where it should be
};

/// Drags `joint` of the pose at `frame` of `motion`, the input of the nudges or a late nudge, to `target` (metres in the stage):
/// hand and foot bend their limb, elbow and knee swing theirs, the hips carry the body while the feet stay, any other joint is brought
/// into the target's direction by the bone above it, one without a bone above is moved. Errors: a frame outside the motion, no such
/// joint, a target that is no number, a straight limb whose elbow or knee is to swing.
[[nodiscard]] Result<Dragged> dragged(const RepairContext& context, const TiledMotion& motion, int frame, int joint, const Vec3d& target,
                                      const DragSettings& settings = {});

}  // namespace understudy
