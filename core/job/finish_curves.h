// The figures and curves of a finish run's report: what the eye should see of the repairs without playing the clip.
#pragma once

#include "core/job/finish.h"

namespace understudy {

/// Indices of the findings worth a closer look, at most `most`: what remains, the gravest first, then the gravest repaired one of each
/// kind, then others by severity.
[[nodiscard]] std::vector<std::size_t> worthShowing(const FinishReport& report, int most);

/// Adds to a report of `finished`: mean skate of the feet and how far the repairs move the bones, as figures; a curve of the latter;
/// and for up to `most` findings (worthShowing) a curve of what it is about around its frames: performer, before, after.
void addCurves(FinishReport& report, const Finished& finished, const Sources& sources, int most = 12);

}  // namespace understudy
