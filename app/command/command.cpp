#include "app/command/command.h"

#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "app/command/json_text.h"
#include "app/command/progress.h"

namespace understudy::cli {
namespace fs = std::filesystem;

int exitCodeOf(Fault fault) {
  switch (fault) {
    case Fault::none: return exitDone;
    case Fault::usage: return exitUsage;
    case Fault::input: return exitInput;
    case Fault::mapping: return exitMapping;
    case Fault::output: return exitOutput;
    case Fault::cancelled: return exitStopped;
    case Fault::internal: break;
  }
  return exitInternal;
}

int fail(const Context& context, const Issue& error) {
  clearProgress();
  std::string line = error.text();
  if (error.fault == Fault::usage && error.todo.empty()) {
    const std::string help = context.command.empty() ? "understudy-cli --help" : "understudy-cli " + context.command + " --help";
    line += ". See " + help;
  }
  std::fprintf(stderr, "understudy-cli: %s\n", line.c_str());
  const int code = exitCodeOf(error.fault == Fault::none ? Fault::internal : error.fault);
  if (context.json) {
    Json body = {{"ok", false}, {"exitCode", code}, {"error", toJson(error)}};
    print(context, textOf(body) + "\n");
  }
  return code;
}

void tell(const Context& context, const Issues& issues) {
  if (context.json || context.quiet) return;
  clearProgress();
  for (const Issue& issue : issues) {
    const char* kind = issue.severity == Severity::note ? "note" : issue.severity == Severity::warning ? "warning" : "error";
    std::fprintf(stderr, "%s: %s\n", kind, issue.text().c_str());
  }
}

int print(const Context&, std::string_view text) {
  clearProgress();
  errno = 0;
  const bool whole = std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0;
  if (whole) return exitDone;
  // A reader that has seen enough ('| head') needs no message.
  if (errno == EPIPE) return exitOutput;
  std::fprintf(stderr, "understudy-cli: The standard output cannot be written to: %s\n", std::strerror(errno));
  return exitOutput;
}

int printJson(const Context& context, const std::string& body) { return print(context, body + "\n"); }

Status checkOutput(const std::string& output, const std::vector<std::string>& inputs) {
  for (const std::string& input : inputs) {
    std::error_code ignored;
    const bool same = fs::equivalent(output, input, ignored) || fs::weakly_canonical(output, ignored) == fs::weakly_canonical(input, ignored);
    if (same)
      return makeError(Fault::usage, "The output would replace an input", output, "Choose another name: inputs are never written over");
  }
  return Done{};
}

Status checkWritableTarget(const std::string& output) {
  std::error_code error;
  if (fs::is_directory(output, error)) return makeError(Fault::output, "This is a folder", output, "Give a file's name");
  const fs::path folder = fs::path(output).parent_path();
  if (!folder.empty() && !fs::is_directory(folder, error))
    return makeError(Fault::output, "Its folder does not exist", output, "Make the folder " + folder.string() + " first");
  return Done{};
}

std::vector<OptionSpec> readOverrideOptions(const std::string& prefix, const std::string& who) {
  const std::string dash = prefix.empty() ? "" : prefix + "-";
  return {{dash + "unit", "UNIT", "unit of " + who + ", where the detected one is wrong: m, cm, mm, in, ft,\nor the length of one unit in metres"},
          {dash + "up", "AXIS", "axis of " + who + " that points up: +X -X +Y -Y +Z -Z"}};
}

Result<double> parseUnit(const std::string& text) {
  static const std::pair<const char*, double> known[] = {{"m", 1},       {"cm", 0.01},   {"mm", 0.001}, {"dm", 0.1},
                                                         {"in", 0.0254}, {"ft", 0.3048}, {"yd", 0.9144}};
  for (const auto& [name, metres] : known)
    if (text == name) return metres;
  double metres = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), metres);
  if (error != std::errc{} || stop != text.data() + text.size() || !(metres >= 1e-6) || !(metres <= 1e6))
    return makeError(Fault::usage, "'" + text + "' is no unit", {}, "Give m, cm, mm, in, ft, or the length of one unit in metres");
  return metres;
}

Result<FileReference> fileReference(const Options& options, const std::string& path, const std::string& prefix) {
  FileReference file;
  file.path = path;
  const std::string dash = prefix.empty() ? "" : prefix + "-";
  if (options.has(dash + "unit")) {
    const Result<double> unit = parseUnit(options.value(dash + "unit"));
    if (!unit) return unit.error();
    file.metresPerUnit = *unit;
  }
  if (options.has(dash + "up")) {
    std::string up = options.value(dash + "up");
    if (up.size() == 1) up = "+" + up;
    if (up.size() == 2) up[1] = static_cast<char>(std::toupper(static_cast<unsigned char>(up[1])));
    if (up.size() != 2 || (up[0] != '+' && up[0] != '-') || up[1] < 'X' || up[1] > 'Z')
      return makeError(Fault::usage, "'" + up + "' is no axis", {}, "Give one of +X -X +Y -Y +Z -Z");
    file.up = up;
  }
  return file;
}

Result<int> chooseClip(const Figure& figure, const std::string& text) {
  const int count = static_cast<int>(figure.clips.size());
  if (count == 0) return makeError(Fault::input, "The file holds no animation", figure.path, "Choose a file with a clip in it");
  if (text.empty()) return defaultClip(figure);
  int found = -1, named = 0;
  for (int i = 0; i < count; ++i)
    if (figure.clips[static_cast<std::size_t>(i)].name == text) found = found < 0 ? i : found, ++named;
  if (named > 1)
    return makeError(Fault::usage, std::to_string(named) + " clips are named '" + text + "'", figure.path, "Choose one by its number; 'look' lists them");
  if (named == 1) return found;
  int number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error == std::errc{} && stop == text.data() + text.size() && number >= 1 && number <= count) return number - 1;
  std::vector<std::string> names;
  for (const Clip& clip : figure.clips) names.push_back(clip.name);
  const std::string near = nearest(text, names);
  return makeError(Fault::usage, "There is no clip '" + text + "'", figure.path,
                   (near.empty() ? "" : "Did you mean '" + near + "'? ") + std::string("It has ") +
                       (count == 1 ? "one clip" : "clips 1 to " + std::to_string(count)) + "; 'look' lists them");
}

}  // namespace understudy::cli
