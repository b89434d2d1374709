// The compact binary form in which the reader process hands a figure to its parent. It lives only on a pipe, is never
// stored, and both ends must be of one version.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "core/figure/figure.h"

namespace understudy {

/// A figure as bytes.
[[nodiscard]] std::vector<std::uint8_t> packFigure(const Figure& figure);

/// An error as bytes: what the reader process sends instead of a figure.
[[nodiscard]] std::vector<std::uint8_t> packIssue(const Issue& issue);

/// The figure, or the error that was packed. Every count is checked against the bytes that are left before anything is
/// allocated, and the figure passes checkFigure. Errors (Fault::internal): not such a stream, another version, cut
/// short, inconsistent.
[[nodiscard]] Result<Figure> unpackFigure(std::span<const std::uint8_t> bytes);

/// Whether a figure is fit for use: parents before children, every index in range, lists as long as they must be,
/// ascending key times, finite numbers. The error's `where` names the joint, mesh, skin or clip.
[[nodiscard]] Status checkFigure(const Figure& figure);

}  // namespace understudy
