// Set objects of a take as shapes.
#pragma once

#include "core/repair/repair.h"
#include "core/scene/set.h"

namespace understudy {

/// The shape of a set object where it stands; loaded geometry is read from its file. Errors: unreadable, no triangles, sizes that are
/// not positive.
[[nodiscard]] Result<SetShape> setShapeOf(const SetItem& object);

}  // namespace understudy
