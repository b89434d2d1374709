#include "core/take/edits.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

// A copy of a node's value changed by `change`; the node itself where that made no difference, so that sharing survives.
template <class T, class F>
Node<T> edited(const Node<T>& node, F change) {
  T value = *node;
  change(value);
  return value == *node ? node : Node<T>(std::move(value));
}

template <class F>
Take changeRetarget(const Take& take, F change) {
  Take next = take;
  next.retarget = edited(take.retarget, change);
  return next;
}

/// The same repair, to be anchored anew; the same node where it has no anchor.
Node<Repair> withoutAnchor(const Node<Repair>& repair) {
  if (!isAnchored(*repair)) return repair;
  return edited(repair, [](Repair& r) { setAnchored(r, false); });
}

template <class T>
int placeOf(const std::vector<Node<T>>& list, std::uint64_t id) {
  const auto at = std::find_if(list.begin(), list.end(), [&](const Node<T>& n) { return n->id == id; });
  return at == list.end() ? -1 : static_cast<int>(at - list.begin());
}

std::uint64_t freeId(const Take& take) {
  std::uint64_t highest = 0;
  for (const Node<Nudge>& nudge : *take.nudges) highest = std::max(highest, nudge->id);
  for (const Node<Repair>& repair : *take.repairs) highest = std::max(highest, repair->id);
  return highest + 1;
}

template <class T>
Node<std::vector<Node<T>>> added(const Take& take, const Node<std::vector<Node<T>>>& list, T item, std::uint64_t* idOut) {
  if (item.id == 0 || placeOf(*take.nudges, item.id) >= 0 || placeOf(*take.repairs, item.id) >= 0) item.id = freeId(take);
  if (idOut) *idOut = item.id;
  return edited(list, [&](std::vector<Node<T>>& items) { items.emplace_back(std::move(item)); });
}

template <class T>
Node<std::vector<Node<T>>> changed(const Node<std::vector<Node<T>>>& list, T item) {
  const int place = placeOf(*list, item.id);
  if (place < 0 || item == *(*list)[static_cast<std::size_t>(place)]) return list;
  return edited(list, [&](std::vector<Node<T>>& items) { items[static_cast<std::size_t>(place)] = std::move(item); });
}

template <class T>
Node<std::vector<Node<T>>> removed(const Node<std::vector<Node<T>>>& list, std::uint64_t id) {
  const int place = placeOf(*list, id);
  return place < 0 ? list : edited(list, [&](std::vector<Node<T>>& items) { items.erase(items.begin() + place); });
}

template <class T>
Node<std::vector<Node<T>>> reordered(const Node<std::vector<Node<T>>>& list, std::uint64_t id, int place) {
  const int from = placeOf(*list, id);
  if (from < 0) return list;
  return edited(list, [&](std::vector<Node<T>>& items) {
    const Node<T> moved = items[static_cast<std::size_t>(from)];
    items.erase(items.begin() + from);
    items.insert(items.begin() + std::clamp(place, 0, static_cast<int>(items.size())), moved);
  });
}

}  // namespace

Take setPerformer(const Take& take, FileReference file) {
  if (file == *take.performer) return take;
  Take next = take;
  next.performer = std::move(file);
  next.clip = 0;
  next.trim.reset();
  next.map = edited(take.map, [](MapKeys& map) { map.performer = {}; });
  next.retarget = edited(take.retarget, [](RetargetSettings& r) {
    r.performerReference = {};
    r.alignmentOffsets.clear();
    r.alignmentChoices.clear();
  });
  return next;
}

Take setCharacter(const Take& take, FileReference file) {
  if (file == *take.character) return take;
  Take next = take;
  next.character = std::move(file);
  next.map = edited(take.map, [](MapKeys& map) { map.character = {}; });
  next.retarget = edited(take.retarget, [](RetargetSettings& r) {
    r.characterReference = {};
    r.alignmentOffsets.clear();
    r.alignmentChoices.clear();
  });
  next.leftOut.clear();
  next.repairs = edited(take.repairs, [](Repairs& repairs) {
    for (Node<Repair>& repair : repairs) repair = withoutAnchor(repair);
  });
  return next;
}

Take relinkPerformer(const Take& take, const std::string& path) {
  Take next = take;
  next.performer = edited(take.performer, [&](FileReference& f) { f.path = path; });
  return next;
}

Take relinkCharacter(const Take& take, const std::string& path) {
  Take next = take;
  next.character = edited(take.character, [&](FileReference& f) { f.path = path; });
  return next;
}

Take setName(const Take& take, std::string name) {
  Take next = take;
  next.name = std::move(name);
  return next;
}

Take setClip(const Take& take, int clip) {
  if (clip == take.clip) return take;
  Take next = changeRetarget(take, [](RetargetSettings& r) { r.performerReference.clipFrame.reset(); });
  next.clip = clip;
  next.trim.reset();
  return next;
}

Take setTrim(const Take& take, std::optional<FrameRange> range, FrameRate rate) {
  if (!range) return setTrimSeconds(take, std::nullopt);
  return setTrimSeconds(take, TimeRange{rate.seconds(range->first - 1), rate.seconds(range->last - 1)});
}

Take setTrimSeconds(const Take& take, std::optional<TimeRange> range) {
  Take next = take;
  next.trim = range;
  return next;
}

Take setRate(const Take& take, std::optional<FrameRate> rate, FrameRate oldRate, FrameRate performerRate) {
  if (rate == take.rate) return take;
  const FrameRate newRate = rate.value_or(performerRate);
  const auto carry = [&](std::optional<int>& frame) {
    if (frame) frame = static_cast<int>(std::lround(oldRate.seconds(*frame) * newRate.hertz()));
  };
  Take next = changeRetarget(take, [&](RetargetSettings& r) { carry(r.performerReference.clipFrame); });
  next.rate = rate;
  return next;
}

Take setFirstFrame(const Take& take, int firstFrame) {
  Take next = take;
  next.firstFrame = firstFrame;
  return next;
}

Take setMap(const Take& take, const BoneMap& map, const Skeleton& performer, const Skeleton& character) {
  return setMapKeys(take, keysOf(map, performer, character));
}

Take setMapKeys(const Take& take, MapKeys keys) {
  Take next = take;
  next.map = edited(take.map, [&](MapKeys& map) { map = std::move(keys); });
  return next;
}

Take setRole(const Take& take, MapSide side, Role role, std::vector<std::string> joints) {
  Take next = take;
  next.map = edited(take.map, [&](MapKeys& map) {
    RoleKeys& keys = (side == MapSide::performer ? map.performer : map.character)[static_cast<std::size_t>(indexOf(role))];
    if (keys.joints == joints) return;
    keys = {std::move(joints), 0, ""};
    if (!keys.joints.empty()) keys.confidence = 1, keys.reason = "chosen by hand";
  });
  return next;
}

Take setRetarget(const Take& take, RetargetSettings settings) {
  return changeRetarget(take, [&](RetargetSettings& r) { r = std::move(settings); });
}

Take setAlignmentOffset(const Take& take, Role role, Vec3d offset) {
  return changeRetarget(take, [&](RetargetSettings& r) {
    if (offset == Vec3d{}) {
      r.alignmentOffsets.erase(role);
    } else {
      r.alignmentOffsets[role] = offset;
    }
  });
}

Take setAlignmentChoice(const Take& take, Role role, std::optional<bool> matchFrames) {
  return changeRetarget(take, [&](RetargetSettings& r) {
    if (matchFrames) {
      r.alignmentChoices[role] = *matchFrames;
    } else {
      r.alignmentChoices.erase(role);
    }
  });
}

Take setStride(const Take& take, std::optional<double> stride) {
  return changeRetarget(take, [&](RetargetSettings& r) { r.stride = stride; });
}

Take setGround(const Take& take, bool ground) {
  return changeRetarget(take, [&](RetargetSettings& r) { r.ground = ground; });
}

Take setPerformerReference(const Take& take, ReferenceSettings reference) {
  return changeRetarget(take, [&](RetargetSettings& r) { r.performerReference = reference; });
}

Take setCharacterReference(const Take& take, ReferenceSettings reference) {
  return changeRetarget(take, [&](RetargetSettings& r) { r.characterReference = reference; });
}

Take addNudge(const Take& take, Nudge nudge, std::uint64_t* idOut) {
  Take next = take;
  next.nudges = added(take, take.nudges, std::move(nudge), idOut);
  return next;
}

Take changeNudge(const Take& take, Nudge nudge) {
  Take next = take;
  next.nudges = changed(take.nudges, std::move(nudge));
  return next;
}

Take removeNudge(const Take& take, std::uint64_t id) {
  Take next = take;
  next.nudges = removed(take.nudges, id);
  return next;
}

Take reorderNudge(const Take& take, std::uint64_t id, int place) {
  Take next = take;
  next.nudges = reordered(take.nudges, id, place);
  return next;
}

const Nudge* findNudge(const Take& take, std::uint64_t id) {
  const int place = placeOf(*take.nudges, id);
  return place < 0 ? nullptr : &*(*take.nudges)[static_cast<std::size_t>(place)];
}

Take addRepair(const Take& take, Repair repair, std::uint64_t* idOut) {
  Take next = take;
  next.repairs = added(take, take.repairs, std::move(repair), idOut);
  return next;
}

Take changeRepair(const Take& take, Repair repair) {
  Take next = take;
  next.repairs = changed(take.repairs, std::move(repair));
  return next;
}

Take removeRepair(const Take& take, std::uint64_t id) {
  Take next = take;
  next.repairs = removed(take.repairs, id);
  return next;
}

Take reorderRepair(const Take& take, std::uint64_t id, int place) {
  Take next = take;
  next.repairs = reordered(take.repairs, id, place);
  return next;
}

const Repair* findRepair(const Take& take, std::uint64_t id) {
  const int place = placeOf(*take.repairs, id);
  return place < 0 ? nullptr : &*(*take.repairs)[static_cast<std::size_t>(place)];
}

Take setRepairs(const Take& take, Repairs repairs) {
  Take next = take;
  next.repairs = edited(take.repairs, [&](Repairs& r) { r = std::move(repairs); });
  return next;
}

Take setProps(const Take& take, std::vector<PropItem> props) {
  Take next = take;
  next.props = edited(take.props, [&](std::vector<PropItem>& p) { p = std::move(props); });
  return next;
}

Take setSet(const Take& take, std::vector<SetItem> set) {
  Take next = take;
  next.set = edited(take.set, [&](std::vector<SetItem>& s) { s = std::move(set); });
  return next;
}

Take setLocks(const Take& take, std::vector<Lock> locks) {
  Take next = take;
  next.locks = edited(take.locks, [&](std::vector<Lock>& l) { l = std::move(locks); });
  return next;
}

Take setLeftOut(const Take& take, std::vector<std::string> meshes) {
  Take next = take;
  next.leftOut = std::move(meshes);
  return next;
}

Take setWaved(const Take& take, const std::string& finding, bool waved) {
  const auto at = std::lower_bound(take.waved.begin(), take.waved.end(), finding);
  const bool has = at != take.waved.end() && *at == finding;
  if (has == waved) return take;
  Take next = take;
  const auto place = next.waved.begin() + (at - take.waved.begin());
  if (waved)
    next.waved.insert(place, finding);
  else
    next.waved.erase(place);
  return next;
}

namespace {

/// Things pinned to a time (notes, markers): kept in order of it.
template <class T>
using Pins = Node<std::vector<T>>;

template <class T>
Take withPins(const Take& take, Pins<T> Take::*list, std::vector<T> items) {
  std::stable_sort(items.begin(), items.end(), [](const T& a, const T& b) { return a.time < b.time; });
  Take next = take;
  next.*list = edited(take.*list, [&](std::vector<T>& all) { all = std::move(items); });
  return next;
}

template <class T>
Take pinAdded(const Take& take, Pins<T> Take::*list, T item, std::uint64_t* idOut) {
  std::vector<T> items = *(take.*list);
  std::uint64_t free = 1;
  bool taken = item.id == 0;
  for (const T& other : items) {
    free = std::max(free, other.id + 1);
    taken = taken || other.id == item.id;
  }
  if (taken) item.id = free;
  if (idOut) *idOut = item.id;
  items.push_back(std::move(item));
  return withPins(take, list, std::move(items));
}

template <class T>
Take pinChanged(const Take& take, Pins<T> Take::*list, const T& item) {
  std::vector<T> items = *(take.*list);
  for (T& other : items)
    if (other.id == item.id) other = item;
  return withPins(take, list, std::move(items));
}

template <class T>
Take pinRemoved(const Take& take, Pins<T> Take::*list, std::uint64_t id) {
  std::vector<T> items = *(take.*list);
  std::erase_if(items, [&](const T& item) { return item.id == id; });
  return withPins(take, list, std::move(items));
}

template <class T>
const T* pinOf(const std::vector<T>& items, std::uint64_t id) {
  const auto at = std::find_if(items.begin(), items.end(), [&](const T& item) { return item.id == id; });
  return at == items.end() ? nullptr : &*at;
}

}  // namespace

Take addNote(const Take& take, Note note, std::uint64_t* idOut) { return pinAdded(take, &Take::notes, std::move(note), idOut); }
Take changeNote(const Take& take, Note note) { return pinChanged(take, &Take::notes, note); }
Take removeNote(const Take& take, std::uint64_t id) { return pinRemoved(take, &Take::notes, id); }
const Note* findNote(const Take& take, std::uint64_t id) { return pinOf(*take.notes, id); }

Take addMarker(const Take& take, Marker marker, std::uint64_t* idOut) { return pinAdded(take, &Take::markers, std::move(marker), idOut); }
Take changeMarker(const Take& take, Marker marker) { return pinChanged(take, &Take::markers, marker); }
Take removeMarker(const Take& take, std::uint64_t id) { return pinRemoved(take, &Take::markers, id); }
const Marker* findMarker(const Take& take, std::uint64_t id) { return pinOf(*take.markers, id); }

Take setExport(const Take& take, HandOver handOver) {
  Take next = take;
  next.handOver = edited(take.handOver, [&](HandOver& h) { h = std::move(handOver); });
  return next;
}

Reel setCurrentTake(const Reel& reel, Take take) {
  const Take* current = reel.currentTake();
  if (!current || *current == take) return reel;
  Reel next = reel;
  next.takes[static_cast<std::size_t>(reel.current)] = std::move(take);
  return next;
}

Reel addTake(const Reel& reel, Take take) {
  Reel next = reel;
  next.takes.emplace_back(std::move(take));
  next.current = static_cast<int>(next.takes.size()) - 1;
  return next;
}

Reel removeTake(const Reel& reel, int index) {
  if (index < 0 || index >= static_cast<int>(reel.takes.size())) return reel;
  Reel next = reel;
  next.takes.erase(next.takes.begin() + index);
  next.current = std::clamp(reel.current > index ? reel.current - 1 : reel.current, 0, std::max(0, static_cast<int>(next.takes.size()) - 1));
  return next;
}

Reel selectTake(const Reel& reel, int index) {
  if (index < 0 || index >= static_cast<int>(reel.takes.size())) return reel;
  Reel next = reel;
  next.current = index;
  return next;
}

Reel setPerformerForAll(const Reel& reel, const FileReference& file) {
  Reel next = reel;
  for (Node<Take>& take : next.takes)
    if (!(*take->performer == file)) take = Node<Take>(setPerformer(*take, file));
  return next;
}

Reel setCharacterForAll(const Reel& reel, const FileReference& file) {
  Reel next = reel;
  for (Node<Take>& take : next.takes)
    if (!(*take->character == file)) take = Node<Take>(setCharacter(*take, file));
  return next;
}

}  // namespace understudy
