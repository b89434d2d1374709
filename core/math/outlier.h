// How unlike its fellows a value is.
#pragma once

#include <span>
#include <vector>

namespace understudy {

/// Modified z-scores 0.6745 (x − median) / MAD, with MAD the median of |x − median|; signed, one a value. Scores past
/// ±3.5 mark outliers (Iglewicz and Hoaglin 1993, "How to Detect and Handle Outliers", ASQC Basic References 16).
/// Where more than half of the values agree the MAD is 0, and the mean absolute deviation stands in for it:
/// (x − median) / (1.253314 · mean |x − median|), √(π/2) being the ratio of the two spreads in a normal distribution.
/// All equal: all scores are 0. Values that are not finite are left out of the statistics; NaN scores 0, ±∞ scores ±∞.
[[nodiscard]] std::vector<double> modifiedZScores(std::span<const double> values);

}  // namespace understudy
