// understudy-cli: retargets clips from the command line. Each subcommand has its own file.
#include <algorithm>
#include <csignal>
#include <cstdio>
#include <exception>
#include <new>

#include "app/command/commands.h"
#include "app/command/progress.h"
#include "core/base/parallel.h"
#include "core/store/cache_folder.h"

namespace understudy::cli {
namespace {

constexpr const char* exitCodes =
    "Exit codes:\n"
    "  0  done\n"
    "  1  a defect of the program\n"
    "  2  the request makes no sense: options, ranges, clip names\n"
    "  3  an input file is missing, unreadable or lacks what is needed\n"
    "  4  the bone map is incomplete: required roles are missing\n"
    "  5  the output cannot be written\n"
    "  6  stopped on request (Ctrl-C)\n";

std::vector<Command> allCommands() {
  return {lookCommand(),   mapCommand(),    retargetCommand(), findCommand(), finishCommand(),
          repairCommand(), profileCommand(), sheetCommand(),  packCommand(), batchCommand(),  findingsCommand()};
}

std::vector<OptionSpec> commonOptions() {
  return {{"json", "", "print the answer as JSON, for machines"},
          {"quiet", "", "no progress, notes or warnings"},
          {"threads", "N", "threads to work with; default: one a core. The results are the same"},
          {"cache", "DIR|off", "folder for what is worked out of a character and kept for the next run; default:\n$UNDERSTUDY_CACHE, or understudy in the user's cache folder"},
          {"help", "", "this text"}};
}

std::string listOf(const std::vector<Command>& commands) {
  std::string text;
  std::size_t width = 0;
  for (const Command& command : commands) width = std::max(width, command.name.size());
  for (const Command& command : commands) text += "  " + command.name + std::string(width + 2 - command.name.size(), ' ') + command.summary + "\n";
  return text;
}

std::string globalHelp(const std::vector<Command>& commands) {
  std::string text =
      "understudy-cli: carries motion capture over to your own rigged character.\n\n"
      "Usage: understudy-cli COMMAND [OPTIONS]\n\n"
      "Commands:\n" +
      listOf(commands) +
      "\nunderstudy-cli COMMAND --help tells all about a command; --version tells which program this is.\n"
      "Every command takes --json (the answer as JSON on the standard output) and --quiet.\n\n";
  return text + exitCodes;
}

/// `name` is what was typed: "repair", "repair add".
std::string commandHelp(const std::string& name, const Command& command, const std::vector<OptionSpec>& options) {
  std::string text = "understudy-cli " + name + ": " + command.summary + "\n\nUsage: understudy-cli " + name;
  if (!command.actions.empty()) {
    text += " ACTION [OPTIONS]\n\n" + command.description + "\n\nActions:\n" + listOf(command.actions) + "\nunderstudy-cli " + name +
            " ACTION --help tells all about an action.\n\nOptions:\n" + helpTable({}, options) + "\n";
    return text + exitCodes;
  }
  for (const ArgumentSpec& argument : command.arguments) text += argument.required ? " " + argument.name : " [" + argument.name + "]";
  for (const OptionSpec& option : command.options)
    if (option.required) text += " --" + option.name + " " + option.value;
  text += " [OPTIONS]\n\n" + command.description + "\n\nOptions:\n" + helpTable(command.arguments, options) + "\n";
  return text + exitCodes;
}

const Command* commandNamed(const std::vector<Command>& commands, const std::string& name) {
  for (const Command& candidate : commands)
    if (candidate.name == name) return &candidate;
  return nullptr;
}

int failUnknown(const Context& context, const std::string& what, const std::string& name, const std::vector<Command>& commands, const std::string& help) {
  std::vector<std::string> names;
  for (const Command& candidate : commands) names.push_back(candidate.name);
  const std::string near = nearest(name, names);
  return fail(context, makeError(Fault::usage, "There is no " + what + " '" + name + "'", {}, near.empty() ? help : "Did you mean '" + near + "'?"));
}

int runCommand(const std::vector<std::string>& words) {
  const std::vector<Command> commands = allCommands();
  Context context;
  if (words.empty()) {
    std::fputs(globalHelp(commands).c_str(), stderr);
    return exitUsage;
  }
  std::string name = words.front();
  std::vector<std::string> rest(words.begin() + 1, words.end());
  if (name == "--version") return print(context, "understudy-cli " UNDERSTUDY_VERSION "\n");
  if (name == "--help" || name == "-h" || (name == "help" && rest.empty())) return print(context, globalHelp(commands));
  if (name == "help") {
    name = rest.front();
    rest.erase(rest.begin());
    rest.emplace_back("--help");
  }
  for (const std::string& word : rest) context.json = context.json || word == "--json";
  const Command* command = commandNamed(commands, name);
  if (!command) return failUnknown(context, "command", name, commands, "understudy-cli --help lists the commands");
  context.command = name;
  if (!command->actions.empty() && !rest.empty() && !rest.front().starts_with('-')) {
    const Command* action = commandNamed(command->actions, rest.front());
    if (!action) return failUnknown(context, "action", rest.front(), command->actions, "understudy-cli " + name + " --help lists the actions");
    context.command = name + " " + action->name;
    command = action;
    rest.erase(rest.begin());
  }
  std::vector<OptionSpec> options = command->options;
  for (OptionSpec& option : commonOptions()) options.push_back(std::move(option));
  const Result<Options> parsed = parseOptions(rest, options, command->arguments);
  if (!parsed) return fail(context, parsed.error());
  if (parsed->has("help")) return print(context, commandHelp(context.command, *command, options));
  context.json = parsed->has("json");
  context.quiet = parsed->has("quiet");
  if (!command->actions.empty()) {
    std::string names;
    for (const Command& action : command->actions) names += (names.empty() ? "" : ", ") + action.name;
    return fail(context, makeError(Fault::usage, "The action is missing: " + names));
  }
  const Result<int> threads = parsed->integer("threads", 0);
  if (!threads) return fail(context, threads.error());
  if (*threads < 0 || *threads > 1024 || (parsed->has("threads") && *threads == 0)) return fail(context, makeError(Fault::usage, "--threads must lie between 1 and 1024"));
  context.control.threads = *threads;
  setDefaultThreads(*threads);
  const std::string cache = parsed->value("cache");
  useCacheFolder(parsed->has("cache") ? (cache == "off" ? std::string() : cache) : userCacheFolder());
  const StopOnSignals signals;
  context.control.stop = signals.token();
  context.control.progress = terminalProgress(context.quiet);
  try {
    return command->run(context, *parsed);
  } catch (const std::bad_alloc&) {
    return fail(context, makeError(Fault::input, "There is not enough memory for this file", {}, "Close other programs, or take a shorter clip"));
  } catch (const std::exception& defect) {
    return fail(context, makeError(Fault::internal, std::string("A defect of the program: ") + defect.what(), {}, "Please report it"));
  }
}

}  // namespace
}  // namespace understudy::cli

int main(int argc, char** argv) {
  // A closed pipe or a file size limit is an error to report, not a reason to die.
  std::signal(SIGPIPE, SIG_IGN);
#ifdef SIGXFSZ
  std::signal(SIGXFSZ, SIG_IGN);
#endif
  return understudy::cli::runCommand(std::vector<std::string>(argv + 1, argv + argc));
}
