// understudy-cli repair: what a take's repairs are, and the actions that only read or make reels.
#include <cstdio>
#include <filesystem>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "app/command/repair_actions.h"
#include "app/command/repair_fields.h"
#include "app/command/repair_state.h"
#include "app/command/take_request.h"
#include "core/repair/fields.h"
#include "core/store/reel_file.h"
#include "core/store/repair_json.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;

int runNew(const Context& context, const Options& options) {
  const std::string path = options.arguments().front();
  std::error_code error;
  if (const Status s = checkOutput(path, inputsOf(options)); !s) return fail(context, s.error());
  if (const Status s = checkWritableTarget(path); !s) return fail(context, s.error());
  if (fs::exists(path, error))
    return fail(context, makeError(Fault::usage, "There is something of this name already", path, "Choose another name, or remove it first: reels are not written over"));
  auto request = takeRequest(options);
  if (!request) return fail(context, request.error());
  Take take = std::move(*request);
  Issues more;
  const auto sources = readRequest(options, take, more, part(context.control, 0, 0.5));
  if (!sources) return fail(context, sources.error());
  const auto evaluated = evaluate(take, *sources, nullptr, part(context.control, 0.5, 1));
  if (!evaluated) return fail(context, evaluated.error());
  if (const Status s = checkRequest(options, take, *evaluated); !s) return fail(context, s.error());
  if (!evaluated->context)
    for (const Issue& issue : evaluated->issues)
      if (issue.severity == Severity::error) return fail(context, issue);
  if (!options.has("map") && evaluated->map) take = setMap(take, *evaluated->map, sources->performer->skeleton, sources->character->skeleton);
  FileReference performer = *take.performer, character = *take.character;
  performer.contentHash = contentHash(performer.path);
  character.contentHash = contentHash(character.path);
  take.performer = std::move(performer);
  take.character = std::move(character);
  Reel reel;
  reel.takes.emplace_back(take);
  if (const Status s = saveReel(reel, path); !s) return fail(context, s.error());
  more.insert(more.end(), evaluated->issues.begin(), evaluated->issues.end());
  if (context.json)
    return printJson(context, textOf(Json{{"ok", true}, {"reel", path}, {"frames", evaluated->frames}, {"clipFrames", evaluated->clipFrames},
                                          {"rate", {{"hertz", evaluated->rate.hertz()}, {"exact", evaluated->rate.spelling()}}}, {"issues", toJson(more)}}));
  tell(context, more);
  return print(context, path + "\n  one take, " + std::to_string(evaluated->frames) + " frames at " + evaluated->rate.text() + " frames/s, no repairs yet\n");
}

/// Frame numbers without the character, or nothing where the performer cannot be read either.
std::optional<FrameNumbers> numbersOf(const Take& take, const RunControl& control, Issues& issues) {
  Sources sources;
  auto performer = readReference(*take.performer, control);
  if (!performer) {
    issues.push_back(makeWarning("Its frames cannot be told, only its times: " + performer.error().what, performer.error().where));
    return std::nullopt;
  }
  sources.performer = *performer;
  const auto evaluated = evaluate(take, sources, nullptr, control);
  if (!evaluated) {
    issues.push_back(makeWarning("Its frames cannot be told, only its times: " + evaluated.error().what, evaluated.error().where));
    return std::nullopt;
  }
  return frameNumbers(take, *evaluated);
}

std::string flags(bool muted, bool solo, bool proposed) {
  std::string text;
  for (const auto& [is, name] : {std::pair{muted, "muted"}, std::pair{solo, "solo"}, std::pair{proposed, "proposed"}})
    if (is) text += (text.empty() ? "" : ", ") + std::string(name);
  return text;
}

std::string column(std::string text, std::size_t width) {
  // Letters beyond ASCII take several bytes.
  std::size_t letters = 0;
  for (const char c : text) letters += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  text.append(letters < width ? width - letters : 1, ' ');  // what is longer stays apart from the next
  return text;
}

int runList(const Context& context, const Options& options) {
  auto open = openReel(options);
  if (!open) return fail(context, open.error());
  const Take& take = open->take();
  Issues issues = open->issues;
  const std::optional<FrameNumbers> numbers = numbersOf(take, context.control, issues);
  if (context.control.stopped()) return fail(context, RunControl::cancelled());

  if (context.json) {
    Json body = {{"ok", true}, {"reel", open->path}, {"take", {{"number", open->index + 1}, {"name", take.name}}}, {"takes", open->reel.takes.size()},
                 {"performer", take.performer->path}, {"character", take.character->path}};
    if (numbers) {
      body["clipFrames"] = numbers->frames;
      body["firstClipFrame"] = numbers->first;
      body["rate"] = {{"hertz", numbers->rate.hertz()}, {"exact", numbers->rate.spelling()}};
    }
    Json frames = Json::object();
    body["repairs"] = Json::array();
    for (const auto& repair : *take.repairs) {
      body["repairs"].push_back(Json::parse(writeRepair(*repair)));
      if (!numbers) continue;
      const FrameRange range = numbers->shown(repairFrames(*repair, numbers->rate, numbers->frames).span);
      frames[std::to_string(repair->id)] = Json::array({range.first, range.last});
    }
    body["nudges"] = Json::array();
    for (const auto& nudge : *take.nudges) {
      body["nudges"].push_back(nudgeJson(*nudge));
      if (numbers) frames[std::to_string(nudge->id)] = Json::array({numbers->shown(nudgeFrames(*nudge, numbers->rate).frame), numbers->shown(nudgeFrames(*nudge, numbers->rate).frame)});
    }
    body["props"] = Json::array();
    for (const PropItem& prop : *take.props) body["props"].push_back(Json::parse(writeProp(prop)));
    body["set"] = Json::array();
    for (const SetItem& item : *take.set) body["set"].push_back(Json::parse(writeSetItem(item)));
    body["locks"] = Json::array();
    for (const Lock& lock : *take.locks) body["locks"].push_back(Json::parse(writeLock(lock)));
    body["waved"] = take.waved;
    body["frames"] = std::move(frames);
    body["issues"] = toJson(issues);
    return printJson(context, textOf(body));
  }
  tell(context, issues);
  std::string text = open->path + ", take " + std::to_string(open->index + 1) + (take.name.empty() ? "" : " '" + take.name + "'") + " of " +
                     std::to_string(open->reel.takes.size()) + "\n";
  const auto row = [&](const std::string& id, const std::string& kind, const std::string& name, const std::string& frames, const std::string& more) {
    std::string line = "  " + column(id, 10) + column(kind, 12) + column(name, 26) + column(frames, 14) + more;
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  };
  const auto seconds = [](double s) {
    char number[32];
    std::snprintf(number, sizeof number, "%.2f s", s);
    return std::string(number);
  };
  if (!take.repairs->empty() || !take.nudges->empty()) row("number", "kind", "name", "frames", "");
  for (const auto& repair : *take.repairs) {
    std::string frames = "all";
    if (repair->span && numbers) {
      const FrameSpan span = repairFrames(*repair, numbers->rate, numbers->frames).span;
      frames = span.empty() ? "none" : textOf(numbers->shown(span));
    } else if (repair->span) {
      frames = seconds(repair->span->first) + ":" + seconds(repair->span->last);
    }
    std::string more = flags(repair->muted, repair->solo, repair->proposed);
    if (repair->weight < 1) {
      char weight[48];
      std::snprintf(weight, sizeof weight, "%sweight %.4g", more.empty() ? "" : ", ", repair->weight);
      more += weight;
    }
    row(std::to_string(repair->id), repair->kind(), repair->name, frames, more);
  }
  for (const auto& nudge : *take.nudges)
    row(std::to_string(nudge->id), nudge->late ? "late nudge" : "nudge", nudge->name,
        numbers ? std::to_string(numbers->shown(nudgeFrames(*nudge, numbers->rate).frame)) : seconds(nudge->time), flags(nudge->muted, nudge->solo, false));
  for (const PropItem& prop : *take.props) row("prop:" + std::to_string(prop.id), "prop", prop.name, "", prop.path.empty() ? "a plain shaft" : prop.path);
  for (const SetItem& item : *take.set) row("object:" + std::to_string(item.id), namesOf(item.kind)[static_cast<std::size_t>(item.kind)], item.name, "", item.path);
  for (std::size_t i = 0; i < take.locks->size(); ++i) {
    const Lock& lock = (*take.locks)[i];
    std::string bones;
    for (const std::string& bone : lock.bones) bones += (bones.empty() ? "" : ", ") + bone;
    Repair as;
    as.span = lock.span;
    row("lock:" + std::to_string(i + 1), "lock", bones.empty() ? "all bones" : bones,
        !lock.span ? "all" : numbers ? textOf(numbers->shown(repairFrames(as, numbers->rate, numbers->frames).span)) : seconds(lock.span->first) + ":" + seconds(lock.span->last), "");
  }
  if (take.repairs->empty() && take.nudges->empty()) text += "  no repairs\n";
  return print(context, text);
}

int runSchema(const Context& context, const Options&) { return print(context, repairSchema()); }

}  // namespace

Command repairNewAction() {
  Command command;
  command.name = "new";
  command.summary = "makes a reel of one take, to add repairs to";
  command.description =
      "Reads the performer's clip and the character, maps the bones (or takes a map file) and saves a reel\n"
      "without repairs. 'retarget --save-reel' makes the same. A file of that name is never written over.";
  command.arguments = {{"REEL", "the reel to make (.reel)"}};
  command.options = takeOptions();
  for (OptionSpec& option : matchOptions()) command.options.push_back(std::move(option));
  command.run = runNew;
  return command;
}

Command repairListAction() {
  Command command;
  command.name = "list";
  command.summary = "tells a take's repairs, props, set objects and locks";
  command.description =
      "With --json the lists hold what the reel holds, in seconds, metres and radians ('repair schema' describes\n"
      "it), and 'frames' the frames of each by its number. 'repair add --from' reads such lists, so that repairs\n"
      "are copied to another take or reel.";
  command.arguments = {{"REEL", "the reel"}};
  command.options = {takeOption()};
  command.run = runList;
  return command;
}

Command repairSchemaAction() {
  Command command;
  command.name = "schema";
  command.summary = "prints the JSON Schema of a repair";
  command.description = "JSON Schema (draft 2020-12) of the entries of 'repairs' in reels, in 'repair list --json' and in what\n'repair add --from' reads.";
  command.run = runSchema;
  return command;
}

Command repairCommand() {
  Command command;
  command.name = "repair";
  command.summary = "lists, adds, changes and removes the repairs of a reel";
  command.description =
      "A repair is one correction that can be changed or removed at any time: the motion as it was captured stays.\n"
      "Repairs live in a reel, the document the editor opens too; 'repair new' or 'retarget --save-reel' makes one.\n"
      "Frames are the numbers of the exported frames, both ends included; they count from 1 unless the take says\n"
      "otherwise. Files hold seconds, metres and radians.\n"
      "An action that fails leaves the reel as it was.";
  command.actions = {repairNewAction(),  repairListAction(),   repairAddAction(),      repairChangeAction(), repairCopyAction(),
                     repairRemoveAction(), repairEvaluateAction(), repairExportAction(), repairSchemaAction()};
  return command;
}

}  // namespace understudy::cli
