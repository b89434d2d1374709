// understudy-cli profile: what is known of a character, saved beside its file and shown.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "app/command/map_file.h"
#include "app/command/repair_reel.h"
#include "app/command/take_request.h"
#include "core/repair/clearance.h"
#include "core/store/profile_file.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

std::vector<std::string> partsOf(const std::string& text, char between) {
  std::vector<std::string> parts;
  for (std::size_t at = 0; at <= text.size();) {
    const std::size_t end = std::min(text.find(between, at), text.size());
    if (end > at) parts.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return parts;
}

Result<std::map<std::string, double>> thresholdsOf(const std::string& text) {
  std::map<std::string, double> values;
  for (const std::string& part : partsOf(text, ',')) {
    const std::size_t equals = part.find('=');
    char* end = nullptr;
    const double value = equals == std::string::npos ? 0 : std::strtod(part.c_str() + equals + 1, &end);
    if (equals == std::string::npos || end == part.c_str() + equals + 1 || *end != '\0')
      return makeError(Fault::usage, "'" + part + "' is no threshold", {}, "Write NAME=VALUE, with commas between them, as in slide=0.6,depth=8");
    values[part.substr(0, equals)] = value;
  }
  FindingLimits probe;
  if (const Status s = setLimits(values, probe); !s) return s.error();
  return values;
}

std::string text(const Profile& profile) {
  int roles = 0, doubtful = 0;
  for (const RoleKeys& keys : profile.map) {
    roles += !keys.joints.empty();
    doubtful += !keys.joints.empty() && keys.confidence < doubtfulBelow;
  }
  std::string out = "  bone map    " + std::to_string(roles) + " of " + std::to_string(roleCount) + " roles" + (doubtful > 0 ? ", " + std::to_string(doubtful) + " doubtful" : "") + "\n";
  const auto row = [&](const char* name, const std::string& value) {
    if (!value.empty()) out += "  " + std::string(name) + std::string(12 - std::string(name).size(), ' ') + value + "\n";
  };
  const auto list = [](const auto& items, const auto& name) {
    std::string names;
    for (const auto& item : items) names += (names.empty() ? "" : ", ") + std::string(name(item));
    return names;
  };
  row("up", profile.up);
  char number[64];
  if (profile.metresPerUnit > 0) std::snprintf(number, sizeof number, "%g m", profile.metresPerUnit), row("unit", number);
  if (profile.reference.facingDegrees) std::snprintf(number, sizeof number, "turned by %g°", *profile.reference.facingDegrees), row("facing", number);
  row("turned", list(profile.alignmentOffsets, [](const auto& item) { return roleName(item.first); }));
  row("matched", list(profile.alignmentChoices, [](const auto& item) { return std::string(roleName(item.first)) + (item.second ? "" : " (own posture)"); }));
  row("left out", list(profile.leftOut, [](const std::string& name) { return name; }));
  row("hands", list(profile.handShapes, [](const Repair& repair) {
        const auto& shape = std::get<HandShapeRepair>(repair.action);
        return std::string(shape.left ? "left " : "right ") + shape.shape;
      }));
  row("thresholds", list(profile.thresholds, [](const auto& item) {
        char value[64];
        const auto fields = limitFields();
        const auto field = std::find_if(fields.begin(), fields.end(), [&](const LimitField& f) { return f.name == item.first; });
        std::snprintf(value, sizeof value, "%s %g %s", item.first.c_str(), item.second, field == fields.end() ? "(unknown)" : field->unit);
        return std::string(value);
      }));
  return out;
}

/// The take whose character's side becomes the profile.
Result<Take> sourceTake(const Context& context, const Options& options, const Profile& known, Issues& issues) {
  const std::string character = options.value("character");
  Take take;
  if (options.has("reel")) {
    const auto open = openReel(options.value("reel"), 0);
    if (!open) return open.error();
    take = open->take();
    std::error_code error;
    if (!fs::equivalent(take.character->path, character, error))
      return makeError(Fault::usage, "The reel's take is about another character: " + take.character->path, options.value("reel"), "Give the reel's own character");
  } else {
    const auto file = fileReference(options, character, "character");
    if (!file) return file.error();
    take.character = *file;
    if (options.has("character-facing")) {
      const auto degrees = options.number("character-facing", 0);
      if (!degrees) return degrees.error();
      ReferenceSettings reference;
      reference.facingDegrees = *degrees;
      take = setCharacterReference(take, reference);
    }
  }
  if (options.has("leave-out")) take = setLeftOut(take, partsOf(options.value("leave-out"), ','));
  if (options.has("map")) {
    if (!options.has("performer")) return makeError(Fault::usage, "--map needs --performer: a map file names the bones of both");
    const auto performerFile = fileReference(options, options.value("performer"), "performer");
    if (!performerFile) return performerFile.error();
    const auto performer = readReference(*performerFile, context.control);
    if (!performer) return performer.error();
    const auto figure = readReference(*take.character, context.control);
    if (!figure) return figure.error();
    auto map = loadMapFile(options.value("map"), **performer, **figure, &issues);
    if (!map) return map.error();
    MapKeys keys = keysOf(*map, (*performer)->skeleton, (*figure)->skeleton);
    keys.performer = {};
    take = setMapKeys(take, std::move(keys));
  }
  return withProfile(take, known);
}

int runSave(const Context& context, const Options& options) {
  const std::string character = options.value("character"), out = options.has("out") ? options.value("out") : profilePathOf(character);
  std::vector<std::string> inputs{character};
  for (const char* name : {"performer", "map", "reel"})
    if (options.has(name)) inputs.push_back(options.value(name));
  if (const Status s = checkOutput(out, inputs); !s) return fail(context, s.error());
  if (const Status s = checkWritableTarget(out); !s) return fail(context, s.error());
  const auto thresholds = thresholdsOf(options.value("thresholds"));
  if (!thresholds) return fail(context, thresholds.error());
  Issues issues;
  Profile known;
  std::error_code error;
  if (fs::exists(out, error)) {
    auto before = loadProfile(out, &issues);
    if (!before) return fail(context, before.error());
    known = std::move(*before);
  }
  auto take = sourceTake(context, options, known, issues);
  if (!take) return fail(context, take.error());
  const auto figure = readReference(*take->character, context.control);
  if (!figure) return fail(context, figure.error());
  auto map = std::make_shared<BoneMap>(resolveMap(*take->map, {}, (*figure)->skeleton, &issues));
  if (std::all_of(map->character.roles.begin(), map->character.roles.end(), [](const RoleJoints& r) { return r.empty(); })) map->character = mapRoles(**figure);
  issues.insert(issues.end(), map->character.issues.begin(), map->character.issues.end());
  MapKeys keys = *take->map;
  keys.character = keysOf(*map, {}, (*figure)->skeleton).character;
  *take = setMapKeys(*take, std::move(keys));

  Profile profile = profileOf(*take, known.thresholds);
  for (const auto& [name, value] : *thresholds) profile.thresholds[name] = value;
  profile.contentHash = contentHash(character);
  profile.unknown = known.unknown;
  if (const Status s = saveProfile(profile, out); !s) return fail(context, s.error());

  // What can be worked out of it now need not be worked out with the first clip.
  const auto begin = Clock::now();
  const auto repair = repairContext(*figure, map, *take->retarget, FrameRate{}, 1);
  if (repair) {
    auto with = std::make_shared<RepairContext>(**repair);
    with->leftOut = profile.leftOut;
    (void)bodyModelOf(*with);
  } else {
    issues.push_back(makeWarning(repair.error().what, character, repair.error().todo));
  }
  const double seconds = std::chrono::duration<double>(Clock::now() - begin).count();
  if (context.json) return printJson(context, textOf(Json{{"ok", true}, {"profile", out}, {"content", Json::parse(writeProfile(profile))}, {"seconds", {{"body", seconds}}}, {"issues", toJson(issues)}}));
  tell(context, issues);
  char line[64];
  std::snprintf(line, sizeof line, "  body ready in %.2f s\n", seconds);
  return print(context, out + "\n" + text(profile) + line);
}

int runShow(const Context& context, const Options& options) {
  std::string path = options.arguments().front();
  std::error_code error;
  if (!path.ends_with(".json") && fs::exists(profilePathOf(path), error)) path = profilePathOf(path);
  Issues issues;
  const auto profile = loadProfile(path, &issues);
  if (!profile) return fail(context, profile.error());
  if (context.json) return printJson(context, textOf(Json{{"ok", true}, {"profile", path}, {"content", Json::parse(writeProfile(*profile))}, {"issues", toJson(issues)}}));
  tell(context, issues);
  return print(context, path + "\n" + text(*profile));
}

Command saveAction() {
  Command command;
  command.name = "save";
  command.summary = "writes what is known of a character beside its file";
  std::string names;
  for (const LimitField& field : limitFields()) names += "  " + std::string(field.name) + std::string(14 - std::string(field.name).size(), ' ') + field.help + ", " + field.unit + "\n";
  command.description =
      "Writes the character's side of the bone map (found automatically, from a map file, or from a\n"
      "take of a reel with all that was corrected there), how it is aligned, its hand shapes, what does\n"
      "not count as its body, and thresholds of findings. Later runs with the same character use it\n"
      "without being asked. An existing profile is brought up to date: what is not given stays.\n"
      "Thresholds:\n" + names;
  command.description.pop_back();
  command.options = {{"character", "FILE", "your rigged character: glTF 2.0, FBX, Collada or BVH", true},
                     {"reel", "FILE", "take bone map, alignment and hand shapes from this reel's last take"},
                     {"map", "FILE", "bone map, as written by 'map'"},
                     {"performer", "FILE", "the performer the bone map was made with"},
                     {"leave-out", "NAMES", "meshes that arms need not keep out of, with commas between them"},
                     {"thresholds", "LIST", "NAME=VALUE, with commas between them"},
                     {"character-facing", "DEG", "turn about up that makes the character face +Z"},
                     {"out", "FILE", "the profile to write; default: beside the character"}};
  for (OptionSpec& option : readOverrideOptions("character", "the character's file")) command.options.push_back(std::move(option));
  for (OptionSpec& option : readOverrideOptions("performer", "the performer's file")) command.options.push_back(std::move(option));
  command.run = runSave;
  return command;
}

Command showAction() {
  Command command;
  command.name = "show";
  command.summary = "tells what a profile says";
  command.description = "Tells what is known of a character.";
  command.arguments = {{"FILE", "a profile, or a character's file with its profile beside it"}};
  command.run = runShow;
  return command;
}

}  // namespace

Command profileCommand() {
  Command command;
  command.name = "profile";
  command.summary = "keeps what is known of a character, so that the next clip needs no mapping";
  command.description =
      "A profile is a small JSON file beside the character's. It is written only here and by the editor's\n"
      "Save profile. All commands that take a character use it; --profile off leaves it alone.";
  command.actions = {saveAction(), showAction()};
  return command;
}

}  // namespace understudy::cli
