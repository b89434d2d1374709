// understudy-cli retarget: from a performer's and a character's file to an animated character.
#include <chrono>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "app/command/take_output.h"
#include "app/command/take_request.h"
#include "core/report/report.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

using Clock = std::chrono::steady_clock;

int run(const Context& context, const Options& options) {
  const std::string out = options.value("out"), reelPath = options.value("save-reel");
  if (!reelPath.empty()) {
    if (const Status s = checkOutput(reelPath, inputsOf(options)); !s) return fail(context, s.error());
    if (const Status s = checkWritableTarget(reelPath); !s) return fail(context, s.error());
  }
  if (const Status s = checkTakeOutput(out, inputsOf(options)); !s) return fail(context, s.error());
  auto request = takeRequest(options);
  if (!request) return fail(context, request.error());
  Take take = std::move(*request);
  HandOver handOverSettings;
  handOverSettings.path = out;
  handOverSettings.animationOnly = options.has("animation-only");
  if (options.has("name")) handOverSettings.animationName = options.value("name");
  if (options.has("bake") && !bakeKindNamed(options.value("bake"), handOverSettings.bake))
    return fail(context, makeError(Fault::usage, "'" + options.value("bake") + "' is no kind of curves", "--bake", "Give sampled, reduced or editable"));
  const auto millimetres = options.number("tolerance", 1000 * handOverSettings.tolerance);
  if (!millimetres) return fail(context, millimetres.error());
  if (!(*millimetres > 0)) return fail(context, makeError(Fault::usage, "The tolerance must be above 0", "--tolerance", "Give millimetres, such as 1"));
  handOverSettings.tolerance = *millimetres * 0.001;
  take = setExport(take, handOverSettings);

  const auto begin = Clock::now();
  Issues more;
  const auto sources = readRequest(options, take, more, part(context.control, 0, 0.35));
  if (!sources) return fail(context, sources.error());
  const auto read = Clock::now();
  auto evaluated = evaluate(take, *sources, nullptr, part(context.control, 0.35, 0.7));
  if (!evaluated) return fail(context, evaluated.error());
  if (const Status s = checkRequest(options, take, *evaluated); !s) return fail(context, s.error());
  const auto retargeted = Clock::now();
  auto output = writeTake(take, *sources, *evaluated, !options.has("no-check"), part(context.control, 0.7, 1));
  if (!output) return fail(context, output.error());
  more.insert(more.end(), output->notes.begin(), output->notes.end());
  if (!reelPath.empty()) {
    Reel reel;
    if (!options.has("map") && evaluated->map) take = setMap(take, *evaluated->map, sources->performer->skeleton, sources->character->skeleton);
    reel.takes.emplace_back(take);
    if (const Status s = saveReel(reel, reelPath); !s) return fail(context, s.error());
  }
  const auto end = Clock::now();
  const auto seconds = [](auto a, auto b) { return std::chrono::duration<double>(b - a).count(); };

  if (context.json) {
    const Json report = Json::parse(takeReport(take, *sources, *evaluated, output->fidelity, more));
    Json body = {{"ok", true}, {"out", out}};
    body.update(report);
    body["seconds"] = {{"read", seconds(begin, read)}, {"retarget", seconds(read, retargeted)}, {"write", output->writeSeconds}, {"check", output->checkSeconds},
                       {"total", seconds(begin, end)}};
    return printJson(context, textOf(body));
  }
  tell(context, takeIssues(take, *sources, *evaluated, more));
  return print(context, describeOutput(take, *evaluated, *output));
}

}  // namespace

Command retargetCommand() {
  Command command;
  command.name = "retarget";
  command.summary = "carries a performance over to a character";
  command.description =
      "Reads the performer's clip and the character, maps the bones (or takes a map file), carries the\n"
      "performance over and writes it by the ending of the output:\n"
      "  .glb .gltf  the character's own file with the animation added (a .glb with mesh, skin and\n"
      "              materials for an FBX or Collada character)\n"
      "  .bvh        the character's skeleton with the motion\n"
      "  .csv        world positions (m) and rotations of every joint and frame\n"
      "The written file is read again and compared with what was meant. An existing output is replaced;\n"
      "an input never is.";
  command.options = takeOptions();
  command.options.insert(command.options.begin() + 2, {"out", "FILE", "the file to write: .glb, .gltf, .bvh or .csv", true});
  command.options.push_back({"name", "NAME", "name of the animation; default Understudy"});
  command.options.push_back({"animation-only", "", "write nodes and animation without meshes (.glb)"});
  for (OptionSpec& option : matchOptions()) command.options.push_back(std::move(option));
  command.options.push_back({"save-reel", "FILE", "also save the take as a reel (.reel) for the editor"});
  command.options.push_back({"bake", "KIND", "curves of a glTF file: sampled (a key a frame; the default), reduced (as few keys as the\n"
                                             "tolerance allows), editable (few keys, at the same frames along a limb, smooth)"});
  command.options.push_back({"tolerance", "MM", "how far reduced and editable curves may be off, 3 cm from each joint; default 1"});
  command.options.push_back({"no-check", "", "do not read the written file again to measure it"});
  command.run = run;
  return command;
}

}  // namespace understudy::cli
