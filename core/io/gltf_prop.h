// A rigid thing put into a glTF file that is there already: node, mesh, materials, pictures.
#pragma once

#include "core/figure/figure.h"
#include "core/io/gltf_pack.h"

namespace understudy {

/// JSON objects to go behind the file's own; the counts are those of the file.
struct GltfPropParts {
  std::size_t firstMesh = 0, firstMaterial = 0, firstTexture = 0, firstImage = 0;
  std::vector<std::string> meshes, materials, textures, images;
};

/// The node of a root joint with all rigid meshes that hang on it. Adds to `pack` and `parts`.
[[nodiscard]] std::string packPropNode(GltfPack& pack, const Figure& figure, int joint, GltfPropParts& parts);

}  // namespace understudy
