// understudy-cli batch: finishes many clips on many characters, one program run a pair, so that a bad file costs one pair.
#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <map>
#include <set>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/store/profile_file.h"
#include "core/store/reel_file.h"

extern char** environ;

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;

/// One performer on one character.
struct Pair {
  std::string performer, character, map;
  std::string name;    ///< of its folder
  int clip = 0;        ///< of the performer's file, counted from 0
  std::string clipName;  ///< part of the folder's name where the file holds several clips
};

std::string endingOf(const fs::path& path) {
  std::string ending = path.extension().string();
  for (char& c : ending) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return ending;
}
bool isFigure(const fs::path& path, bool performer) {
  const std::string ending = endingOf(path);
  for (const char* known : {".glb", ".gltf", ".fbx", ".dae", ".vrm"})
    if (ending == known) return true;
  return performer && (ending == ".bvh" || ending == ".vrma");
}

/// Lines of a list without blanks and comments, split at tabs; paths count from the list's folder.
Result<std::vector<std::vector<std::string>>> linesOf(const std::string& path) {
  const auto bytes = readBytes(path);
  if (!bytes) return bytes.error();
  std::vector<std::vector<std::string>> lines;
  const std::string text(bytes->begin(), bytes->end());
  const fs::path folder = fs::path(path).parent_path();
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    std::string line = text.substr(at, end - at);
    at = end + 1;
    while (!line.empty() && (line.back() == '\r' || line.back() == ' ')) line.pop_back();
    if (line.empty() || line.front() == '#') continue;
    std::vector<std::string> parts;
    for (std::size_t begin = 0; begin <= line.size();) {
      const std::size_t tab = std::min(line.find('\t', begin), line.size());
      if (tab > begin) parts.push_back((folder / line.substr(begin, tab - begin)).lexically_normal().string());
      begin = tab + 1;
    }
    lines.push_back(std::move(parts));
  }
  return lines;
}

/// A folder's files in order of their names, one file, or those a list names.
Result<std::vector<std::string>> filesOf(const std::string& path, bool performer) {
  std::error_code error;
  std::vector<std::string> files;
  if (fs::is_directory(path, error)) {
    for (fs::recursive_directory_iterator at(path, fs::directory_options::skip_permission_denied, error), end; !error && at != end; at.increment(error))
      if (at->is_regular_file(error) && isFigure(at->path(), performer)) files.push_back(at->path().string());
    std::sort(files.begin(), files.end());
    if (files.empty())
      return makeError(Fault::input, performer ? "The folder holds no motion files" : "The folder holds no character files", path,
                       performer ? "BVH, glTF, FBX and Collada are read" : "glTF, FBX and Collada are read");
    return files;
  }
  if (!fs::exists(path, error)) return makeError(Fault::input, "There is no such file or folder", path);
  if (isFigure(path, true)) return std::vector<std::string>{path};
  auto lines = linesOf(path);
  if (!lines) return lines.error();
  for (const auto& line : *lines) {
    if (line.size() != 1) return makeError(Fault::input, "A list has one path a line", path, "Pairs are given with --pairs");
    files.push_back(line.front());
  }
  if (files.empty()) return makeError(Fault::input, "The list is empty", path);
  return files;
}

/// The clips of a performer's file that move, or the one that is asked for; a file that cannot be read has one, and fails when it is finished.
std::vector<std::pair<int, std::string>> clipsOf(const std::string& path, const std::string& wanted) {
  const std::vector<std::pair<int, std::string>> one{{0, {}}};
  if (endingOf(path) == ".bvh") return one;
  const auto figure = readFigure(path);
  if (!figure || figure->clips.empty()) return one;
  if (!wanted.empty()) {
    const Result<int> clip = chooseClip(*figure, wanted);
    return {{clip ? *clip : -1, {}}};
  }
  std::vector<std::pair<int, std::string>> out;
  for (std::size_t i = 0; i < figure->clips.size(); ++i)
    if (!figure->clips[i].still) out.emplace_back(static_cast<int>(i), figure->clips[i].name.empty() ? std::to_string(i + 1) : figure->clips[i].name);
  if (out.empty()) return one;
  if (out.size() == 1) out.front().second.clear();
  return out;
}

/// One pair for each clip of its performer's file.
std::vector<Pair> withClips(std::vector<Pair> pairs, const std::string& wanted) {
  std::map<std::string, std::vector<std::pair<int, std::string>>> known;
  std::vector<Pair> out;
  for (const Pair& pair : pairs) {
    if (!known.count(pair.performer)) known[pair.performer] = clipsOf(pair.performer, wanted);
    for (const auto& [clip, name] : known[pair.performer]) {
      out.push_back(pair);
      out.back().clip = clip;
      out.back().clipName = name;
    }
  }
  return out;
}

Result<std::vector<Pair>> pairsOf(const Options& options) {
  std::vector<Pair> pairs;
  if (options.has("pairs")) {
    if (options.has("performers") || options.has("characters")) return makeError(Fault::usage, "--pairs names performers and characters itself");
    const std::string path = options.value("pairs");
    const auto lines = linesOf(path);
    if (!lines) return lines.error();
    for (const auto& line : *lines) {
      if (line.size() < 2 || line.size() > 3)
        return makeError(Fault::input, "A line has a performer, a character and perhaps a bone map, with tabs between them", path, "Correct the line '" + line.front() + "'");
      pairs.push_back({line[0], line[1], line.size() > 2 ? line[2] : std::string(), {}, 0, {}});
    }
    if (pairs.empty()) return makeError(Fault::input, "The list is empty", path);
  } else {
    for (const char* name : {"performers", "characters"})
      if (!options.has(name)) return makeError(Fault::usage, std::string("--") + name + " PATH is missing, or --pairs FILE");
    const auto performers = filesOf(options.value("performers"), true);
    if (!performers) return performers.error();
    const auto characters = filesOf(options.value("characters"), false);
    if (!characters) return characters.error();
    for (const std::string& performer : *performers)
      for (const std::string& character : *characters) pairs.push_back({performer, character, {}, {}, 0, {}});
  }
  pairs = withClips(std::move(pairs), options.value("clip"));
  // Names do not depend on the shard: every shard sees the whole list.
  std::set<std::string> taken;
  for (Pair& pair : pairs) {
    std::string name = fs::path(pair.performer).stem().string() + (pair.clipName.empty() ? "" : "-" + pair.clipName) + "--" + fs::path(pair.character).stem().string();
    for (char& c : name)
      if (c == '/' || c == '\\' || static_cast<unsigned char>(c) < 0x20) c = '_';
    pair.name = name;
    for (int n = 2; !taken.insert(pair.name).second; ++n) pair.name = name + "-" + std::to_string(n);
  }
  return pairs;
}

struct Shard {
  int index = 1, count = 1;
};
Result<Shard> parseShard(const std::string& text) {
  Shard shard;
  if (text.empty()) return shard;
  const char* end = text.data() + text.size();
  const auto [slash, error] = std::from_chars(text.data(), end, shard.index);
  if (error == std::errc{} && slash != end && *slash == '/') {
    const auto [stop, second] = std::from_chars(slash + 1, end, shard.count);
    if (second == std::errc{} && stop == end && shard.count >= 1 && shard.index >= 1 && shard.index <= shard.count) return shard;
  }
  return makeError(Fault::usage, "--shard needs I/N, such as 1/4, not '" + text + "'", {}, "I counts from 1 to N");
}

struct Ended {
  int code = exitInternal;
  std::string words;  ///< what it wrote to its standard error
};

/// Runs this program again. On a stop it is asked to stop too.
Ended runSelf(const std::vector<std::string>& words, const RunControl& control) {
  Ended ended;
  int ends[2];
  if (pipe(ends) != 0) {
    ended.words = "No pipe can be made";
    return ended;
  }
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_adddup2(&actions, ends[1], 2);
  posix_spawn_file_actions_addclose(&actions, ends[0]);
  posix_spawn_file_actions_addclose(&actions, ends[1]);
  std::error_code error;
  std::string program = fs::read_symlink("/proc/self/exe", error).string();
  std::vector<std::string> copy = words;
  copy.insert(copy.begin(), program);
  std::vector<char*> arguments;
  for (std::string& word : copy) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  pid_t child = -1;
  const int started = posix_spawn(&child, program.c_str(), &actions, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  close(ends[1]);
  if (started != 0) {
    close(ends[0]);
    ended.words = "The program cannot be started: " + std::string(std::strerror(started));
    return ended;
  }
  bool told = false;
  char buffer[4096];
  for (;;) {
    pollfd waiting{ends[0], POLLIN, 0};
    const int ready = poll(&waiting, 1, 100);
    if (control.stopped() && !told) {
      kill(child, SIGINT);
      told = true;
    }
    if (ready <= 0) continue;
    const ssize_t size = read(ends[0], buffer, sizeof buffer);
    if (size < 0 && errno == EINTR) continue;
    if (size <= 0) break;
    if (ended.words.size() < 1 << 20) ended.words.append(buffer, static_cast<std::size_t>(size));
  }
  close(ends[0]);
  int status = 0;
  while (waitpid(child, &status, 0) < 0 && errno == EINTR) {
  }
  if (WIFEXITED(status)) {
    ended.code = WEXITSTATUS(status);
  } else {
    ended.words = "The program ended by signal " + std::to_string(WIFSIGNALED(status) ? WTERMSIG(status) : 0);
  }
  return ended;
}

/// What the result follows from; equal keys need no second run.
std::string keyOf(const Pair& pair, const Options& options) {
  std::string text = UNDERSTUDY_VERSION;
  for (const std::string& file : {pair.performer, pair.character, pair.map, options.value("prop")}) text += "|" + (file.empty() ? std::string() : file + "=" + contentHash(file));
  const std::string profile = options.has("profile") ? options.value("profile") : profilePathOf(pair.character);
  text += "|" + (profile == "off" ? profile : contentHash(profile));
  text += "|clip " + std::to_string(pair.clip);
  for (const char* name : {"lead", "prop-scale", "fps", "no-pictures"}) text += "|" + std::string(options.has(name) ? name : "") + options.value(name);
  return text;
}

constexpr const char* results[] = {"result.glb", "result.reel", "report.json", "report.html"};

Json readJson(const fs::path& path) {
  std::error_code error;
  if (!fs::is_regular_file(path, error)) return {};
  const auto bytes = readBytes(path.string());
  return bytes ? Json::parse(bytes->begin(), bytes->end(), nullptr, false) : Json();
}

/// The state a finished pair left, where it is still true.
Json finishedState(const fs::path& folder, const std::string& key) {
  Json state = readJson(folder / "job.json");
  if (!state.is_object() || !state.contains("key") || state["key"] != key || !state.contains("summary") || !state["summary"].is_object()) return {};
  std::error_code error;
  for (const char* file : results)
    if (!fs::is_regular_file(folder / file, error)) return {};
  return state;
}

Json summaryOf(const fs::path& folder) {
  const Json report = readJson(folder / "report.json");
  Json summary = {{"findings", 0}, {"repaired", 0}, {"explained", 0}, {"unexplained", 0}, {"frames", 0}};
  if (!report.is_object()) return summary;
  for (const char* name : {"explained", "unexplained", "frames", "coverage"})
    if (report.contains(name)) summary[name] = report[name];
  int repaired = 0, findings = 0;
  if (report.contains("findings"))
    for (const Json& finding : report["findings"]) ++findings, repaired += finding.value("state", "") == "repaired";
  summary["findings"] = findings;
  summary["repaired"] = repaired;
  return summary;
}

std::string countsText(const Json& summary) {
  const int remaining = summary.value("explained", 0) + summary.value("unexplained", 0);
  return std::to_string(summary.value("findings", 0)) + " findings, " + std::to_string(summary.value("repaired", 0)) + " repaired, " + std::to_string(remaining) + " remain" +
         (remaining ? " (" + std::to_string(summary.value("explained", 0)) + " with a cause)" : "");
}

int run(const Context& context, const Options& options) {
  const auto shard = parseShard(options.value("shard"));
  if (!shard) return fail(context, shard.error());
  const auto pairs = pairsOf(options);
  if (!pairs) return fail(context, pairs.error());
  const fs::path out = options.value("out");
  std::error_code error;
  if (!options.has("list")) {
    fs::create_directories(out, error);
    if (error || !fs::is_directory(out, error)) return fail(context, makeError(Fault::output, "The folder cannot be made", out.string(), "Choose another one"));
  }
  Json jobs = Json::array();
  int done = 0, kept = 0, failed = 0, code = exitDone;
  for (std::size_t i = 0; i < pairs->size(); ++i) {
    if (static_cast<int>(i % static_cast<std::size_t>(shard->count)) != shard->index - 1) continue;
    const Pair& pair = (*pairs)[i];
    const fs::path folder = out / pair.name;
    Json job = {{"name", pair.name}, {"performer", pair.performer}, {"character", pair.character}};
    const auto told = [&](const std::string& word, const std::string& more) {
      job["state"] = word;
      jobs.push_back(job);
      if (!context.json) print(context, word + std::string(word.size() < 7 ? 7 - word.size() : 1, ' ') + pair.name + (more.empty() ? "" : ": " + more) + "\n");
    };
    if (context.control.stopped()) return fail(context, RunControl::cancelled());
    const std::string key = keyOf(pair, options);
    if (Json state = finishedState(folder, key); state.is_object() && !options.has("again")) {
      ++kept;
      job["folder"] = folder.string();
      job.update(state["summary"]);
      told("kept", countsText(state["summary"]));
      continue;
    }
    if (options.has("list")) {
      told("to do", "");
      continue;
    }
    context.control.report(static_cast<double>(i) / static_cast<double>(pairs->size()), pair.name);
    const auto begin = std::chrono::steady_clock::now();
    fs::remove(folder / "job.json", error);
    std::vector<std::string> words{"finish", "--quiet", "--performer", pair.performer, "--character", pair.character, "--out", folder.string()};
    // A clip that the file does not have is told by 'finish'.
    if (pair.clip != 0) words.insert(words.end(), {"--clip", pair.clip < 0 ? options.value("clip") : std::to_string(pair.clip + 1)});
    if (!pair.map.empty()) words.insert(words.end(), {"--map", pair.map});
    for (const char* name : {"prop", "prop-scale", "lead", "fps", "profile", "threads", "cache"})
      if (options.has(name)) words.insert(words.end(), {std::string("--") + name, options.value(name)});
    if (options.has("no-pictures")) words.emplace_back("--no-pictures");
    const Ended ended = runSelf(words, context.control);
    if (context.control.stopped()) return fail(context, RunControl::cancelled());
    if (ended.code != exitDone) {
      ++failed;
      if (code == exitDone) code = ended.code;
      std::string why = ended.words.substr(0, ended.words.find('\n'));
      if (why.starts_with("understudy-cli: ")) why = why.substr(16);
      if (why.empty()) why = "it ended with code " + std::to_string(ended.code);
      job["exitCode"] = ended.code;
      job["error"] = why;
      fs::remove(folder, error);  // where nothing was written into it
      told("failed", why);
      continue;
    }
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    const Json summary = summaryOf(folder);
    const Json state = {{"key", key}, {"performer", pair.performer}, {"character", pair.character}, {"seconds", seconds}, {"summary", summary}};
    if (const Status s = writeBytes((folder / "job.json").string(), textOf(state) + "\n"); !s) return fail(context, s.error());
    ++done;
    job["folder"] = folder.string();
    job["seconds"] = seconds;
    job.update(summary);
    char time[32];
    std::snprintf(time, sizeof time, "; %.2f s", seconds);
    told("done", countsText(summary) + time);
  }
  if (context.json) {
    const int printed = printJson(context, textOf(Json{{"ok", failed == 0}, {"shard", std::to_string(shard->index) + "/" + std::to_string(shard->count)}, {"pairs", pairs->size()},
                                                       {"done", done}, {"kept", kept}, {"failed", failed}, {"jobs", jobs}}));
    return printed == exitDone ? code : printed;
  }
  if (options.has("list")) return code;
  const int printed = print(context, std::to_string(done) + " done, " + std::to_string(kept) + " kept, " + std::to_string(failed) + " failed, of " + std::to_string(pairs->size()) +
                                         (pairs->size() == 1 ? " pair\n" : " pairs\n"));
  return printed == exitDone ? code : printed;
}

}  // namespace

Command batchCommand() {
  Command command;
  command.name = "batch";
  command.summary = "finishes many clips on many characters";
  command.description =
      "Runs 'finish' for every performer on every character, or for the pairs of a list, each into a folder\n"
      "DIR/PERFORMER--CHARACTER. All clips of a performer's file are finished, each as a pair of its own in\n"
      "DIR/PERFORMER-CLIP--CHARACTER where there are several. A pair that is finished already from the same files and options is kept as it is, so\n"
      "that a run that was stopped is taken up where it ended. A pair that fails does not stop the others; the exit\n"
      "code is then that of the first failure. Shards divide the list without knowing of each other: start one a\n"
      "machine or core with --shard 1/4, 2/4 and so on, all with the same DIR.\n"
      "A list has one path a line, from its own folder on; # begins a comment.";
  command.options = {{"performers", "PATH", "motion files: a folder (with those below it), one file, or a list"},
                     {"characters", "PATH", "characters: the same"},
                     {"pairs", "FILE", "a list of performer, character and perhaps bone map, with tabs between them"},
                     {"out", "DIR", "folder for the results; made where it is missing", true},
                     {"shard", "I/N", "only the I-th of N parts of the list"},
                     {"again", "", "finish what is finished too"},
                     {"list", "", "tell what is to do and do nothing"},
                     {"prop", "FILE", "what the performers hold, for all pairs"},
                     {"prop-scale", "X", "multiplies the prop's own size"},
                     {"lead", "left|right", "the hand that leads it"},
                     {"clip", "N|NAME", "only this clip of each performer's file; default: all"},
                     {"fps", "R", "frames per second of the outputs"},
                     {"profile", "FILE|off", "one profile for all characters, or none; default: those that lie beside them"},
                     {"no-pictures", "", "leave pictures out of the reports"}};
  command.run = run;
  return command;
}

}  // namespace understudy::cli
