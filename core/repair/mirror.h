// A character's left and right: bones, turns and places as in a mirror.
#pragma once

#include "core/math/rigid.h"
#include "core/repair/repair_context.h"

namespace understudy {

// Seen in the stage the mirror is the plane x = 0, where the character stands in its reference pose.

[[nodiscard]] inline Vec3d mirroredPlace(const Vec3d& p) { return {-p.x, p.y, p.z}; }
/// Of a rotation vector, which is an axial vector.
[[nodiscard]] inline Vec3d mirroredTurn(const Vec3d& r) { return {r.x, -r.y, -r.z}; }
[[nodiscard]] inline Quatd mirroredTurn(const Quatd& q) { return {q.w, q.x, -q.y, -q.z}; }

/// The other side's bone: by role, and for bones without one by place in the reference pose below a mirrored parent. Bones of the
/// middle are their own; −1 where there is none.
[[nodiscard]] int mirroredJoint(const RepairContext& context, int joint);

/// A rotation vector, a direction or a place in a bone's rigid frame, as the mirrored bone `other` sees its mirror image.
[[nodiscard]] Vec3d mirroredTurn(const RepairContext& context, int joint, int other, const Vec3d& rotation);
[[nodiscard]] Vec3d mirroredPlace(const RepairContext& context, int joint, int other, const Vec3d& place);

/// A placement in a bone's rigid frame; its own x axis is mirrored along, so that a palm becomes the other hand's palm.
[[nodiscard]] Placement mirroredPlacement(const RepairContext& context, int joint, int other, const Placement& place);
/// What an offset or nudge adds to `joint`, as the mirrored bone needs it. False in the world's and the view's axes, where the mirror
/// depends on where the character looks; nothing is changed then.
[[nodiscard]] bool mirrorChange(const RepairContext& context, int joint, int other, NudgeSpace space, Vec3d& rotation, Vec3d& translation);

/// Radians about +Y from +Z to where the front of the hips points; 0 where it points straight up or down, or there are none.
[[nodiscard]] double headingOf(const RepairContext& context, const Quatd& hips);
/// How far a joint has turned about +Y since the reference pose, radians: the twist about +Y of its whole change, which stays steady
/// unless the joint is upside down.
[[nodiscard]] double yawOf(const RepairContext& context, int joint, const Quatd& now);

}  // namespace understudy
