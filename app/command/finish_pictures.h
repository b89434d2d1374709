// Pictures of the worst findings, before and after, for the report of a finished take.
#pragma once

#include "app/command/command.h"
#include "core/job/finish.h"

namespace understudy::cli {

/// Adds pictures to the lines of the `most` severest findings, one a bone, side by side: as retargeted, and as finished, from
/// where the flaw is seen best. Where nothing can be drawn (no OpenGL, built without it) the report's issues say so.
void addPictures(FinishReport& report, const Finished& finished, const Sources& sources, int most, const RunControl& control);

}  // namespace understudy::cli
