// Reading map files from disk.
#pragma once

#include <string>

#include "core/mapping/bone_map.h"

namespace understudy::cli {

/// Errors: those of readBytes and readMapFile.
[[nodiscard]] Result<BoneMap> loadMapFile(const std::string& path, const Figure& performer, const Figure& character, Issues* issues);

}  // namespace understudy::cli
