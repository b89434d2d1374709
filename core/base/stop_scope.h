// Lets a long piece of work deep inside an operation end early, where no RunControl is handed down to it.
#pragma once

#include <stop_token>
#include <utility>

namespace understudy {

/// While it lives, stopAsked() of this thread answers for its token. Whoever makes one throws the unfinished result away.
class StopScope {
 public:
  explicit StopScope(std::stop_token token) : before_(std::exchange(current(), std::move(token))) {}
  ~StopScope() { current() = std::move(before_); }
  StopScope(const StopScope&) = delete;
  StopScope& operator=(const StopScope&) = delete;
  [[nodiscard]] static std::stop_token& current() {
    static thread_local std::stop_token token;
    return token;
  }

 private:
  std::stop_token before_;
};

/// What is still to be done need not be done any more: its result will be thrown away.
[[nodiscard]] inline bool stopAsked() { return StopScope::current().stop_requested(); }

}  // namespace understudy
