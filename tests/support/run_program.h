// Runs a program and keeps what it printed.
#pragma once

#include <functional>
#include <string>
#include <vector>

namespace understudy {

struct ProgramRun {
  int exitCode = -1;    ///< −signal where a signal ended it
  std::string out, err;
};

struct ProgramSettings {
  std::string stdoutPath;              ///< send stdout here instead of keeping it
  std::size_t fileSizeLimit = 0;       ///< > 0: RLIMIT_FSIZE in bytes
  int interruptAfterMilliseconds = -1; ///< ≥ 0: SIGINT after so long
};

/// `words[0]` is the program. Stdin is empty.
[[nodiscard]] ProgramRun runProgram(const std::vector<std::string>& words, const ProgramSettings& settings = {});

}  // namespace understudy
