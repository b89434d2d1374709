// The head gives way where arms have no room beside it.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// The stage after the arms': where forearms or hands still lie in the head, neck and head turn away by as little as does, at most by what the
/// clearance allows, coming and going smoothly; hands that touch it by a touch among `repairs` go along with it. Null where no clearance keeps
/// arms out of a head that can turn.
[[nodiscard]] RepairLayerPtr makeHeadLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs);

}  // namespace understudy
