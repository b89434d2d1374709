// Progress on a terminal, and stopping on Ctrl-C.
#pragma once

#include <functional>
#include <stop_token>
#include <string_view>

namespace understudy::cli {

/// A progress function that rewrites one line of stderr; null where stderr is no terminal or `quiet` is set.
[[nodiscard]] std::function<void(double, std::string_view)> terminalProgress(bool quiet);
/// Removes the progress line, before anything else is printed.
void clearProgress();

/// While it lives, the first SIGINT or SIGTERM requests a stop and the second one ends the program.
class StopOnSignals {
 public:
  StopOnSignals();
  ~StopOnSignals();
  StopOnSignals(const StopOnSignals&) = delete;
  StopOnSignals& operator=(const StopOnSignals&) = delete;
  [[nodiscard]] std::stop_token token() const;

 private:
  struct State;
  State* state_;
};

}  // namespace understudy::cli
