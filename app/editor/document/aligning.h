// Alignment by eye: the character in the performer's reference pose, and turns of single roles. No widgets.
#pragma once

#include "app/editor/document/document.h"

namespace understudy::editor {

/// The character as it stands while the performer is in its reference pose: world transforms of its joints in its file's unit and
/// axes. `settings` may differ from those that `report` was made with (`made`) in their alignment offsets: these are taken as they are now.
[[nodiscard]] std::vector<Affined> alignedReference(const Figure& character, const SkeletonMap& map, const RetargetReport& report, const RetargetSettings& made,
                                                    const RetargetSettings& settings);
/// The same of the current take; empty without a match.
[[nodiscard]] std::vector<Affined> alignedReference(const Document& document);

/// The role a character's bone can be aligned for; nothing where it fills none, or the performer has none.
[[nodiscard]] std::optional<Role> alignedRole(const Document& document, int joint);
/// Extra turn of a role (rotation vector, radians, character's world reference frame).
[[nodiscard]] Vec3d alignmentOffset(const Take& take, Role role);
/// Turns a role by `turn`, a rotation in the frame of its first bone, on top of the offset `base`.
void turnRole(Document& document, Role role, const Vec3d& base, const Quatd& turn, const QString& mergeKey);

}  // namespace understudy::editor
