// Pictures of the worst findings, before and after, for the report of a finished take.
#pragma once

#include "app/command/command.h"
#include "core/job/finish.h"

namespace understudy::cli {

/// Adds two pictures to each of up to `most` findings (worthShowing): their worst frame as retargeted and with the repairs, from the side
/// on which the place is not hidden and what was moved moves across the picture. Adds the step "pictures" to the timing. Where nothing
/// can be drawn (no OpenGL, built without it) the report's issues say so.
void addPictures(FinishReport& report, const Finished& finished, const Sources& sources, int most, const RunControl& control);

}  // namespace understudy::cli
