// The tree in which a body is looked for, and the poses to look in. Internal to mapping.
#pragma once

#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/body_shape.h"

namespace understudy {

/// Bones and their name cues, without places: `at` is to be set.
[[nodiscard]] BodyTree treeOf(const Figure& figure, bool useNames);
/// Places of the joints, world metres; what is not finite is at the origin.
[[nodiscard]] std::vector<Vec3d> positions(const Figure& figure, const std::vector<Affined>& world);
/// World transforms of the bind pose, brought to where the scene has the skins; joints outside them go along with `rest`.
[[nodiscard]] std::vector<Affined> bindInScene(const Figure& figure, const std::vector<Affined>& rest);
/// Whether the first clip moves the skeleton.
[[nodiscard]] bool hasMotion(const Figure& figure);
/// World transforms at a fraction of the first clip, without sampling all of it.
[[nodiscard]] std::vector<Affined> clipPose(const Figure& figure, double fraction);

}  // namespace understudy
