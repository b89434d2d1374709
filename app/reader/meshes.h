// Meshes, skins, materials and textures.
#pragma once

#include <string>

#include "app/reader/nodes.h"

namespace understudy {

/// `linearColours`: the file's material colours are linear already; else they are taken as sRGB. `path` is where
/// textures are looked for. Adds to `figure`.
void buildMeshes(const aiScene& scene, const NodeTable& table, const std::string& path, bool linearColours, Figure& figure);

}  // namespace understudy
