// Unit and up axis of files that state both: what the settings override, and whether the stated unit can be true.
#pragma once

#include "core/figure/figure.h"
#include "core/io/read.h"

namespace understudy {

/// Size of the body in the file's own unit (0 where there is none): the greatest extent of the skinned meshes in the
/// bind pose, else of the joints below the first joint from which at least two limbs branch off, in the rest pose.
/// Cameras, lights, targets and the distance the body has walked do not count.
[[nodiscard]] double bodySize(const Figure& figure);

/// Applies the unit and the up axis of `settings`, then asks whether the body's size can be true (0.25 m … 6 m). If it
/// cannot, `space` gets the unit that makes the body the likeliest size, unitStated becomes false and an issue says so.
/// Error: an up axis that is none of ±X ±Y ±Z.
[[nodiscard]] Status settleSpace(Figure& figure, const ReadSettings& settings);

}  // namespace understudy
