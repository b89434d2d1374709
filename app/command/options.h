// A small table-driven option parser: the table that reads the options also writes the help.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.h"

namespace understudy::cli {

/// One long option. `value` is the placeholder of its argument ("FILE"); empty for a flag.
struct OptionSpec {
  std::string name;      ///< without the dashes
  std::string value;
  std::string help;      ///< may hold several lines
  bool required = false;
};

/// One argument without a name.
struct ArgumentSpec {
  std::string name;      ///< placeholder, "FILE"
  std::string help;
  bool required = true;
};

/// What was given.
class Options {
 public:
  [[nodiscard]] bool has(const std::string& name) const { return values_.contains(name); }
  /// Value of an option; "" where it was not given.
  [[nodiscard]] std::string value(const std::string& name) const;
  [[nodiscard]] const std::vector<std::string>& arguments() const { return arguments_; }
  /// The number an option was given; errors name the option. `fallback` where it was not given.
  [[nodiscard]] Result<double> number(const std::string& name, double fallback) const;
  [[nodiscard]] Result<int> integer(const std::string& name, int fallback) const;

 private:
  friend Result<Options> parseOptions(const std::vector<std::string>&, const std::vector<OptionSpec>&, const std::vector<ArgumentSpec>&);
  std::map<std::string, std::string> values_;
  std::vector<std::string> arguments_;
};

/// Reads "--name value", "--name=value", flags, and "--" before arguments that begin with a dash. Errors: unknown options
/// (with the nearest known one), missing or surplus values, options given twice, missing or surplus arguments.
[[nodiscard]] Result<Options> parseOptions(const std::vector<std::string>& words, const std::vector<OptionSpec>& options,
                                           const std::vector<ArgumentSpec>& arguments);

/// The candidate nearest to `word` by edit distance, "" where none is near.
[[nodiscard]] std::string nearest(std::string_view word, const std::vector<std::string>& candidates);

/// The table as help text, two columns.
[[nodiscard]] std::string helpTable(const std::vector<ArgumentSpec>& arguments, const std::vector<OptionSpec>& options);

}  // namespace understudy::cli
