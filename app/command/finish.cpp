// understudy-cli find, finish: the flaws of a retargeted clip, and the whole way to a finished one.
#include <chrono>
#include <cstdio>
#include <filesystem>

#include "app/command/commands.h"
#include "app/command/finish_pictures.h"
#include "app/command/json_text.h"
#include "app/command/take_output.h"
#include "app/command/take_request.h"
#include "core/evaluate/props.h"
#include "core/inspect/history.h"
#include "core/io/write.h"
#include "core/job/finish.h"
#include "core/job/finish_curves.h"
#include "core/job/offers.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

double secondsSince(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

struct Prepared {
  Take take;
  Sources sources;
  FinishSettings settings;
  Issues issues;
  double readSeconds = 0;
  EvaluationCache cache;
};

std::vector<OptionSpec> propOptions() {
  return {{"prop", "FILE", "what the performer holds: glTF 2.0, FBX, Collada or OBJ"},
          {"prop-scale", "X", "multiplies the prop's own size; default 1"},
          {"lead", "left|right", "the hand that leads it; default: by the performance"}};
}

Result<Prepared> prepare(const Context& context, const Options& options) {
  Prepared out;
  Result<Take> take = takeRequest(options);
  if (!take) return take.error();
  out.take = std::move(*take);
  if (options.has("lead")) {
    const std::string lead = options.value("lead");
    if (lead != "left" && lead != "right") return makeError(Fault::usage, "--lead must be left or right, not '" + lead + "'");
    out.settings.inspect.leadLeft = lead == "left";
  }
  if (options.has("prop")) {
    PropItem prop;
    prop.id = 1;
    prop.path = options.value("prop");
    prop.name = fs::path(prop.path).stem().string();
    std::error_code error;
    if (!fs::is_regular_file(prop.path, error)) return makeError(Fault::input, "There is no such file", prop.path, "Choose the prop's file");
    if (options.has("prop-scale")) {
      const auto scale = options.number("prop-scale", 1);
      if (!scale) return scale.error();
      if (!(*scale >= 1e-6 && *scale <= 1e6)) return makeError(Fault::usage, "--prop-scale must be a positive number, not '" + options.value("prop-scale") + "'");
      prop.scale = *scale;
    }
    out.take = setProps(out.take, {prop});
    out.settings.inspect.prop = prop.id;
  } else if (options.has("prop-scale")) {
    return makeError(Fault::usage, "--prop-scale needs --prop", {}, "Name the prop's file");
  }
  const auto begin = Clock::now();
  Result<Sources> sources = readRequest(options, out.take, out.issues, part(context.control, 0, 0.2), &out.settings.inspect.limits);
  if (!sources) return sources.error();
  out.sources = std::move(*sources);
  if (!out.take.props->empty()) {
    // How wide palms are, and how far apart hands hold a shaft, follows from the character's height.
    const Result<Evaluated> plain = evaluate(setProps(out.take, {}), out.sources, &out.cache, part(context.control, 0.2, 0.25));
    const double height = plain && plain->context ? plain->context->height : 1.7;
    Result<PropItem> prop = makeProp(out.take.props->front(), out.sources.character, height);
    if (!prop) return prop.error();
    out.take = setProps(out.take, {std::move(*prop)});
  }
  out.readSeconds = secondsSince(begin);
  return out;
}

std::string findingLines(const FinishReport& report) {
  std::string text;
  for (const ReportedFinding& f : report.findings) {
    char line[64];
    std::snprintf(line, sizeof line, "  %5d:%-5d ", f.span.first, f.span.last);
    text += line + f.sentence;
    if (f.state == FindingState::repaired) {
      std::snprintf(line, sizeof line, "; repaired, %.1f %s left", f.after, f.unit.c_str());
      text += f.after > 0 ? std::string(line) : "; repaired";
    } else if (f.state == FindingState::waved) {
      text += "; waved off";
    } else if (!f.cause.empty()) {
      text += ". " + f.cause;
    }
    if (!f.harm.empty()) text += ". Its repair would bring along: " + f.harm;
    text += "\n";
  }
  return text;
}

int runFind(const Context& context, const Options& options) {
  Result<Prepared> ready = prepare(context, options);
  if (!ready) return fail(context, ready.error());
  Result<Evaluated> seen = evaluate(ready->take, ready->sources, &ready->cache, part(context.control, 0.2, 0.6));
  if (!seen) return fail(context, seen.error());
  if (const Status s = checkRequest(options, ready->take, *seen); !s) return fail(context, s.error());
  if (!seen->complete()) {
    for (const Issue& issue : seen->issues)
      if (issue.severity == Severity::error) return fail(context, issue);
  }
  const auto performance = analysePerformance(*ready->sources.performer, seen->map->performer, seen->performerNative, part(context.control, 0.6, 0.7));
  if (!performance) return fail(context, performance.error());
  Result<Inspection> look = inspectTake(ready->take, *seen, **performance, ready->settings.inspect, part(context.control, 0.7, 0.8));
  if (!look) return fail(context, look.error());
  // On a copy with the map that was found, so that nothing is mapped twice.
  const Take mapped = setMap(ready->take, *seen->map, ready->sources.performer->skeleton, ready->sources.character->skeleton);
  Result<Findings> offers = weighed(std::move(look->findings), mapped, ready->sources, ready->settings, &ready->cache, part(context.control, 0.8, 1));
  if (!offers) return fail(context, offers.error());
  Finished found;
  found.take = ready->take;
  found.remaining = std::move(*offers);
  found.issues = std::move(ready->issues);
  found.issues.insert(found.issues.end(), look->issues.begin(), look->issues.end());
  found.evaluated = std::move(*seen);
  const FinishReport report = reportOf(found, ready->sources);
  if (context.json) return printJson(context, finishReportJson(report));
  tell(context, report.issues);
  std::string text = findingLines(report);
  text += std::to_string(report.findings.size()) + (report.findings.size() == 1 ? " finding in " : " findings in ") + std::to_string(report.frames) + " frames\n";
  return print(context, text);
}

int runFinish(const Context& context, const Options& options) {
  const fs::path folder = options.value("out");
  std::error_code error;
  fs::create_directories(folder, error);
  if (error || !fs::is_directory(folder)) return fail(context, makeError(Fault::output, "The folder cannot be made", folder.string(), "Choose another one"));
  const std::string glb = (folder / "result.glb").string(), reelPath = (folder / "result.reel").string(), json = (folder / "report.json").string(),
                    html = (folder / "report.html").string();
  for (const std::string& target : {glb, reelPath, json, html})
    if (const Status s = checkOutput(target, inputsOf(options)); !s) return fail(context, s.error());
  if (const Status s = checkTakeOutput(glb, inputsOf(options)); !s) return fail(context, s.error());

  const auto begin = Clock::now();
  Result<Prepared> ready = prepare(context, options);
  if (!ready) return fail(context, ready.error());
  HandOver handOver = *ready->take.handOver;
  handOver.path = glb;
  ready->take = setExport(ready->take, handOver);
  Result<Evaluated> first = evaluate(ready->take, ready->sources, &ready->cache, part(context.control, 0.2, 0.4));
  if (!first) return fail(context, first.error());
  if (const Status s = checkRequest(options, ready->take, *first); !s) return fail(context, s.error());
  if (first->map) ready->take = setMap(ready->take, *first->map, ready->sources.performer->skeleton, ready->sources.character->skeleton);
  Result<Finished> finished = finishTake(ready->take, ready->sources, ready->settings, &ready->cache, part(context.control, 0.4, 0.8));
  if (!finished) return fail(context, finished.error());
  finished->issues.insert(finished->issues.begin(), ready->issues.begin(), ready->issues.end());

  Result<TakeOutput> written = writeTake(finished->take, ready->sources, finished->evaluated, false, part(context.control, 0.8, 0.95),
                                        historyText(finished->take, finished->evaluated, &finished->remaining, finished->settled));
  if (!written) return fail(context, written.error());
  finished->issues.insert(finished->issues.end(), written->notes.begin(), written->notes.end());
  Reel reel;
  reel.takes.emplace_back(finished->take);
  if (const Status s = saveReel(reel, reelPath); !s) return fail(context, s.error());
  FinishReport report = reportOf(*finished, ready->sources);
  report.outputs = {glb, reelPath, json, html};
  report.timing.insert(report.timing.begin(), {"read", ready->readSeconds});
  report.timing.push_back({"write", written->writeSeconds});
  report.timing.push_back({"total", secondsSince(begin)});
  addCurves(report, *finished, ready->sources);
  if (!options.has("no-pictures")) addPictures(report, *finished, ready->sources, 8, context.control);
  const std::string machine = finishReportJson(report);
  for (const auto& [path, text] : {std::pair{json, machine}, std::pair{html, finishReportHtml(report)}})
    if (const Status s = writeBytes(path, text); !s) return fail(context, s.error());
  if (context.json) return printJson(context, machine);
  tell(context, report.issues);
  const RemainingTotal rest = remainingOf(report);
  std::string text = findingLines(report);
  std::size_t repaired = 0;
  for (const ReportedFinding& f : report.findings) repaired += f.state == FindingState::repaired;
  char line[256];
  std::snprintf(line, sizeof line, "%zu findings, %zu repaired, %d remain (%d with a cause) in %d frames; %.2f s\n", report.findings.size(), repaired,
                rest.explained + rest.unexplained, rest.explained, report.frames, secondsSince(begin));
  text += line;
  for (const std::string& path : report.outputs) text += path + "\n";
  return print(context, text);
}

}  // namespace

Command findCommand() {
  Command command;
  command.name = "find";
  command.summary = "finds the flaws of a retargeted clip";
  command.description =
      "Carries the performance over to the character and looks for flaws: feet that slide, float or\n"
      "sink, bones that jump, flip or shake, hands that lose each other, what they hold or touch,\n"
      "limbs in the body or the floor. What is offered for them is tried first: a repair that does\n"
      "more harm than good is not offered, one that brings another flaw along says so. Writes nothing.";
  command.options = takeOptions();
  for (OptionSpec& option : propOptions()) command.options.push_back(std::move(option));
  for (OptionSpec& option : matchOptions()) command.options.push_back(std::move(option));
  command.run = runFind;
  return command;
}

Command finishCommand() {
  Command command;
  command.name = "finish";
  command.summary = "makes a finished clip: retargets, finds flaws, repairs them, hands over";
  command.description =
      "Does the whole job and leaves in the folder\n"
      "  result.glb   the character with the repaired animation\n"
      "  result.reel  the take with every repair, for the editor and 'repair'\n"
      "  report.json  what was found, done and left\n"
      "  report.html  the same, to be read\n"
      "Existing ones are replaced; inputs never are.";
  command.options = takeOptions();
  command.options.push_back({"out", "DIR", "folder for the results; made where it is missing", true});
  for (OptionSpec& option : propOptions()) command.options.push_back(std::move(option));
  command.options.push_back({"no-pictures", "", "leave pictures out of the report"});
  for (OptionSpec& option : matchOptions()) command.options.push_back(std::move(option));
  command.run = runFinish;
  return command;
}

}  // namespace understudy::cli
