// Nudges as the editor makes them: one bone at one frame, turned by hand or by numbers.
#pragma once

#include "app/editor/document/document.h"

namespace understudy::editor {

/// Number of the nudge that has this character joint at this frame (counted from 0); 0 for none.
[[nodiscard]] std::uint64_t nudgeOf(const Document& document, int joint, int frame);
/// A nudge without a turn yet, for a joint at a frame; made where there is none. Its number, 0 without a character.
std::uint64_t ensureNudge(Document& document, int joint, int frame, const QString& mergeKey = {});
/// Turns a character joint at a frame by `turn`, a rotation in the bone's own frame; writes a nudge or adds to the one there.
/// `base` is the rotation vector the nudge had before the drag.
std::uint64_t turnBone(Document& document, int joint, int frame, const Vec3d& base, const Quatd& turn, const QString& mergeKey);
/// The rotation vector of the nudge at a joint and frame; zero where there is none.
[[nodiscard]] Vec3d nudgeRotation(const Document& document, int joint, int frame);
/// Moves a nudge to a frame of the evaluated take (counted from 0).
void moveNudge(Document& document, std::uint64_t id, int frame, const QString& mergeKey = {});

/// The offset that turning this joint changes: the selected repair, where it is one of this bone in the bone's own axes.
[[nodiscard]] const Repair* offsetOf(const Document& document, std::uint64_t selected, int joint);
/// What the offset adds to the joint; zero where it has none.
[[nodiscard]] Vec3d offsetRotation(const Document& document, std::uint64_t id, int joint);
/// As turnBone, for an offset.
void turnOffset(Document& document, std::uint64_t id, int joint, const Vec3d& base, const Quatd& turn, const QString& mergeKey);

}  // namespace understudy::editor
