// A character together with its props, as one figure that the glTF writers can write.
#pragma once

#include <memory>

#include "core/io/write.h"

namespace understudy {

struct WithProps {
  Figure figure;     ///< the character; each prop is a further root joint without a node in the file
  Motion motion;
  BakedClip clip;    ///< points to `motion`
};

/// `all`: with the character's own meshes, else only what the props bring. Errors: a path that does not have one entry a frame or is
/// not finite; a joint that does not exist.
[[nodiscard]] Result<std::unique_ptr<const WithProps>> withProps(const Figure& character, const BakedClip& clip, bool all);

}  // namespace understudy
