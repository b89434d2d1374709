// Animation stacks as clips of keyed curves.
#pragma once

#include "app/reader/nodes.h"

namespace understudy {

/// `statedHertz` > 0: the frame rate the file states. Adds to `figure.clips` and `figure.issues`.
void buildClips(const aiScene& scene, const NodeTable& table, double statedHertz, Figure& figure);

}  // namespace understudy
