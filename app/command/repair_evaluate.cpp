// understudy-cli repair evaluate, export: what the repairs of a take come to.
#include <chrono>
#include <cstdio>

#include "app/command/json_text.h"
#include "app/command/repair_actions.h"
#include "app/command/repair_state.h"
#include "app/command/take_output.h"
#include "app/command/take_request.h"
#include "core/math/angle.h"
#include "core/report/report.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

int runEvaluate(const Context& context, const Options& options) {
  RepairLimits limits;
  for (const auto& [name, limit] : {std::pair{"limit-mm", &limits.millimetres}, std::pair{"limit-deg", &limits.degrees}}) {
    const auto value = options.number(name, *limit);
    if (!value) return fail(context, value.error());
    if (*value < 0) return fail(context, makeError(Fault::usage, std::string("--") + name + " is not below 0"));
    *limit = *value;
  }
  auto open = openReel(options);
  if (!open) return fail(context, open.error());
  const Take& take = open->take();
  const auto id = options.integer("repair", 0);
  if (!id) return fail(context, id.error());
  if (options.has("repair") && !findRepair(take, static_cast<std::uint64_t>(*id)))
    return fail(context, makeError(Fault::usage, "There is no repair " + options.value("repair"), open->path, "'repair list' tells their numbers"));
  auto shown = showTake(take, context.control);
  if (!shown) return fail(context, shown.error());
  const Evaluated& evaluated = shown->evaluated;
  std::vector<RepairState> states = repairStates(take, evaluated, shown->numbers, limits);
  if (options.has("repair")) std::erase_if(states, [&](const RepairState& s) { return s.repair->id != static_cast<std::uint64_t>(*id); });
  Issues issues = open->issues;
  for (const Issue& issue : takeIssues(take, shown->sources, evaluated)) issues.push_back(issue);

  if (context.json) {
    Json body = {{"ok", true}, {"reel", open->path}, {"take", {{"number", open->index + 1}, {"name", take.name}}}, {"frames", evaluated.frames},
                 {"firstFrame", take.firstFrame}, {"rate", {{"hertz", evaluated.rate.hertz()}, {"exact", evaluated.rate.spelling()}}},
                 {"limit", {{"mm", limits.millimetres}, {"deg", limits.degrees}}}};
    body["repairs"] = Json::array();
    for (const RepairState& state : states) body["repairs"].push_back(toJson(state, shown->numbers, options.has("misses")));
    body["issues"] = toJson(issues);
    return printJson(context, textOf(body));
  }
  tell(context, issues);
  char line[256];
  std::snprintf(line, sizeof line, ", take %d: %d frames at %s frames/s, numbered %d to %d\n", open->index + 1, evaluated.frames, evaluated.rate.text().c_str(),
                take.firstFrame, take.firstFrame + evaluated.frames - 1);
  std::string text = open->path + line;
  for (const RepairState& state : states) {
    text += "  " + describe(*state.repair) + (state.repair->span ? ", " + (state.frames.last < state.frames.first ? "no frame" : textOf(state.frames)) : "") + ": " +
            describeMiss(state) + "\n";
    for (const MissSpan& span : state.beyond) {
      std::snprintf(line, sizeof line, "    misses over %s by up to %.2f mm, %.2f°\n", textOf(span.frames).c_str(), span.millimetres, span.degrees);
      text += line;
    }
    if (options.has("misses"))
      for (std::size_t i = 0; i < state.misses.size(); ++i) {
        std::snprintf(line, sizeof line, "    %6d  %9.3f mm  %8.3f°\n", shown->numbers.shown(state.measured.first + static_cast<int>(i)),
                      1000.0 * static_cast<double>(state.misses[i].metres), degreesPerRadian * static_cast<double>(state.misses[i].radians));
        text += line;
      }
  }
  if (states.empty()) text += "  no repairs\n";
  return print(context, text);
}

int runExport(const Context& context, const Options& options) {
  const std::string out = options.value("out");
  auto open = openReel(options);
  if (!open) return fail(context, open.error());
  Take take = open->take();
  std::vector<std::string> inputs{open->path, take.performer->path, take.character->path};
  for (const PropItem& prop : *take.props) inputs.push_back(prop.path);
  for (const SetItem& item : *take.set) inputs.push_back(item.path);
  std::erase(inputs, std::string());
  if (const Status s = checkTakeOutput(out, inputs); !s) return fail(context, s.error());
  HandOver settings = *take.handOver;
  settings.path = out;
  settings.animationOnly = settings.animationOnly || options.has("animation-only");
  if (options.has("name")) settings.animationName = options.value("name");
  take = setExport(take, settings);
  auto shown = showTake(take, part(context.control, 0, 0.6));
  if (!shown) return fail(context, shown.error());
  auto output = writeTake(take, shown->sources, shown->evaluated, !options.has("no-check"), part(context.control, 0.6, 1));
  if (!output) return fail(context, output.error());
  Issues more = open->issues;
  more.insert(more.end(), output->notes.begin(), output->notes.end());
  const std::vector<RepairState> states = repairStates(take, shown->evaluated, shown->numbers);
  if (context.json) {
    Json body = {{"ok", true}, {"out", out}};
    body.update(Json::parse(takeReport(take, shown->sources, shown->evaluated, output->fidelity, more)));
    body["repairs"] = Json::array();
    for (const RepairState& state : states) body["repairs"].push_back(toJson(state, shown->numbers, false));
    return printJson(context, textOf(body));
  }
  tell(context, takeIssues(take, shown->sources, shown->evaluated, more));
  std::string text = describeOutput(take, shown->evaluated, *output);
  int applied = 0;
  for (const RepairState& state : states) applied += state.applied;
  text += "  " + std::to_string(applied) + " of " + std::to_string(states.size()) + " repairs applied\n";
  return print(context, text);
}

}  // namespace

Command repairEvaluateAction() {
  Command command;
  command.name = "evaluate";
  command.summary = "tells how far each repair stays from what it promises";
  command.description =
      "Evaluates the take and tells for each repair the worst distance and angle by which it misses and the frame\n"
      "where that is, and the frames that miss by more than the limits: what is out of reach, with the distance.";
  command.arguments = {{"REEL", "the reel"}};
  command.options = {takeOption(),
                     {"repair", "N", "only this one"},
                     {"limit-mm", "X", "list frames that miss by more millimetres than this; default 0.5"},
                     {"limit-deg", "X", "or by more degrees than this; default 0.5"},
                     {"misses", "", "tell the miss of every frame"}};
  command.run = runEvaluate;
  return command;
}

Command repairExportAction() {
  Command command;
  command.name = "export";
  command.summary = "writes the take with all its repairs, as 'retarget' writes";
  command.description =
      "Evaluates the take, bakes it to plain per-bone curves and writes it by the ending of the output, as 'retarget'\n"
      "does. The written file is read again and compared. An existing output is replaced; an input never is.";
  command.arguments = {{"REEL", "the reel"}};
  command.options = {{"out", "FILE", "the file to write: .glb, .gltf, .bvh or .csv", true},
                     takeOption(),
                     {"name", "NAME", "name of the animation; default: the take's"},
                     {"animation-only", "", "write nodes and animation without meshes (.glb)"},
                     {"no-check", "", "do not read the written file again to measure it"}};
  command.run = runExport;
  return command;
}

}  // namespace understudy::cli
