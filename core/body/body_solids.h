// Builds the solids of a body model.
#pragma once

#include "core/body/body_model.h"

namespace understudy {

/// A part whose points go along with several joints; empty where the part has no closed skin. `cell` in metres. Raises `error` to the
/// distance (metres) by which 95 of 100 values of its grid next to the surface are off at most.
[[nodiscard]] BodySolid bendingSolid(const BodySurface& surface, BodyPart part, double cell, double& error);

/// The same without a guide, with the skin between the part and those it goes on into (`seam`: of that alone).
[[nodiscard]] BodySolid joinedSolid(const BodySurface& surface, BodyPart part, std::span<const BodyPart> with, bool seam, double cell, int threads = 0);

}  // namespace understudy
