// understudy-cli retarget: from a performer's and a character's file to an animated character.
#include <chrono>
#include <cstdio>
#include <filesystem>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "app/command/map_file.h"
#include "core/bake/bake.h"
#include "core/mapping/bone_map.h"
#include "core/report/report.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

using Clock = std::chrono::steady_clock;

/// Progress of one step as a part of the whole.
RunControl part(const RunControl& whole, double from, double to) {
  RunControl control = whole;
  if (whole.progress)
    control.progress = [&whole, from, to](double fraction, std::string_view step) { whole.report(from + (to - from) * fraction, step); };
  return control;
}

Status checkFormat(const std::string& out) {
  std::string ending = std::filesystem::path(out).extension().string();
  for (char& c : ending) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  for (const char* known : {".glb", ".gltf", ".bvh", ".csv"})
    if (ending == known) return Done{};
  std::error_code error;
  if (std::filesystem::exists(out, error) && !std::filesystem::is_regular_file(out, error))
    return makeError(Fault::output, "This is a device or a pipe, and its name does not say in which format to write", out, "Give a file's name");
  return makeError(Fault::usage, ending.empty() ? std::string("The output has no ending that names a format") : "'" + ending + "' is no format that can be written",
                   out, "End the name in .glb, .gltf, .bvh or .csv");
}

int run(const Context& context, const Options& options) {
  const std::string performerPath = options.value("performer"), characterPath = options.value("character"), out = options.value("out");
  std::vector<std::string> inputs{performerPath, characterPath};
  if (options.has("map")) inputs.push_back(options.value("map"));
  for (const std::string& target : {out, options.value("save-reel")}) {
    if (target.empty()) continue;
    if (const Status s = checkOutput(target, inputs); !s) return fail(context, s.error());
    if (const Status s = checkWritableTarget(target); !s) return fail(context, s.error());
  }

  if (const Status s = checkFormat(out); !s) return fail(context, s.error());

  // The request, before any file is read: a typing mistake should not cost a minute.
  Take take;
  take.name = std::filesystem::path(performerPath).stem().string();
  const auto performerFile = fileReference(options, performerPath, "performer");
  if (!performerFile) return fail(context, performerFile.error());
  const auto characterFile = fileReference(options, characterPath, "character");
  if (!characterFile) return fail(context, characterFile.error());
  take.performer = *performerFile;
  take.character = *characterFile;
  if (options.has("fps")) {
    const auto rate = parseFrameRate(options.value("fps"));
    if (!rate) return fail(context, rate.error());
    take.rate = *rate;
  }
  std::optional<FrameRange> range;
  if (options.has("range")) {
    const auto parsed = parseFrameRange(options.value("range"));
    if (!parsed) return fail(context, parsed.error());
    range = *parsed;
  }
  const auto firstFrame = options.integer("first-frame", 1);
  if (!firstFrame) return fail(context, firstFrame.error());
  take.firstFrame = *firstFrame;
  RetargetSettings settings;
  settings.ground = !options.has("no-ground");
  if (options.has("stride")) {
    const auto stride = options.number("stride", 1);
    if (!stride) return fail(context, stride.error());
    if (*stride < 0 || *stride > 1000) return fail(context, makeError(Fault::usage, "--stride must lie between 0 and 1000"));
    settings.stride = *stride;
  }
  if (options.has("reference-frame")) {
    const auto frame = options.integer("reference-frame", 1);
    if (!frame) return fail(context, frame.error());
    if (*frame < 1) return fail(context, makeError(Fault::usage, "--reference-frame counts from 1"));
    settings.performerReference.clipFrame = *frame - 1;
  }
  for (const auto& [name, reference] : {std::pair{"facing", &settings.performerReference}, std::pair{"character-facing", &settings.characterReference}}) {
    if (!options.has(name)) continue;
    const auto degrees = options.number(name, 0);
    if (!degrees) return fail(context, degrees.error());
    reference->facingDegrees = *degrees;
  }
  HandOver handOverSettings;
  handOverSettings.path = out;
  handOverSettings.animationOnly = options.has("animation-only");
  if (options.has("name")) handOverSettings.animationName = options.value("name");
  take.handOver = handOverSettings;

  const auto begin = Clock::now();
  Sources sources;
  sources.performerFile = *take.performer;
  sources.characterFile = *take.character;
  auto performer = readReference(*take.performer, part(context.control, 0, 0.2));
  if (!performer) return fail(context, performer.error());
  sources.performer = *performer;
  auto character = readReference(*take.character, part(context.control, 0.2, 0.35));
  if (!character) return fail(context, character.error());
  sources.character = *character;
  const auto read = Clock::now();

  const auto clip = chooseClip(*sources.performer, options.value("clip"));
  if (!clip) return fail(context, clip.error());
  take.clip = *clip;
  Issues mapIssues;
  if (options.has("map")) {
    auto map = loadMapFile(options.value("map"), *sources.performer, *sources.character, &mapIssues);
    if (!map) return fail(context, map.error());
    take = setMap(take, *map, sources.performer->skeleton, sources.character->skeleton);
  }
  const FrameRate rate = take.rate.value_or(sources.performer->clips[static_cast<std::size_t>(take.clip)].rate);
  if (range) {
    const int frames = sources.performer->clips[static_cast<std::size_t>(take.clip)].frames();
    const double seconds = sources.performer->clips[static_cast<std::size_t>(take.clip)].rate.seconds(frames - 1);
    // One frame of grace: a clip whose length is no multiple of the frame time gets one more. The evaluation counts exactly.
    const int most = static_cast<int>(seconds * rate.hertz() + 1e-6) + 2;
    if (range->last > most)
      return fail(context, makeError(Fault::usage, "The range " + options.value("range") + " ends behind the clip", performerPath,
                                     "At " + rate.text() + " frames/s it has frames 1:" + std::to_string(most - 1)));
    take = setTrim(take, range, rate);
  }
  take = setRetarget(take, settings);

  auto evaluated = evaluate(take, sources, nullptr, part(context.control, 0.35, 0.7));
  if (!evaluated) return fail(context, evaluated.error());
  if (range && evaluated->trimFirst + evaluated->frames != range->last)
    return fail(context, makeError(Fault::usage, "The range " + options.value("range") + " ends behind the clip", performerPath,
                                   "At " + rate.text() + " frames/s it has frames 1:" + std::to_string(evaluated->clipFrames)));
  if (settings.performerReference.clipFrame && *settings.performerReference.clipFrame >= evaluated->clipFrames)
    return fail(context, makeError(Fault::usage, "--reference-frame " + options.value("reference-frame") + " lies behind the clip", performerPath,
                                   "It has frames 1:" + std::to_string(evaluated->clipFrames)));
  const auto retargeted = Clock::now();
  auto baked = bake(take, *sources.character, *evaluated);
  if (!baked) return fail(context, baked.error());
  if (context.control.stopped()) return fail(context, RunControl::cancelled());
  if (const Status s = handOver(*sources.character, baked->clip, out, handOverSettings.animationOnly, part(context.control, 0.7, 0.85)); !s)
    return fail(context, s.error());
  const auto written = Clock::now();

  Issues more = mapIssues;
  more.insert(more.end(), baked->notes.begin(), baked->notes.end());
  std::optional<Fidelity> fidelity;
  const bool regular = std::filesystem::is_regular_file(out);
  if (regular && !out.ends_with(".csv") && !options.has("no-check")) {
    auto measured = measureFidelity(out, *sources.character, baked->clip, part(context.control, 0.85, 1));
    if (measured) {
      fidelity = *measured;
    } else if (measured.error().fault == Fault::cancelled) {
      more.push_back(makeWarning("The written file was not checked: stopped on request", out));
    } else {
      more.push_back(makeWarning("The written file could not be checked: " + measured.error().what, out));
    }
  }
  if (options.has("save-reel")) {
    Reel reel;
    if (!options.has("map") && evaluated->map) take = setMap(take, *evaluated->map, sources.performer->skeleton, sources.character->skeleton);
    reel.takes.emplace_back(take);
    if (const Status s = saveReel(reel, options.value("save-reel")); !s) return fail(context, s.error());
  }
  const auto end = Clock::now();
  const auto seconds = [](auto a, auto b) { return std::chrono::duration<double>(b - a).count(); };

  if (context.json) {
    const Json report = Json::parse(takeReport(take, sources, *evaluated, fidelity, more));
    Json body = {{"ok", true}, {"out", out}};
    body.update(report);
    body["seconds"] = {{"read", seconds(begin, read)}, {"retarget", seconds(read, retargeted)}, {"write", seconds(retargeted, written)},
                       {"check", seconds(written, end)}, {"total", seconds(begin, end)}};
    return printJson(context, textOf(body));
  }
  tell(context, takeIssues(take, sources, *evaluated, more));
  const RetargetReport& r = *evaluated->report;
  char line[512];
  std::string text = out + "\n";
  std::snprintf(line, sizeof line, "  %d frames at %s frames/s, numbered %d to %d\n", evaluated->frames, evaluated->rate.text().c_str(), take.firstFrame,
                take.firstFrame + evaluated->frames - 1);
  text += line;
  std::snprintf(line, sizeof line, "  legs %.3f m on the performer, %.3f m on the character; travel scaled by %.4f; ground offset %+.1f mm\n", r.performerLeg,
                r.characterLeg, r.stride, 1000 * r.groundOffset);
  text += line;
  text += "  reference poses: performer " + r.performerReference.source + " (" + r.performerReference.shape + "), character " +
          r.characterReference.source + " (" + r.characterReference.shape + ")\n";
  if (fidelity) {
    std::snprintf(line, sizeof line, "  checked: at most %.4f mm off at 3 cm from a joint (%s, frame %d); %zu keys, %zu bytes\n", fidelity->worstMillimetres,
                  fidelity->worstJoint < 0 ? "-" : jointKey(sources.character->skeleton, fidelity->worstJoint).c_str(),
                  fidelity->worstFrame + take.firstFrame, fidelity->keys, fidelity->bytes);
    text += line;
  }
  return print(context, text);
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
  command.options = {
      {"performer", "FILE", "the captured motion: BVH, glTF 2.0, FBX or Collada", true},
      {"character", "FILE", "your rigged character: glTF 2.0, FBX, Collada or BVH", true},
      {"out", "FILE", "the file to write: .glb, .gltf, .bvh or .csv", true},
      {"map", "FILE", "bone map to use, as written by 'map'; default: found automatically"},
      {"clip", "N|NAME", "clip of the performer: its number, counted from 1, or its exact name; default 1"},
      {"fps", "R", "frames per second of the output (24, 29.97, 30000/1001); default: the performer's"},
      {"range", "A:B", "output frames to write, both included, counted from 1; default: all"},
      {"first-frame", "N", "number of the first written frame, where the format has numbers; default 1"},
      {"name", "NAME", "name of the animation; default Understudy"},
      {"animation-only", "", "write nodes and animation without meshes (.glb)"},
      {"stride", "X", "scale of the travel; default: the ratio of the leg lengths"},
      {"no-ground", "", "do not shift the character's height so that its soles stand on the ground"},
      {"reference-frame", "N", "take this frame of the performer's clip (at the output's rate, counted from 1) as\nthe pose in which the bodies are compared"},
      {"facing", "DEG", "turn about up that makes the performer face +Z, where the detected one is wrong"},
      {"character-facing", "DEG", "the same for the character"},
  };
  for (const auto& [prefix, who] : {std::pair{"performer", "the performer's file"}, std::pair{"character", "the character's file"}})
    for (OptionSpec& option : readOverrideOptions(prefix, who)) command.options.push_back(std::move(option));
  command.options.push_back({"save-reel", "FILE", "also save the take as a reel (.reel) for the editor"});
  command.options.push_back({"no-check", "", "do not read the written file again to measure it"});
  command.run = run;
  return command;
}

}  // namespace understudy::cli
