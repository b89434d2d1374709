// Compact glTF 2.0 writer for figures made here.
#pragma once

#include <string>

#include "core/figure/figure.h"

namespace understudy::samples {

/// The figure as one .glb: nodes, one skin, one mesh with a primitive a part, vertex colours.
[[nodiscard]] std::string glbOf(const Figure& figure, const std::string& meshName);

}  // namespace understudy::samples
