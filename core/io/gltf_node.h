// Pieces of glTF 2.0 that reader and writer must agree on.
#pragma once

#include "core/io/gltf_json.h"
#include "core/math/transform.h"
#include "core/motion/clip.h"

namespace understudy {

/// Local transform of a node; a matrix is split into translation, rotation and scale. `sheared` (optional) tells that
/// the split is only the nearest one. Errors: numbers that are missing or no floats.
[[nodiscard]] Result<Trsd> gltfNodeTransform(const JsonView& node, const std::string& where, bool* sheared);

/// The frame rate on whose frames all keys lie.
struct GltfKeyRate {
  FrameRate rate;
  bool certain = false;  ///< false: no rate fits, or the keys stand too far apart to tell
};
[[nodiscard]] GltfKeyRate gltfKeyRate(const Clip& clip);

}  // namespace understudy
