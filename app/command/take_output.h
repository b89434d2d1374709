// An evaluated take as a file: written, read again, measured, told.
#pragma once

#include <optional>

#include "app/command/command.h"
#include "core/bake/bake.h"
#include "core/evaluate/evaluate.h"

namespace understudy::cli {

/// Errors where `out` cannot become a file of a format by its ending, would replace one of `inputs`, or has no folder.
[[nodiscard]] Status checkTakeOutput(const std::string& out, const std::vector<std::string>& inputs);

struct TakeOutput {
  std::optional<Fidelity> fidelity;  ///< none: not checked
  Issues notes;
  double writeSeconds = 0, checkSeconds = 0;
};
/// Bakes and writes to take.handOver's path; with `check` the file is read again and compared. `history` goes along where the format
/// has room for it (empty: what the take's repairs tell, see historyText).
[[nodiscard]] Result<TakeOutput> writeTake(const Take& take, const Sources& sources, const Evaluated& evaluated, bool check, const RunControl& control,
                                           const std::string& history = {});

/// Lines about what was written, for people.
[[nodiscard]] std::string describeOutput(const Take& take, const Evaluated& evaluated, const TakeOutput& output);

}  // namespace understudy::cli
