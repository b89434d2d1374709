// Nudges as the editor makes them: one bone at one frame, turned by hand or by numbers.
#pragma once

#include "app/editor/document/document.h"

namespace understudy::editor {

/// Index in the take's list of the nudge that has this character joint at this frame (counted from 0); −1 for none.
[[nodiscard]] int nudgeOf(const Document& document, int joint, int frame);
/// A nudge without a turn yet, for a joint at a frame; made where there is none. Its index, −1 without a character.
int ensureNudge(Document& document, int joint, int frame, const QString& mergeKey = {});
/// Turns a character joint at a frame by `turn`, a rotation in the bone's own frame; writes a nudge or adds to the one there.
/// `base` is the rotation vector the nudge had before the drag.
int turnBone(Document& document, int joint, int frame, const Vec3d& base, const Quatd& turn, const QString& mergeKey);
/// The rotation vector of the nudge at a joint and frame; zero where there is none.
[[nodiscard]] Vec3d nudgeRotation(const Document& document, int joint, int frame);
/// Moves a nudge to a frame of the evaluated take (counted from 0).
void moveNudge(Document& document, int index, int frame, const QString& mergeKey = {});
/// The nudge at a place of the list; null outside.
[[nodiscard]] const Nudge* nudgeAtIndex(const Document& document, int index);

}  // namespace understudy::editor
