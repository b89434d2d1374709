// understudy-cli repair copy: repairs for the other side, a later time, another take or another character.
#include <algorithm>
#include <filesystem>

#include "app/command/json_text.h"
#include "app/command/repair_actions.h"
#include "app/command/repair_editing.h"
#include "app/command/take_request.h"
#include "core/evaluate/check.h"
#include "core/repair/transform.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

namespace fs = std::filesystem;

/// The frame, from 0 in the untrimmed clip, about which a repair or nudge lies.
int middleOf(const Repair& repair, const Evaluated& seen) {
  const FrameSpan span = repairFrames(repair, seen.rate, seen.clipFrames).span;
  return span.empty() ? 0 : (span.first + span.last) / 2;
}

SagittalPlane planeAt(const Evaluated& seen, int frame) {
  return sagittalPlane(*seen.context, seen.motion, std::clamp(frame - seen.trimFirst, 0, std::max(0, seen.frames - 1)));
}

/// The number of the same prop in the other take, which gets a copy of it where it has none.
std::uint64_t propIn(Editing& editing, const Take& from, std::uint64_t id) {
  const auto source = std::find_if(from.props->begin(), from.props->end(), [&](const PropItem& p) { return p.id == id; });
  if (id == 0 || source == from.props->end()) return id;
  std::vector<PropItem> props = *editing.take.props;
  for (const PropItem& prop : props)
    if (prop.name == source->name && prop.path == source->path && prop.node == source->node) return prop.id;
  PropItem copy = *source;
  if (std::any_of(props.begin(), props.end(), [&](const PropItem& p) { return p.id == copy.id; })) copy.id = freeId(props);
  // Its grips were found on another hand.
  copy.gripped = false;
  copy.holders.clear();
  props.push_back(copy);
  editing.take = setProps(editing.take, std::move(props));
  return copy.id;
}

void bringSetObject(Editing& editing, const Take& from, const std::string& name) {
  std::vector<SetItem> set = *editing.take.set;
  if (std::any_of(set.begin(), set.end(), [&](const SetItem& s) { return s.name == name; })) return;
  const auto source = std::find_if(from.set->begin(), from.set->end(), [&](const SetItem& s) { return s.name == name; });
  if (source == from.set->end()) return;
  set.push_back(*source);
  set.back().id = freeId(*editing.take.set);
  editing.take = setSet(editing.take, std::move(set));
}

int run(const Context& context, const Options& options) {
  auto names = parseItemNames(options.arguments()[1]);
  if (!names) return fail(context, names.error());
  for (const ItemName& name : *names)
    if (!name.list.empty()) return fail(context, makeError(Fault::usage, "Only repairs and nudges are copied; props and set objects come along where they are needed"));
  const auto shift = options.integer("shift", 0);
  if (!shift) return fail(context, shift.error());
  const auto toTake = options.integer("to-take", 0);
  if (!toTake) return fail(context, toTake.error());
  auto source = openReel(options);
  if (!source) return fail(context, source.error());
  const std::string targetPath = options.has("to") ? options.value("to") : source->path;
  std::error_code error;
  const bool sameFile = fs::equivalent(targetPath, source->path, error);
  auto target = openReel(targetPath, options.has("to-take") ? *toTake : sameFile ? source->index + 1 : 0);
  if (!target) return fail(context, target.error());
  const bool sameTake = sameFile && target->index == source->index;
  if (sameTake && *shift == 0 && !options.has("mirrored"))
    return fail(context, makeError(Fault::usage, "A copy in the same place does nothing new", {}, "Give --mirrored, --shift, --to or --to-take"));

  auto from = showTake(source->take(), part(context.control, 0, sameTake ? 0.01 : 0.25));
  if (!from) return fail(context, from.error());
  auto editing = beginEditing(std::move(*target), part(context.control, sameTake ? 0.01 : 0.25, 0.5));
  if (!editing) return fail(context, editing.error());
  const Take& old = source->take();
  const RepairContext& here = *from->evaluated.context;
  const double later = editing->shown.numbers.rate.seconds(*shift);
  std::vector<Repair> repairs;
  std::vector<Nudge> nudges;
  for (const ItemName& name : *names) {
    if (const Repair* found = findRepair(old, name.id)) {
      Repair repair = *found;
      repair.proposed = false;
      if (options.has("mirrored")) repair = mirrored(repair, here, planeAt(from->evaluated, middleOf(repair, from->evaluated)), editing->issues);
      if (!sameTake) {
        auto carried = carriedOver(repair, here, *editing->shown.evaluated.context, editing->issues);
        if (!carried) return fail(context, asRequest(carried.error()));
        repair = std::move(*carried);
        if (auto* grip = std::get_if<GripRepair>(&repair.action)) grip->prop = propIn(*editing, old, grip->prop);
        if (auto* touch = std::get_if<TouchRepair>(&repair.action)) {
          touch->prop = propIn(*editing, old, touch->prop);
          if (touch->target == TouchTarget::set) bringSetObject(*editing, old, touch->on);
          if (touch->target == TouchTarget::prop)
            for (const PropItem& prop : *old.props)
              if (prop.name == touch->on) propIn(*editing, old, prop.id);
        }
      }
      if (*shift != 0) {
        repair = movedInTime(repair, later);
        // Where it stood was right at its own time.
        setAnchored(repair, false);
      }
      repairs.push_back(std::move(repair));
    } else if (const Nudge* nudge = findNudge(old, name.id)) {
      Nudge copy = *nudge;
      if (options.has("mirrored")) copy = mirrored(copy, here, planeAt(from->evaluated, nudgeFrames(copy, from->evaluated.rate).frame), editing->issues);
      if (!sameTake) {
        auto carried = carriedOver(copy, here, *editing->shown.evaluated.context, editing->issues);
        if (!carried) return fail(context, asRequest(carried.error()));
        copy = std::move(*carried);
      }
      nudges.push_back(*shift != 0 ? movedInTime(copy, later) : copy);
    } else {
      return fail(context, missing(*source, name));
    }
  }
  // Props and set objects that came along are known before the repairs are checked.
  if (!(editing->take == editing->open.take()))
    if (const Status s = evaluateAgain(*editing, part(context.control, 0.45, 0.5)); !s) return fail(context, s.error());
  const RepairContext& there = *editing->shown.evaluated.context;
  const int first = editing->shown.numbers.first;
  for (Repair& repair : repairs) {
    std::uint64_t id = 0;
    repair.id = 0;
    const Take with = addRepair(editing->take, std::move(repair), &id);
    if (const Issues wrong = checkRepair(*findRepair(with, id), *with.repairs, there, first); !wrong.empty()) return fail(context, wrong.front());
    editing->take = with;
    editing->touched.push_back(id);
    editing->named.push_back(std::to_string(id));
  }
  for (Nudge& nudge : nudges) {
    if (const Issues wrong = checkNudge(nudge, there, first); !wrong.empty()) return fail(context, wrong.front());
    std::uint64_t id = 0;
    nudge.id = 0;
    editing->take = addNudge(editing->take, std::move(nudge), &id);
    editing->named.push_back(std::to_string(id));
  }
  return finishEditing(context, *editing, "added");
}

}  // namespace

Command repairCopyAction() {
  Command command;
  command.name = "copy";
  command.summary = "copies repairs: mirrored, moved in time, to another take or character";
  command.description =
      "Adds copies of repairs and nudges to the same take, to another one of the reel, or to another reel. On another\n"
      "character bones follow their roles and lengths its height; places on the ground and grips are taken from its\n"
      "motion anew. Props and set objects come along where they are missing. What cannot follow is told.";
  command.arguments = {{"REEL", "the reel they are in"}, {"ITEMS", "7, or several with commas: 7,9"}};
  command.options = {takeOption(),
                     {"mirrored", "", "for the other side: left and right change places, hands on props too"},
                     {"shift", "FRAMES", "later by so many frames; -5 is earlier"},
                     {"to", "REEL", "the reel to copy to; default: the same"},
                     {"to-take", "N", "its take, counted from 1"}};
  command.run = run;
  return command;
}

}  // namespace understudy::cli
