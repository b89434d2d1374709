// Lettering made of strokes, for marks on the stage and headings on contact sheets.
#pragma once

#include <string_view>
#include <vector>

#include "core/math/vec.h"
#include "render/offscreen.h"

namespace understudy {

/// A run of connected points, x to the right and y up, in units of the capital height; the baseline is y = 0.
using StrokeLine = std::vector<Vec2f>;

/// The strokes of a line of text starting at x = 0. Characters it does not know (all but printable ASCII, – · °) show
/// as a box. UTF-8.
[[nodiscard]] std::vector<StrokeLine> strokeText(std::string_view text);
/// Advance of the text in units of the capital height.
[[nodiscard]] float strokeTextWidth(std::string_view text);

/// Writes text into a picture: baseline starting at (x, y) pixels, capitals `size` pixels high, strokes `weight` wide.
void writeText(Picture& picture, float x, float y, float size, float weight, const Colour& colour, std::string_view text);

}  // namespace understudy
