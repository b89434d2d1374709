// understudy-cli findings: the flaws of a take in a reel, and which of them the artist waves off.
#include <algorithm>
#include <cstdio>

#include "app/command/commands.h"
#include "app/command/repair_reel.h"
#include "app/command/take_request.h"
#include "core/job/finish.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

int run(const Context& context, const Options& options) {
  Result<OpenReel> open = openReel(options);
  if (!open) return fail(context, open.error());
  Result<Shown> shown = showTake(open->take(), part(context.control, 0, 0.6));
  if (!shown) return fail(context, shown.error());
  const Evaluated& seen = shown->evaluated;
  const auto performance = analysePerformance(*shown->sources.performer, seen.map->performer, seen.performerNative, part(context.control, 0.6, 0.8));
  if (!performance) return fail(context, performance.error());
  InspectSettings settings;
  if (!open->take().props->empty()) settings.prop = open->take().props->front().id;
  Result<Inspection> look = inspectTake(open->take(), seen, **performance, settings, part(context.control, 0.8, 1));
  if (!look) return fail(context, look.error());

  Take take = open->take();
  for (const auto& [name, waved] : {std::pair{"off", true}, std::pair{"on", false}}) {
    if (!options.has(name)) continue;
    const std::string key = options.value(name);
    int met = 0;
    for (const Finding& finding : look->findings)
      if (key == "all" || finding.key == key) {
        take = setWaved(take, finding.key, waved);
        ++met;
      }
    // What is no longer found may still be taken off the list.
    if (met == 0 && !waved && std::binary_search(take.waved.begin(), take.waved.end(), key)) {
      take = setWaved(take, key, false);
      ++met;
    }
    if (met == 0 && key != "all") return fail(context, makeError(Fault::usage, "There is no finding '" + key + "'", open->path, "'findings " + open->path + "' lists them with their keys"));
  }
  for (Finding& finding : look->findings) finding.waved = std::binary_search(take.waved.begin(), take.waved.end(), finding.key);
  const Result<bool> saved = saveTake(*open, take);
  if (!saved) return fail(context, saved.error());

  Finished found;
  found.take = take;
  found.remaining = std::move(look->findings);
  found.evaluated = std::move(shown->evaluated);
  found.issues = open->issues;
  const FinishReport report = reportOf(found, shown->sources);
  if (context.json) return printJson(context, finishReportJson(report));
  tell(context, report.issues);
  std::string text;
  int open_ = 0;
  for (const ReportedFinding& f : report.findings) {
    char line[64];
    std::snprintf(line, sizeof line, "  %5d:%-5d ", f.span.first, f.span.last);
    text += line + f.sentence;
    if (f.state == FindingState::waved) text += "; waved off";
    else if (!f.cause.empty()) text += ". " + f.cause;
    text += "\n              key: " + f.key + "\n";
    open_ += f.state == FindingState::remaining;
  }
  text += std::to_string(open_) + (open_ == 1 ? " finding" : " findings") + " not waved off in " + std::to_string(report.frames) + " frames\n";
  return print(context, text);
}

}  // namespace

Command findingsCommand() {
  Command command;
  command.name = "findings";
  command.summary = "lists the flaws of a take in a reel and waves them off";
  command.description =
      "Evaluates a take as it stands, with its repairs, and lists what is still found. A finding that is waved off\n"
      "is saved with the take and left alone by the editor and by 'finish' from then on.";
  command.arguments = {{"REEL", "the reel, as written by 'finish' or the editor"}};
  command.options = {takeOption(),
                     {"off", "KEY", "wave off the finding with this key, or 'all'"},
                     {"on", "KEY", "take it up again, or 'all'"}};
  command.run = run;
  return command;
}

}  // namespace understudy::cli
