// Words for what is shown: roles, bones, nudges, figures.
#pragma once

#include <QString>

#include "app/editor/document/document.h"

namespace understudy::editor {

/// "left upper arm" for leftUpperArm.
[[nodiscard]] QString roleText(Role role);
/// A joint's name as people know it; "#7" where it has none.
[[nodiscard]] QString jointText(const Figure& figure, int joint);
/// The role a joint fills, first or in a chain.
[[nodiscard]] std::optional<Role> roleOf(const SkeletonMap& map, int joint);
/// "port_arm +12°"
[[nodiscard]] QString nudgeText(const Nudge& nudge);
/// "frame 212, eases 8 and 8" in shown numbers.
[[nodiscard]] QString nudgeSpanText(const Nudge& nudge, const Evaluated& evaluated);
/// Frames, rate, unit, up axis, joints, height: two short lines for the cast.
[[nodiscard]] QStringList figureLines(const Document& document, Cast cast);
/// A length in metres, two decimals: "1.78 m".
[[nodiscard]] QString metres(double value);

}  // namespace understudy::editor
