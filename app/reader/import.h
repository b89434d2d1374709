// FBX and Collada files as figures, by way of Assimp.
#pragma once

#include <string>

#include "core/figure/figure.h"

namespace understudy {

/// Reads a file, telling FBX and Collada apart by content. `meshes` false: skeleton and clips only. Errors: missing, a
/// folder, empty, too large, neither format, damaged, without any node.
[[nodiscard]] Result<Figure> importFile(const std::string& path, bool meshes);

}  // namespace understudy
