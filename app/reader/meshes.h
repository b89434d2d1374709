// Meshes, skins, materials and textures.
#pragma once

#include <string>

#include "app/reader/nodes.h"

namespace understudy {

/// `linearColours`: the file's material colours are linear already; else they are taken as sRGB. `path` is where
/// textures are looked for. `bindShapes`: the bind shape matrices a Collada file holds, which Assimp has multiplied into
/// the joints' offsets; empty for FBX, where the mesh's node places it in the bind pose. Adds to `figure`.
void buildMeshes(const aiScene& scene, const NodeTable& table, const std::string& path, bool linearColours,
                 const std::vector<Affined>& bindShapes, Figure& figure);

}  // namespace understudy
