// understudy-cli repair add, change, remove: edits of a take, checked before they are saved.
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <iterator>

#include "app/command/json_text.h"
#include "app/command/repair_actions.h"
#include "app/command/repair_editing.h"
#include "app/command/repair_fields.h"
#include "app/command/repair_state.h"
#include "app/command/take_request.h"
#include "core/evaluate/check.h"
#include "core/evaluate/props.h"
#include "core/io/read.h"
#include "core/repair/grip.h"
#include "core/repair/transform.h"
#include "core/store/repair_json.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;



template <class T>
Status knownFields(const T& item, const std::string& file, const std::string& place) {
  if (item.unknown.empty()) return Done{};
  const Json unknown = Json::parse(item.unknown, nullptr, false);
  const std::string name = unknown.is_object() && !unknown.empty() ? unknown.begin().key() : std::string("?");
  return makeError(Fault::usage, "The field '" + name + "'" + (place.empty() ? "" : " of " + place) + " is not known", file, "'repair schema' tells what there is");
}


Status usePath(std::string& path, const std::string& what) {
  if (path.empty()) return Done{};
  std::error_code error;
  if (!fs::is_regular_file(path, error)) return makeError(Fault::input, "The " + what + "'s file is not there", path, "Give the path of a file");
  path = fs::absolute(path, error).lexically_normal().string();
  return Done{};
}

Status checkLock(const Lock& lock, const Editing& editing) {
  Repair as;
  RestoreRepair bones;
  bones.bones = lock.bones;
  as.action = bones;
  as.span = lock.span;
  Issues wrong = checkRepair(as, {}, *editing.shown.evaluated.context, editing.shown.numbers.first);
  if (wrong.empty()) return Done{};
  wrong.front().where = "lock";
  return wrong.front();
}

Result<std::vector<Json>> listsOf(const std::string& path) {
  std::string text;
  if (path == "-") {
    text.assign(std::istreambuf_iterator<char>(std::cin), {});
  } else {
    const auto bytes = readBytes(path);
    if (!bytes) return bytes.error();
    text.assign(bytes->begin(), bytes->end());
  }
  const std::string file = path == "-" ? "the standard input" : path;
  const Json json = Json::parse(text, nullptr, false);
  if (json.is_discarded()) return makeError(Fault::input, "This is not JSON", file, "'repair schema' describes what is read");
  std::vector<Json> items;
  const auto take = [&](const Json& list, const char* kind) -> Status {
    if (!list.is_array()) return makeError(Fault::input, "A list is expected", file, "'repair list --json' shows how they look");
    for (Json item : list) {
      if (!item.is_object()) return makeError(Fault::input, "A repair is a JSON object", file, "'repair schema' describes it");
      item.erase("item");
      if (kind) item["item"] = kind;
      items.push_back(std::move(item));
    }
    return Done{};
  };
  Status done = Done{};
  if (json.is_object() && !json.contains("kind")) {
    bool any = false;
    for (const auto& [key, kind] : {std::pair{"props", "prop"}, std::pair{"set", "object"}, std::pair{"locks", "lock"}, std::pair<const char*, const char*>{"repairs", nullptr},
                                    std::pair<const char*, const char*>{"nudges", nullptr}}) {
      if (!json.contains(key)) continue;
      any = true;
      if (done = take(json[key], kind); !done) return done.error();
    }
    if (!any) return makeError(Fault::input, "'kind' is missing, and there are no 'repairs'", file, "'repair schema' describes a repair");
  } else if (done = take(json.is_array() ? json : Json::array({json}), nullptr); !done) {
    return done.error();
  }
  return items;
}

/// Adds one item. `propIds` tells which numbers the props of the same request have got.
Status addItem(Editing& editing, Json json, const std::string& file, const std::string& place, std::map<std::uint64_t, std::uint64_t>& propIds, bool fromFile) {
  std::string kind = json.value("item", std::string());
  json.erase("item");
  if (kind.empty()) {
    if (!json.contains("kind") || !json["kind"].is_string()) return makeError(Fault::usage, "'kind' is missing", file, "Say what kind of repair it is");
    auto known = itemKind(json["kind"].get<std::string>());
    if (!known) return known.error();
    kind = *known;
    json["kind"] = kind;
  }
  const RepairContext& context = *editing.shown.evaluated.context;
  const int first = editing.shown.numbers.first;
  if (kind == "prop") {
    json.erase("kind");
    auto prop = readProp(json.dump(), file, place);
    if (!prop) return asRequest(prop.error());
    if (const Status s = knownFields(*prop, file, place); !s) return s;
    if (const Status s = usePath(prop->path, "prop"); !s) return s;
    for (const PropHolder& holder : prop->holders)
      if (!holder.bone.empty())
        if (const auto joint = findBone(context, holder.bone); !joint) return asRequest(joint.error());
    std::vector<PropItem> props = *editing.take.props;
    const std::uint64_t asked = prop->id;
    if (prop->id == 0 || std::any_of(props.begin(), props.end(), [&](const PropItem& p) { return p.id == asked; })) prop->id = freeId(props);
    propIds[asked] = prop->id;
    if (prop->name.empty()) prop->name = prop->path.empty() ? "shaft" : fs::path(prop->path).stem().string();
    auto ready = makeProp(std::move(*prop), context.figure, context.height);
    if (!ready) return ready.error();
    prop = std::move(ready);
    editing.named.push_back(ItemName{"prop", prop->id}.text());
    props.push_back(std::move(*prop));
    editing.take = setProps(editing.take, std::move(props));
    return Done{};
  }
  if (kind == "object") {
    if (!fromFile && json.value("kind", Json()) == "object") json.erase("kind");
    auto item = readSetItem(json.dump(), file, place);
    if (!item) return asRequest(item.error());
    if (const Status s = knownFields(*item, file, place); !s) return s;
    if (item->kind == SetKind::mesh && item->path.empty()) return makeError(Fault::usage, "A mesh of the set needs its file", file, "Give its path");
    if (const Status s = usePath(item->path, "set object"); !s) return s;
    if (!(item->size.x > 0 && item->size.y >= 0 && item->size.z >= 0)) return makeError(Fault::usage, "A set object has a size above 0", file, "Correct its size");
    std::vector<SetItem> set = *editing.take.set;
    if (item->id == 0 || std::any_of(set.begin(), set.end(), [&](const SetItem& s) { return s.id == item->id; })) item->id = freeId(set);
    if (item->name.empty()) item->name = "object " + std::to_string(item->id);
    if (std::any_of(set.begin(), set.end(), [&](const SetItem& s) { return s.name == item->name; }))
      return makeError(Fault::usage, "There is a set object '" + item->name + "' already", file, "Touches find set objects by name: choose another one");
    editing.named.push_back(ItemName{"object", item->id}.text());
    set.push_back(std::move(*item));
    editing.take = setSet(editing.take, std::move(set));
    return Done{};
  }
  if (kind == "lock") {
    json.erase("kind");
    auto lock = readLock(json.dump(), file, place);
    if (!lock) return asRequest(lock.error());
    if (const Status s = checkLock(*lock, editing); !s) return s;
    std::vector<Lock> locks = *editing.take.locks;
    locks.push_back(std::move(*lock));
    editing.named.push_back(ItemName{"lock", locks.size()}.text());
    editing.take = setLocks(editing.take, std::move(locks));
    return Done{};
  }
  if (kind == "nudge") {
    auto nudge = readNudgeJson(json, file, place);
    if (!nudge) return asRequest(nudge.error());
    if (const Status s = knownFields(*nudge, file, place); !s) return s;
    if (const Issues wrong = checkNudge(*nudge, context, first); !wrong.empty()) return wrong.front();
    std::uint64_t id = 0;
    editing.take = addNudge(editing.take, std::move(*nudge), &id);
    editing.named.push_back(std::to_string(id));
    return Done{};
  }
  if (const auto prop = json.find("prop"); prop != json.end() && prop->is_number_unsigned())
    if (const auto now = propIds.find(prop->get<std::uint64_t>()); now != propIds.end() && now->first != 0) *prop = now->second;
  auto repair = readRepair(json.dump(), file, place);
  if (!repair) return asRequest(repair.error());
  if (const Status s = knownFields(*repair, file, place); !s) return s;
  std::uint64_t id = 0;
  const Take with = addRepair(editing.take, std::move(*repair), &id);
  if (const Issues wrong = checkRepair(*findRepair(with, id), *with.repairs, context, first); !wrong.empty()) return wrong.front();
  editing.take = with;
  editing.touched.push_back(id);
  editing.named.push_back(std::to_string(id));
  return Done{};
}


int runAdd(const Context& context, const Options& options) {
  std::vector<Json> items;
  std::string file, kind;
  if (options.has("from")) {
    for (const OptionSpec& option : itemOptions())
      if (options.has(option.name) || options.has("kind"))
        return fail(context, makeError(Fault::usage, "--from takes all from its file, and no --" + (options.has("kind") ? "kind" : option.name)));
    auto lists = listsOf(options.value("from"));
    if (!lists) return fail(context, lists.error());
    items = std::move(*lists);
    file = options.value("from") == "-" ? "the standard input" : options.value("from");
    if (items.empty()) return fail(context, makeError(Fault::input, "There is nothing to add in it", file));
  } else {
    if (!options.has("kind")) return fail(context, makeError(Fault::usage, "--kind KIND is missing, or --from FILE"));
    auto known = itemKind(options.value("kind"));
    if (!known) return fail(context, known.error());
    kind = *known;
  }
  auto open = openReel(options);
  if (!open) return fail(context, open.error());
  auto editing = beginEditing(std::move(*open), part(context.control, 0, 0.5));
  if (!editing) return fail(context, editing.error());
  if (!kind.empty()) {
    auto json = itemFields(kind, options, editing->shown.numbers);
    if (!json) return fail(context, json.error());
    for (const char* name : {"rotate", "move"})
      if (json->contains(name)) return fail(context, makeError(Fault::usage, std::string("--") + name + " needs --bones"));
    if (kind == "prop" || kind == "object" || kind == "lock")
      (*json)["item"] = kind;
    else
      (*json)["kind"] = kind;
    items.push_back(std::move(*json));
  }
  std::map<std::uint64_t, std::uint64_t> propIds;
  // What repairs refer to comes first, and is known to the context before they are checked.
  const auto isPart = [](const Json& item) {
    const std::string what = item.contains("item") ? item["item"].get<std::string>() : item.contains("kind") && item["kind"].is_string() ? item["kind"].get<std::string>() : "";
    return what == "prop" || what == "object" || what == "lock";
  };
  const auto middle = std::stable_partition(items.begin(), items.end(), isPart);
  const auto addAll = [&](auto begin, auto end) -> Status {
    for (auto item = begin; item != end; ++item)
      if (Status s = addItem(*editing, *item, file, items.size() > 1 ? "item " + std::to_string(item - items.begin() + 1) : "", propIds, kind.empty()); !s) return s;
    return Done{};
  };
  if (const Status s = addAll(items.begin(), middle); !s) return fail(context, s.error());
  if (middle != items.begin())
    if (const Status s = evaluateAgain(*editing, part(context.control, 0.45, 0.5)); !s) return fail(context, s.error());
  if (const Status s = addAll(middle, items.end()); !s) return fail(context, s.error());
  return finishEditing(context, *editing, "added");
}

/// A turn or move without bones is meant for those the repair has.
void applyTurns(Json& json, const Json& stored) {
  for (const auto& [name, field] : {std::pair{"rotate", "rotation"}, std::pair{"move", "translation"}}) {
    if (!json.contains(name)) continue;
    if (!json.contains("bones")) json["bones"] = stored.value("bones", Json::array());
    for (Json& bone : json["bones"]) bone[field] = json[name];
    json.erase(name);
  }
}

int runChange(const Context& context, const Options& options) {
  const auto name = parseItemName(options.arguments()[1]);
  if (!name) return fail(context, name.error());
  const auto shift = options.integer("shift", 0);
  if (!shift) return fail(context, shift.error());
  const auto order = options.integer("order", 1);
  if (!order) return fail(context, order.error());
  if (*order < 1) return fail(context, makeError(Fault::usage, "--order counts from 1"));
  auto opened = openReel(options);
  if (!opened) return fail(context, opened.error());
  const Take before = opened->take();
  const std::size_t index = static_cast<std::size_t>(name->id) - 1;

  // What it is and how it is stored now.
  std::string kind = name->list;
  Json stored;
  if (name->list.empty()) {
    if (const Repair* repair = findRepair(before, name->id)) {
      kind = repair->kind();
      stored = Json::parse(writeRepair(*repair));
    } else if (const Nudge* nudge = findNudge(before, name->id)) {
      kind = "nudge";
      stored = nudgeJson(*nudge);
    }
  } else if (name->list == "prop") {
    for (const PropItem& prop : *before.props)
      if (prop.id == name->id) stored = Json::parse(writeProp(prop));
  } else if (name->list == "object") {
    for (const SetItem& item : *before.set)
      if (item.id == name->id) stored = Json::parse(writeSetItem(item));
  } else if (name->id >= 1 && index < before.locks->size()) {
    stored = Json::parse(writeLock((*before.locks)[index]));
  }
  if (stored.is_null()) return fail(context, missing(*opened, *name));

  auto editing = beginEditing(std::move(*opened), part(context.control, 0, 0.5));
  if (!editing) return fail(context, editing.error());
  auto json = itemFields(kind, options, editing->shown.numbers);
  if (!json) return fail(context, json.error());
  if (json->empty() && *shift == 0 && !options.has("order"))
    return fail(context, makeError(Fault::usage, "There is nothing to change", {}, "Give what is to be different; 'repair change --help' lists all"));
  if (options.has("order") && !name->list.empty()) return fail(context, makeError(Fault::usage, "Only repairs and nudges have an --order"));
  applyTurns(*json, stored);
  const double later = editing->shown.numbers.rate.seconds(*shift);
  if (*shift != 0 && !name->list.empty()) return fail(context, makeError(Fault::usage, "Only repairs and nudges are moved by --shift"));
  const RepairContext& bodies = *editing->shown.evaluated.context;
  const int first = editing->shown.numbers.first;
  const std::string where;
  Take& take = editing->take;
  if (kind == "prop") {
    std::vector<PropItem> props = *take.props;
    for (PropItem& prop : props) {
      if (prop.id != name->id) continue;
      auto changed = readProp(json->dump(), where, "", nullptr, &prop);
      if (!changed) return fail(context, asRequest(changed.error()));
      if (json->contains("path"))
        if (const Status s = usePath(changed->path, "prop"); !s) return fail(context, s.error());
      const auto given = [&](std::initializer_list<const char*> keys) { return std::any_of(keys.begin(), keys.end(), [&](const char* key) { return json->contains(key); }); };
      // Another shape is held elsewhere, unless it is said where.
      if (given({"path", "node", "scale", "length", "radius"}) && !given({"leadGrip", "supportGrip", "gripped"})) changed->gripped = false;
      changed = makeProp(std::move(*changed), bodies.figure, bodies.height);
      if (!changed) return fail(context, changed.error());
      prop = std::move(*changed);
    }
    take = setProps(take, std::move(props));
  } else if (kind == "object") {
    std::vector<SetItem> set = *take.set;
    for (SetItem& item : set) {
      if (item.id != name->id) continue;
      auto changed = readSetItem(json->dump(), where, "", nullptr, &item);
      if (!changed) return fail(context, asRequest(changed.error()));
      if (json->contains("path"))
        if (const Status s = usePath(changed->path, "set object"); !s) return fail(context, s.error());
      item = std::move(*changed);
    }
    take = setSet(take, std::move(set));
  } else if (kind == "lock") {
    stored.update(*json);
    auto lock = readLock(stored.dump(), where, "");
    if (!lock) return fail(context, asRequest(lock.error()));
    if (const Status s = checkLock(*lock, *editing); !s) return fail(context, s.error());
    std::vector<Lock> locks = *take.locks;
    locks[index] = std::move(*lock);
    take = setLocks(take, std::move(locks));
  } else if (kind == "nudge") {
    auto nudge = readNudgeJson(*json, where, "", findNudge(take, name->id));
    if (!nudge) return fail(context, asRequest(nudge.error()));
    if (*shift != 0) nudge = movedInTime(*nudge, later);
    if (const Issues wrong = checkNudge(*nudge, bodies, first); !wrong.empty()) return fail(context, wrong.front());
    take = changeNudge(take, std::move(*nudge));
    if (options.has("order")) take = reorderNudge(take, name->id, *order - 1);
  } else {
    const Repair* old = findRepair(take, name->id);
    auto repair = readRepair(json->dump(), where, "", nullptr, old);
    if (!repair) return fail(context, asRequest(repair.error()));
    *repair = ledAsChosen(*old, std::move(*repair));
    if (*shift != 0) repair = movedInTime(*repair, later);
    // Muting a proposal does not make it the artist's own.
    Repair silent = *repair;
    silent.muted = old->muted;
    silent.solo = old->solo;
    if (!(silent == *old)) repair->proposed = false;
    if (const Issues wrong = checkRepair(*repair, *take.repairs, bodies, first); !wrong.empty()) return fail(context, wrong.front());
    take = changeRepair(take, std::move(*repair));
    if (options.has("order")) take = reorderRepair(take, name->id, *order - 1);
    editing->touched.push_back(name->id);
  }
  editing->named.push_back(name->text());
  return finishEditing(context, *editing, "changed");
}

int runRemove(const Context& context, const Options& options) {
  auto open = openReel(options);
  if (!open) return fail(context, open.error());
  auto asked = parseItemNames(options.arguments()[1]);
  if (!asked) return fail(context, asked.error());
  std::vector<ItemName> names = std::move(*asked);
  // Locks have no numbers of their own: the last ones go first.
  std::sort(names.begin(), names.end(), [](const ItemName& a, const ItemName& b) { return std::pair(a.list, b.id) < std::pair(b.list, a.id); });
  Take take = open->take();
  Json removed = Json::array();
  for (const ItemName& name : names) {
    const Take old = take;
    if (name.list.empty()) {
      take = findRepair(take, name.id) ? removeRepair(take, name.id) : removeNudge(take, name.id);
    } else if (name.list == "prop") {
      std::vector<PropItem> props = *take.props;
      std::erase_if(props, [&](const PropItem& p) { return p.id == name.id; });
      take = setProps(take, std::move(props));
    } else if (name.list == "object") {
      std::vector<SetItem> set = *take.set;
      std::erase_if(set, [&](const SetItem& s) { return s.id == name.id; });
      take = setSet(take, std::move(set));
    } else if (name.id >= 1 && name.id <= take.locks->size()) {
      std::vector<Lock> locks = *take.locks;
      locks.erase(locks.begin() + static_cast<std::ptrdiff_t>(name.id - 1));
      take = setLocks(take, std::move(locks));
    }
    if (take == old) return fail(context, missing(*open, name));
    removed.push_back(name.text());
  }
  // A repair must not be left without what it refers to.
  for (const auto& repair : *take.repairs) {
    std::uint64_t prop = 0;
    std::string on;
    if (const auto* grip = std::get_if<GripRepair>(&repair->action)) prop = grip->prop;
    if (const auto* touch = std::get_if<TouchRepair>(&repair->action)) {
      prop = touch->prop;
      if (touch->target == TouchTarget::set || touch->target == TouchTarget::prop) on = touch->on;
    }
    for (const PropItem& gone : *open->take().props)
      if ((gone.id == prop || (!on.empty() && gone.name == on)) && std::find(take.props->begin(), take.props->end(), gone) == take.props->end())
        return fail(context, makeError(Fault::usage, "The prop " + std::to_string(gone.id) + " is needed by " + describe(*repair), open->path, "Remove that first, or with it"));
    for (const SetItem& gone : *open->take().set)
      if (!on.empty() && gone.name == on && std::find(take.set->begin(), take.set->end(), gone) == take.set->end())
        return fail(context, makeError(Fault::usage, "The set object " + std::to_string(gone.id) + " is needed by " + describe(*repair), open->path, "Remove that first, or with it"));
  }
  const auto saved = saveTake(*open, take);
  if (!saved) return fail(context, saved.error());
  if (context.json) return printJson(context, textOf(Json{{"ok", true}, {"reel", open->path}, {"removed", removed}, {"saved", *saved}, {"issues", toJson(open->issues)}}));
  tell(context, open->issues);
  std::string text;
  for (const Json& name : removed) text += "removed " + name.get<std::string>() + "\n";
  return print(context, text);
}

constexpr const char* valuesHelp =
    "Frames are the numbers of the exported frames; 0.5s gives a time instead. Angles are degrees (or 0.2rad),\n"
    "lengths metres (or 12mm, 3cm). Bones are roles (@leftHand, @spine/2 for the second of a chain) or the\n"
    "character's own names. JSON values are as the reel holds them: seconds, metres, radians.";

}  // namespace

Command repairAddAction() {
  Command command;
  command.name = "add";
  command.summary = "adds a repair, a nudge, a prop, a set object or a lock";
  std::string kinds = "Kinds:";
  std::size_t width = kinds.size();
  for (const std::string& kind : itemKinds()) {
    if (width + kind.size() > 88) kinds += "\n ", width = 1;
    kinds += " " + kind + (kind == itemKinds().back() ? "" : ",");
    width += kind.size() + 2;
  }
  command.description =
      "Adds one item of a kind with the parameters that are given, or all items of a JSON file. What stands at a\n"
      "place (plant, grip) and is given none takes it from the motion as it is now, and keeps it. The answer tells\n"
      "how far the repair misses what it promises. Nothing is saved where anything is wrong.\n" +
      kinds + "\n\n" + valuesHelp;
  command.arguments = {{"REEL", "the reel"}};
  command.options = {{"kind", "KIND", "what is added"},
                     {"from", "FILE", "add what this JSON file holds: one repair, a list, or lists as of 'repair list --json';\n- reads the standard input"},
                     takeOption()};
  for (OptionSpec& option : itemOptions()) command.options.push_back(std::move(option));
  command.run = runAdd;
  return command;
}

Command repairChangeAction() {
  Command command;
  command.name = "change";
  command.summary = "changes parameters of a repair; mutes, solos, moves it";
  command.description =
      "Changes the parameters that are given and keeps the others. A place (plant, grip) stays where it is;\n"
      "--anchored no takes it from the motion anew. With --lead-left alone both hands stay where they hold the prop.\n"
      "Nothing is saved where anything is wrong.\n\n" + std::string(valuesHelp);
  command.arguments = {{"REEL", "the reel"}, {"ITEM", "7, prop:1, object:1, lock:1: what 'repair list' tells"}};
  command.options = {{"shift", "FRAMES", "move all its times by so many frames; -5 is earlier"},
                     {"order", "N", "move it to this place in the list, counted from 1"},
                     takeOption()};
  for (OptionSpec& option : itemOptions()) command.options.push_back(std::move(option));
  command.run = runChange;
  return command;
}

Command repairRemoveAction() {
  Command command;
  command.name = "remove";
  command.summary = "takes repairs out of the take";
  command.description = "Removes repairs, nudges, props, set objects and locks. What other repairs need is not removed without them.";
  command.arguments = {{"REEL", "the reel"}, {"ITEMS", "7, or several with commas: 7,9,prop:1"}};
  command.options = {takeOption()};
  command.run = runRemove;
  return command;
}

}  // namespace understudy::cli
