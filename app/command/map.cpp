// understudy-cli map: finds which joints fill which role on both skeletons.
#include <algorithm>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "app/command/map_file.h"
#include "app/command/take_request.h"
#include "core/evaluate/evaluate.h"
#include "core/io/read.h"
#include "core/io/write.h"

namespace understudy::cli {

Result<BoneMap> loadMapFile(const std::string& path, const Figure& performer, const Figure& character, Issues* issues) {
  const auto bytes = readBytes(path);
  if (!bytes) return bytes.error();
  return readMapFile(std::string_view(reinterpret_cast<const char*>(bytes->data()), bytes->size()), path, performer, character, issues);
}

namespace {

std::string keysText(const Skeleton& skeleton, const RoleJoints& role) {
  std::string text;
  for (int joint : role.joints) text += (text.empty() ? "" : " > ") + jointKey(skeleton, joint);
  return text.empty() ? "-" : text;
}

std::string mark(const RoleJoints& role) { return !role.empty() && role.confidence < doubtfulBelow ? " ?" : ""; }

Json sideJson(const Skeleton& skeleton, const RoleJoints& role) {
  Json keys = Json::array();
  for (int joint : role.joints) keys.push_back(jointKey(skeleton, joint));
  return {{"joints", keys}, {"confidence", role.confidence}, {"doubtful", !role.empty() && role.confidence < doubtfulBelow}, {"reason", role.reason}};
}

int run(const Context& context, const Options& options) {
  const std::string out = options.value("out");
  if (const Status s = checkOutput(out, {options.value("performer"), options.value("character")}); !s) return fail(context, s.error());
  if (const Status s = checkWritableTarget(out); !s) return fail(context, s.error());
  const auto performerFile = fileReference(options, options.value("performer"), "performer");
  if (!performerFile) return fail(context, performerFile.error());
  const auto characterFile = fileReference(options, options.value("character"), "character");
  if (!characterFile) return fail(context, characterFile.error());
  Issues issues;
  const auto profile = requestedProfile(options, options.value("character"), issues);
  if (!profile) return fail(context, profile.error());
  Take known;
  known.character = *characterFile;
  if (*profile) known = withProfile(known, **profile);
  const auto performer = readReference(*performerFile, context.control);
  if (!performer) return fail(context, performer.error());
  const auto character = readReference(*known.character, context.control);
  if (!character) return fail(context, character.error());
  const Figure& p = **performer;
  const Figure& c = **character;
  MapSettings settings;
  settings.useNames = !options.has("no-names");
  BoneMap map = resolveMap(*known.map, p.skeleton, c.skeleton, &issues);
  map.performer = mapRoles(p, settings);
  const bool mapped = std::any_of(map.character.roles.begin(), map.character.roles.end(), [](const RoleJoints& role) { return !role.empty(); });
  if (!mapped) map.character = mapRoles(c, settings);
  if (context.control.stopped()) return fail(context, RunControl::cancelled());
  if (const Status s = writeBytes(out, writeMapFile(map, p, c)); !s) return fail(context, s.error());

  const auto missingPerformer = missingRequired(map.performer), missingCharacter = missingRequired(map.character);
  const bool complete = missingPerformer.empty() && missingCharacter.empty();
  issues.insert(issues.end(), map.performer.issues.begin(), map.performer.issues.end());
  issues.insert(issues.end(), map.character.issues.begin(), map.character.issues.end());
  if (context.json) {
    Json roles = Json::object();
    for (int r = 0; r < roleCount; ++r) {
      const Role role = roleAt(r);
      if (map.performer.at(role).empty() && map.character.at(role).empty()) continue;
      roles[std::string(roleName(role))] = {{"performer", sideJson(p.skeleton, map.performer.at(role))}, {"character", sideJson(c.skeleton, map.character.at(role))}};
    }
    Json body = {{"ok", complete}, {"exitCode", complete ? exitDone : exitMapping}, {"out", out}, {"roles", roles},
                 {"missing", {{"performer", missingPerformer}, {"character", missingCharacter}}}, {"issues", toJson(issues)}};
    const int printed = printJson(context, textOf(body));
    return printed != exitDone ? printed : complete ? exitDone : exitMapping;
  }
  tell(context, issues);
  std::vector<std::array<std::string, 3>> rows{{"role", "performer", "character"}};
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    const RoleJoints& a = map.performer.at(role);
    const RoleJoints& b = map.character.at(role);
    if (a.empty() && b.empty() && !isRequired(role)) continue;
    rows.push_back({std::string(roleName(role)), keysText(p.skeleton, a) + mark(a), keysText(c.skeleton, b) + mark(b)});
  }
  std::size_t width0 = 0, width1 = 0;
  for (const auto& row : rows) width0 = std::max(width0, row[0].size()), width1 = std::max(width1, std::min<std::size_t>(row[1].size(), 60));
  std::string text;
  for (const auto& row : rows)
    text += row[0] + std::string(width0 + 2 - row[0].size(), ' ') + row[1] +
            std::string(row[1].size() < width1 ? width1 + 2 - row[1].size() : 2, ' ') + row[2] + "\n";
  text += "Written to " + out + ". A question mark is a doubtful choice: check it.\n";
  if (const int printed = print(context, text); printed != exitDone) return printed;
  if (complete) return exitDone;
  std::string names;
  for (const std::string& name : missingPerformer) names += " performer " + name + ",";
  for (const std::string& name : missingCharacter) names += " character " + name + ",";
  names.pop_back();
  return fail(context, makeError(Fault::mapping, "Required roles have no joint:" + names, out, "Fill them in this file by hand, then give it to 'retarget --map'"));
}

}  // namespace

Command mapCommand() {
  Command command;
  command.name = "map";
  command.summary = "finds which bones of both skeletons belong together";
  command.description =
      "Finds the joints that fill each role (the humanoid bones of VRM 1.0) on both skeletons and writes\n"
      "a map file: JSON with \"roles\": { \"leftUpperArm\": { \"performer\": NAME, \"character\": NAME }, ... }.\n"
      "A value is a name, or a list of names for a chain; a path a/b/c where names repeat; #index where\n"
      "a node has no name. Edit it with any text editor. The file is written even where roles are\n"
      "missing (exit code 4), so that they can be filled in.";
  command.options = {{"performer", "FILE", "the captured motion: BVH, glTF 2.0, FBX or Collada", true},
                     {"character", "FILE", "your rigged character: glTF 2.0, FBX, Collada or BVH", true},
                     {"out", "FILE", "the map file to write (.json)", true},
                     profileOption(),
                     {"no-names", "", "ignore joint names: topology and geometry alone"}};
  for (const auto& [prefix, who] : {std::pair{"performer", "the performer's file"}, std::pair{"character", "the character's file"}})
    for (OptionSpec& option : readOverrideOptions(prefix, who)) command.options.push_back(std::move(option));
  command.run = run;
  return command;
}

}  // namespace understudy::cli
