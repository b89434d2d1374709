// Progress and cancellation of a long operation.
#pragma once

#include <functional>
#include <stop_token>
#include <string_view>

#include "core/base/result.h"

namespace understudy {

/// Handed to every operation that may take a while. A default one never stops and reports to nobody.
struct RunControl {
  std::stop_token stop;
  /// Called with a fraction in [0, 1] and the step's name, from the thread the operation runs on.
  std::function<void(double fraction, std::string_view step)> progress;

  /// Threads an operation may use; 0: one a core. The result has the same bytes for any number.
  int threads = 0;
  [[nodiscard]] bool stopped() const { return stop.stop_requested(); }
  void report(double fraction, std::string_view step) const {
    if (progress) progress(fraction, step);
  }
  [[nodiscard]] static Issue cancelled() { return makeError(Fault::cancelled, "Stopped on request"); }
};

}  // namespace understudy
