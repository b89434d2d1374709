// The actions of 'repair', by file.
#pragma once

#include "app/command/command.h"

namespace understudy::cli {

[[nodiscard]] Command repairNewAction();
[[nodiscard]] Command repairListAction();
[[nodiscard]] Command repairAddAction();
[[nodiscard]] Command repairChangeAction();
[[nodiscard]] Command repairCopyAction();
[[nodiscard]] Command repairRemoveAction();
[[nodiscard]] Command repairEvaluateAction();
[[nodiscard]] Command repairExportAction();
[[nodiscard]] Command repairSchemaAction();

}  // namespace understudy::cli
