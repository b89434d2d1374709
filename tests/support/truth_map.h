// Hand-made role maps of the open corpus, as skeleton maps.
#pragma once

#include <string>

#include "core/mapping/bone_map.h"

namespace understudy {

/// Reads corpus/roles/NAME.roles.json; roles it leaves out stay empty. An empty map where the file is absent.
[[nodiscard]] SkeletonMap truthMap(const std::string& corpus, const std::string& fileName, const Figure& figure);

}  // namespace understudy
