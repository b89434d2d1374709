// The props of a take as things: read from their files, with the places where hands hold them.
#pragma once

#include <memory>

#include "core/base/run_control.h"
#include "core/repair/repair.h"
#include "core/scene/prop.h"

namespace understudy {

/// The prop's geometry at its own scale: a file, a node of it, or a plain shaft. `character` (may be null) is used where the prop's
/// path is the character's own file, so that it is not read again. Errors: those of reading; no such node; no mesh; sizes that are
/// not positive.
[[nodiscard]] Result<PropModel> openProp(const PropItem& item, const std::shared_ptr<const Figure>& character = nullptr, const RunControl& control = {});

/// The item with its grips and handle radius found on the model, unless it has grips already. `height` is the character's, metres: it
/// says how wide palms are and how far apart hands hold a shaft.
[[nodiscard]] Result<PropItem> withGrips(const PropItem& item, const PropModel& model, double height = 1.7);

/// What a file of this name makes as a prop, with its grips found: the last two in one. A shaft for an empty path.
[[nodiscard]] Result<PropItem> makeProp(PropItem item, const std::shared_ptr<const Figure>& character = nullptr, double height = 1.7,
                                        const RunControl& control = {});

}  // namespace understudy
