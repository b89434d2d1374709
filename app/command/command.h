// What a subcommand is, and what all of them share. To add one: write its file with a function that returns its Command,
// declare that function in commands.h, and list it in main.cpp.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "app/command/options.h"
#include "core/base/run_control.h"
#include "core/take/take.h"

namespace understudy::cli {

/// How the program ends.
enum ExitCode {
  exitDone = 0,
  exitInternal = 1,
  exitUsage = 2,
  exitInput = 3,
  exitMapping = 4,
  exitOutput = 5,
  exitStopped = 6,
};
[[nodiscard]] int exitCodeOf(Fault fault);

/// Handed to a command: how to print, and when to stop.
struct Context {
  std::string command;
  bool json = false;
  bool quiet = false;
  RunControl control;   ///< stops on SIGINT and SIGTERM, shows progress on a terminal
};

struct Command {
  std::string name;
  std::string summary;                   ///< one line
  std::string description;               ///< paragraphs for --help; no line longer than 90
  std::vector<ArgumentSpec> arguments;
  std::vector<OptionSpec> options;       ///< besides --json, --quiet and --help, which every command has
  int (*run)(const Context& context, const Options& options) = nullptr;  ///< returns an ExitCode
  std::vector<Command> actions;          ///< where there are some, the first word chooses one and the rest is its own; `run` is not called
};

/// Prints an error for people (stderr) and, with --json, for machines (stdout); returns the exit code of its fault.
int fail(const Context& context, const Issue& error);
/// Warnings and notes to stderr; nothing with --json (they are part of the answer there) or --quiet.
void tell(const Context& context, const Issues& issues);
/// The answer, to stdout. Returns exitDone, or exitOutput where stdout cannot be written to.
int print(const Context& context, std::string_view text);
/// A line of --json output: `body` is a JSON object's text.
int printJson(const Context& context, const std::string& body);

/// Error (usage) where `output` names the same file as one of `inputs`: an input is never written over.
[[nodiscard]] Status checkOutput(const std::string& output, const std::vector<std::string>& inputs);
/// Error (output) where `output` cannot become a file: its folder is missing or it is a folder itself.
[[nodiscard]] Status checkWritableTarget(const std::string& output);

/// --performer-unit and the like.
[[nodiscard]] std::vector<OptionSpec> readOverrideOptions(const std::string& prefix, const std::string& who);
/// The file reference those options describe. `prefix` "performer" reads --performer-unit and --performer-up.
[[nodiscard]] Result<FileReference> fileReference(const Options& options, const std::string& path, const std::string& prefix);
/// Metres in a unit: "m", "cm", "mm", "in", "ft", or a number of metres.
[[nodiscard]] Result<double> parseUnit(const std::string& text);
/// Index of a clip, from a number counted from 1 or an exact name (a name wins over a number); of an empty text defaultClip().
[[nodiscard]] Result<int> chooseClip(const Figure& figure, const std::string& text);

}  // namespace understudy::cli
