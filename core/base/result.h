// Results and issues: how every operation says what went wrong, where, and what to do about it.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace understudy {

enum class Severity { note, warning, error };

/// What kind of failure an error is; the command line turns it into its exit code.
enum class Fault {
  none,       ///< not an error
  usage,      ///< the request itself makes no sense (options, ranges)
  input,      ///< a file that cannot be read or does not hold what is needed
  mapping,    ///< roles that are needed are missing
  output,     ///< a file that cannot be written
  cancelled,  ///< stopped on request
  internal,   ///< a defect of ours
};

/// One thing worth telling: what happened, where (file, line, joint, frame), and what to do.
struct Issue {
  Severity severity = Severity::error;
  Fault fault = Fault::none;
  std::string what;
  std::string where;
  std::string todo;

  /// "where: what. todo" in one line, leaving out what is empty.
  [[nodiscard]] std::string text() const;

  friend bool operator==(const Issue&, const Issue&) = default;
};

using Issues = std::vector<Issue>;

[[nodiscard]] Issue makeError(Fault fault, std::string what, std::string where = {}, std::string todo = {});
[[nodiscard]] Issue makeWarning(std::string what, std::string where = {}, std::string todo = {});
[[nodiscard]] Issue makeNote(std::string what, std::string where = {}, std::string todo = {});

/// Either a value or the error that prevented it.
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}
  Result(Issue error) : state_(std::in_place_index<1>, std::move(error)) {}

  [[nodiscard]] bool ok() const { return state_.index() == 0; }
  explicit operator bool() const { return ok(); }

  [[nodiscard]] T& value() & { return std::get<0>(state_); }
  [[nodiscard]] const T& value() const& { return std::get<0>(state_); }
  [[nodiscard]] T&& value() && { return std::get<0>(std::move(state_)); }
  [[nodiscard]] const Issue& error() const { return std::get<1>(state_); }

  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }
  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }

 private:
  std::variant<T, Issue> state_;
};

/// Success without a value, or an error.
struct Done {};
using Status = Result<Done>;

}  // namespace understudy
