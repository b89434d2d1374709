// Runs the reader process: a separate program, so that a third-party reader that crashes, hangs or eats memory costs
// one error message and nothing else.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/run_control.h"

namespace understudy {

struct ChildLimits {
  double seconds = 120;                    ///< wall clock; then the process is ended
  std::uint64_t outputBytes = 2ULL << 30;  ///< most that is read from it
  std::uint64_t memoryBytes = 8ULL << 30;  ///< address space the reader grants itself
};

/// The program named understudy-reader in the folder of the running program. Empty where that cannot be found out.
[[nodiscard]] std::string readerBesideThisProgram();

/// Starts `program` with `arguments` and returns everything it writes to its standard output. Its standard input and
/// error are empty. Errors (Fault::input, with the limits and the arguments' last entry as the file in the text): the
/// program is missing or cannot be started, stops by a signal or with a failure, takes too long, writes too much; or
/// the run is cancelled, which ends the process at once.
[[nodiscard]] Result<std::vector<std::uint8_t>> runReader(const std::string& program, const std::vector<std::string>& arguments,
                                                          const ChildLimits& limits = {}, const RunControl& control = {});

}  // namespace understudy
