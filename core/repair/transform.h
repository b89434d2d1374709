// Edits on repairs and nudges as values: mirrored, moved in time, carried to another character.
#pragma once

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// The upright plane that divides a character into left and right at one moment.
struct SagittalPlane {
  Vec3d point;         ///< on it, metres in the stage
  double heading = 0;  ///< radians about +Y from +Z: it runs along the character's front
};
/// By the hips at a frame of a motion on the context's character; the reference pose's without hips or with a frame outside.
[[nodiscard]] SagittalPlane sagittalPlane(const RepairContext& context, const TiledMotion& motion, int frame);

/// The repair for the other side: left and right roles, bones and hands change places, turns and places are mirrored, the lead hand of
/// a grip becomes the other one. `plane` is the character's at the repair's time: what is given in the stage (a plant's anchor, a
/// touch's point, turns about the stage's axes) is mirrored at it; set objects and props stay where they are. Bones without a
/// counterpart keep their side, with a warning in `issues`. Mirroring twice at one plane gives the repair back, to rounding.
[[nodiscard]] Repair mirrored(const Repair& repair, const RepairContext& context, const SagittalPlane& plane, Issues& issues);
[[nodiscard]] Nudge mirrored(const Nudge& nudge, const RepairContext& context, const SagittalPlane& plane, Issues& issues);

/// Later by `seconds` (earlier where negative), with all times it stores. A repair over the whole clip keeps its span.
[[nodiscard]] Repair movedInTime(const Repair& repair, double seconds);
[[nodiscard]] Nudge movedInTime(const Nudge& nudge, double seconds);

/// The repair for a take with another character: bones keep their role, or their name where they fill none; turns in a bone's own or
/// its parent's axes and points on bones are carried over by the bones' directions in both reference poses, lengths by the characters'
/// heights; anchors are left to be worked out anew. Bones the other character lacks are told in `issues` and left out. Error: nothing
/// of the repair is left.
[[nodiscard]] Result<Repair> carriedOver(const Repair& repair, const RepairContext& from, const RepairContext& to, Issues& issues);
[[nodiscard]] Result<Nudge> carriedOver(const Nudge& nudge, const RepairContext& from, const RepairContext& to, Issues& issues);

}  // namespace understudy
