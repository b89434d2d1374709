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

int placeOf(const Nudges& nudges, std::uint64_t id) {
  const auto at = std::find_if(nudges.begin(), nudges.end(), [&](const Node<Nudge>& n) { return n->id == id; });
  return at == nudges.end() ? -1 : static_cast<int>(at - nudges.begin());
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
  next.nudges = edited(take.nudges, [](Nudges& nudges) { nudges.clear(); });
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
  if (nudge.id == 0 || placeOf(*take.nudges, nudge.id) >= 0) {
    std::uint64_t highest = 0;
    for (const Node<Nudge>& n : *take.nudges) highest = std::max(highest, n->id);
    nudge.id = highest + 1;
  }
  if (idOut) *idOut = nudge.id;
  Take next = take;
  next.nudges = edited(take.nudges, [&](Nudges& nudges) { nudges.emplace_back(std::move(nudge)); });
  return next;
}

Take changeNudge(const Take& take, Nudge nudge) {
  const int place = placeOf(*take.nudges, nudge.id);
  if (place < 0) return take;
  Take next = take;
  next.nudges = edited(take.nudges, [&](Nudges& nudges) {
    Node<Nudge>& old = nudges[static_cast<std::size_t>(place)];
    if (!(nudge == *old)) old = std::move(nudge);
  });
  return next;
}

Take removeNudge(const Take& take, std::uint64_t id) {
  const int place = placeOf(*take.nudges, id);
  if (place < 0) return take;
  Take next = take;
  next.nudges = edited(take.nudges, [&](Nudges& nudges) { nudges.erase(nudges.begin() + place); });
  return next;
}

Take reorderNudge(const Take& take, std::uint64_t id, int place) {
  const int from = placeOf(*take.nudges, id);
  if (from < 0) return take;
  Take next = take;
  next.nudges = edited(take.nudges, [&](Nudges& nudges) {
    const Node<Nudge> moved = nudges[static_cast<std::size_t>(from)];
    nudges.erase(nudges.begin() + from);
    nudges.insert(nudges.begin() + std::clamp(place, 0, static_cast<int>(nudges.size())), moved);
  });
  return next;
}

const Nudge* findNudge(const Take& take, std::uint64_t id) {
  const int place = placeOf(*take.nudges, id);
  return place < 0 ? nullptr : &*(*take.nudges)[static_cast<std::size_t>(place)];
}

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

}  // namespace understudy
