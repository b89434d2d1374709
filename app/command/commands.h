// The subcommands, one file each.
#pragma once

#include "app/command/command.h"

namespace understudy::cli {

[[nodiscard]] Command lookCommand();
[[nodiscard]] Command mapCommand();
[[nodiscard]] Command retargetCommand();
[[nodiscard]] Command findCommand();
[[nodiscard]] Command findingsCommand();
[[nodiscard]] Command finishCommand();
[[nodiscard]] Command repairCommand();
[[nodiscard]] Command profileCommand();
[[nodiscard]] Command packCommand();
[[nodiscard]] Command batchCommand();
[[nodiscard]] Command sheetCommand();

}  // namespace understudy::cli
