#include "app/command/repair_editing.h"

#include <algorithm>
#include <charconv>

#include "app/command/json_text.h"
#include "app/command/repair_state.h"
#include "app/command/take_request.h"
#include "core/take/edits.h"

namespace understudy::cli {

Result<ItemName> parseItemName(const std::string& text) {
  ItemName name;
  const std::size_t colon = text.find(':');
  if (colon != std::string::npos) name.list = text.substr(0, colon);
  const std::string number = text.substr(colon == std::string::npos ? 0 : colon + 1);
  const auto [stop, error] = std::from_chars(number.data(), number.data() + number.size(), name.id);
  const bool known = name.list.empty() || name.list == "prop" || name.list == "object" || name.list == "lock";
  if (!known || error != std::errc{} || stop != number.data() + number.size())
    return makeError(Fault::usage, "'" + text + "' is no number of a repair", {}, "Give 7, prop:1, object:1 or lock:1; 'repair list' tells them");
  return name;
}

Issue missing(const OpenReel& open, const ItemName& name) {
  return makeError(Fault::usage, "There is no " + (name.list.empty() ? std::string("repair ") : name.list + " ") + std::to_string(name.id), open.path,
                   "'repair list' tells what there is");
}

/// Errors of values given on the command line or in a file of them are mistakes of the request.
Issue asRequest(Issue issue) {
  issue.fault = Fault::usage;
  return issue;
}

Result<std::vector<ItemName>> parseItemNames(const std::string& text) {
  std::vector<ItemName> names;
  for (std::size_t begin = 0; begin <= text.size();) {
    const std::size_t comma = std::min(text.find(',', begin), text.size());
    auto name = parseItemName(text.substr(begin, comma - begin));
    if (!name) return name.error();
    names.push_back(std::move(*name));
    begin = comma + 1;
  }
  return names;
}

Result<Editing> beginEditing(OpenReel open, const RunControl& control) {
  Editing editing;
  editing.open = std::move(open);
  editing.take = editing.open.take();
  editing.issues = editing.open.issues;
  auto shown = showTake(editing.take, control);
  if (!shown) return shown.error();
  editing.shown = std::move(*shown);
  return editing;
}

Status evaluateAgain(Editing& editing, const RunControl& control) {
  auto evaluated = evaluate(editing.take, editing.shown.sources, &editing.shown.cache, control);
  if (!evaluated) return evaluated.error();
  if (!evaluated->context) {
    for (const Issue& issue : evaluated->issues)
      if (issue.severity == Severity::error) return issue;
    return makeError(Fault::input, "The take cannot be evaluated", editing.take.name);
  }
  editing.shown.evaluated = std::move(*evaluated);
  return Done{};
}

namespace {

/// "nudge 3 'chin', 40", "prop:1 'broom'"
std::string nameOf(const Editing& editing, const std::string& name) {
  const auto quoted = [](const std::string& text) { return text.empty() ? std::string() : " '" + text + "'"; };
  for (const Node<Nudge>& nudge : *editing.take.nudges)
    if (std::to_string(nudge->id) == name)
      return "nudge " + name + quoted(nudge->name) + ", " + std::to_string(editing.shown.numbers.shown(nudgeFrames(*nudge, editing.shown.numbers.rate).frame));
  for (const PropItem& prop : *editing.take.props)
    if (ItemName{"prop", prop.id}.text() == name) return name + quoted(prop.name);
  for (const SetItem& item : *editing.take.set)
    if (ItemName{"object", item.id}.text() == name) return name + quoted(item.name);
  return name;
}

}  // namespace

int finishEditing(const Context& context, Editing& editing, const char* verb) {
  Issues problems;
  auto refit = refitted(editing.take, editing.shown.sources, &editing.shown.cache, &problems, part(context.control, 0.5, 0.8));
  if (!refit) return fail(context, refit.error());
  for (const Issue& problem : problems)
    for (const std::uint64_t id : editing.touched)
      if (const Repair* repair = findRepair(editing.take, id); repair && problem.where == describe(*repair)) return fail(context, asRequest(problem));
  editing.issues.insert(editing.issues.end(), problems.begin(), problems.end());
  editing.take = std::move(*refit);
  if (const Status s = evaluateAgain(editing, part(context.control, 0.8, 1)); !s) return fail(context, s.error());
  for (const Issue& issue : editing.shown.evaluated.issues)
    for (const std::uint64_t id : editing.touched)
      if (const Repair* repair = findRepair(editing.take, id); repair && issue.where == describe(*repair)) editing.issues.push_back(issue);
  if (context.control.stopped()) return fail(context, RunControl::cancelled());
  const auto saved = saveTake(editing.open, editing.take);
  if (!saved) return fail(context, saved.error());

  std::vector<RepairState> states = repairStates(editing.take, editing.shown.evaluated, editing.shown.numbers);
  std::erase_if(states, [&](const RepairState& s) { return std::find(editing.touched.begin(), editing.touched.end(), s.repair->id) == editing.touched.end(); });
  if (context.json) {
    Json body = {{"ok", true}, {"reel", editing.open.path}, {verb, editing.named}, {"saved", *saved}};
    body["repairs"] = Json::array();
    for (const RepairState& state : states) body["repairs"].push_back(toJson(state, editing.shown.numbers, false));
    body["issues"] = toJson(editing.issues);
    return printJson(context, textOf(body));
  }
  tell(context, editing.issues);
  std::string text;
  for (const std::string& name : editing.named) {
    const auto state = std::find_if(states.begin(), states.end(), [&](const RepairState& s) { return std::to_string(s.repair->id) == name; });
    text += std::string(verb) + " ";
    if (state == states.end())
      text += nameOf(editing, name) + "\n";
    else
      text += describe(*state->repair) + (state->repair->span ? ", " + textOf(state->frames) : "") + ": " + describeMiss(*state) + "\n";
  }
  if (!*saved) text += "nothing has changed\n";
  return print(context, text);
}

}  // namespace understudy::cli
