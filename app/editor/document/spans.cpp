#include "app/editor/document/spans.h"

#include <algorithm>
#include <cmath>

namespace understudy::editor {
namespace {

/// Calls `change` with every moment that belongs to a repair besides its span.
template <class F>
void moments(Repair& repair, F change) {
  if (auto* plant = std::get_if<PlantRepair>(&repair.action)) {
    for (PlantMark& mark : plant->marks) change(mark.time);
    if (plant->release) change(*plant->release);
  } else if (auto* still = std::get_if<StillRepair>(&repair.action)) {
    if (still->time) change(*still->time);
  } else if (auto* touch = std::get_if<TouchRepair>(&repair.action)) {
    for (TouchMark& mark : touch->path) change(mark.time);
  }
}

/// Phases that begin before the span give way to the one that holds at its first frame; those after its end go.
void fitMarks(Repair& repair) {
  auto* plant = std::get_if<PlantRepair>(&repair.action);
  if (!plant || !repair.span) return;
  const double first = repair.span->first, last = repair.span->last;
  auto& marks = plant->marks;
  std::size_t holds = 0;
  for (std::size_t i = 0; i < marks.size(); ++i)
    if (marks[i].time <= first + 1e-9) holds = i;
  if (!marks.empty()) {
    marks.erase(marks.begin(), marks.begin() + static_cast<std::ptrdiff_t>(holds));
    marks.front().time = first;
    while (marks.size() > 1 && marks.back().time > last + 1e-9) marks.pop_back();
  }
  if (plant->release) plant->release = std::clamp(*plant->release, first, last);
}

}  // namespace

int frameAt(double seconds, FrameRate rate) { return static_cast<int>(std::lround(std::clamp(seconds * rate.hertz(), -1e9, 1e9))); }

Repair shifted(const Repair& repair, int frames, FrameRate rate, int clipFrames) {
  if (!repair.span) return repair;
  const int first = frameAt(repair.span->first, rate), last = frameAt(repair.span->last, rate);
  frames = std::clamp(frames, std::min(0, -first), std::max(0, clipFrames - 1 - last));
  if (frames == 0) return repair;
  Repair next = repair;
  const double by = rate.seconds(frames);
  next.span = TimeRange{rate.seconds(first + frames), rate.seconds(last + frames)};
  moments(next, [by](double& time) { time += by; });
  return next;
}

Repair withEdge(const Repair& repair, SpanPart edge, int frame, FrameRate rate, int clipFrames) {
  Repair next = repair;
  const TimeRange span = repair.span.value_or(TimeRange{0, rate.seconds(std::max(0, clipFrames - 1))});
  frame = std::clamp(frame, 0, std::max(0, clipFrames - 1));
  int first = frameAt(span.first, rate), last = frameAt(span.last, rate);
  if (edge == SpanPart::first) first = std::min(frame, last);
  if (edge == SpanPart::last) last = std::max(frame, first);
  next.span = TimeRange{rate.seconds(first), rate.seconds(last)};
  // A foot that is to stay longer also lets go later.
  if (auto* plant = std::get_if<PlantRepair>(&next.action); plant && plant->release && last > frameAt(span.last, rate))
    *plant->release += rate.seconds(last - frameAt(span.last, rate));
  fitMarks(next);
  return next;
}

Repair withEase(const Repair& repair, SpanPart ease, int frames, FrameRate rate) {
  Repair next = repair;
  (ease == SpanPart::easeBefore ? next.easeBefore : next.easeAfter) = rate.seconds(std::max(0, frames));
  return next;
}

Repair withMark(const Repair& repair, int mark, int frame, FrameRate rate) {
  Repair next = repair;
  auto* plant = std::get_if<PlantRepair>(&next.action);
  if (!plant || !repair.span || mark <= 0 || mark >= static_cast<int>(plant->marks.size())) return repair;
  const auto at = static_cast<std::size_t>(mark);
  const int before = frameAt(plant->marks[at - 1].time, rate);
  const int after = at + 1 < plant->marks.size() ? frameAt(plant->marks[at + 1].time, rate) - 1 : frameAt(repair.span->last, rate);
  plant->marks[at].time = rate.seconds(std::clamp(frame, before + 1, std::max(before + 1, after)));
  return next;
}

Repair withRelease(const Repair& repair, std::optional<int> frame, FrameRate rate, int clipFrames) {
  Repair next = repair;
  auto* plant = std::get_if<PlantRepair>(&next.action);
  if (!plant) return repair;
  plant->release.reset();
  if (!frame) return next;
  const RepairFrames frames = repairFrames(repair, rate, clipFrames);
  // At the end there is nothing left to slip in.
  if (!frames.span.empty() && *frame <= frames.span.last) plant->release = rate.seconds(std::max(*frame, frames.span.first));
  return next;
}

Repair withPhase(const Repair& repair, PlantPhase phase, int frame, FrameRate rate) {
  Repair next = repair;
  auto* plant = std::get_if<PlantRepair>(&next.action);
  if (!plant || !repair.span) return repair;
  const int first = frameAt(repair.span->first, rate), last = frameAt(repair.span->last, rate);
  frame = std::clamp(frame, first, last);
  auto& marks = plant->marks;
  if (marks.empty()) marks.push_back({rate.seconds(first), PlantPhase::flat});
  const auto same = std::find_if(marks.begin(), marks.end(), [&](const PlantMark& m) { return frameAt(m.time, rate) == frame; });
  if (same != marks.end()) {
    same->phase = phase;
    return next;
  }
  const auto after = std::find_if(marks.begin(), marks.end(), [&](const PlantMark& m) { return frameAt(m.time, rate) > frame; });
  marks.insert(after, {rate.seconds(frame), phase});
  return next;
}

Repair draggedSpan(const Repair& repair, SpanPart part, int mark, int grabbed, int frame, FrameRate rate, int clipFrames) {
  const RepairFrames now = repairFrames(repair, rate, clipFrames);
  switch (part) {
    case SpanPart::body: return shifted(repair, frame - grabbed, rate, clipFrames);
    case SpanPart::first:
    case SpanPart::last: return withEdge(repair, part, frame, rate, clipFrames);
    case SpanPart::easeBefore: return withEase(repair, part, now.span.first - frame, rate);
    case SpanPart::easeAfter: return withEase(repair, part, frame - now.span.last, rate);
    case SpanPart::mark: return withMark(repair, mark, frame, rate);
    case SpanPart::release: return withRelease(repair, frame, rate, clipFrames);
    case SpanPart::none: break;
  }
  return repair;
}

std::optional<std::pair<Repair, Repair>> split(const Repair& repair, int frame, FrameRate rate, int clipFrames) {
  const RepairFrames frames = repairFrames(repair, rate, clipFrames);
  if (frames.span.empty() || frame <= frames.span.first || frame > frames.span.last) return {};
  Repair a = withEdge(repair, SpanPart::last, frame - 1, rate, clipFrames), b = withEdge(repair, SpanPart::first, frame, rate, clipFrames);
  a.easeAfter = 0;
  b.easeBefore = 0;
  b.id = 0;
  // Only the part with the end lets go.
  if (auto* plant = std::get_if<PlantRepair>(&a.action)) plant->release.reset();
  return std::pair{std::move(a), std::move(b)};
}

std::optional<Repair> merged(const Repair& one, const Repair& other, FrameRate rate) {
  if (!one.span || !other.span || one.action.index() != other.action.index()) return {};
  const bool inOrder = one.span->first <= other.span->first;
  const Repair &a = inOrder ? one : other, &b = inOrder ? other : one;
  Repair next = a;
  next.span = TimeRange{a.span->first, std::max(a.span->last, b.span->last)};
  if (b.span->last >= a.span->last) next.easeAfter = b.easeAfter;
  if (auto* plant = std::get_if<PlantRepair>(&next.action)) {
    const auto& later = std::get<PlantRepair>(b.action);
    if (plant->part != later.part) return {};
    // The later one's phases follow where it begins; only its own end lets go.
    const int begin = frameAt(b.span->first, rate);
    std::erase_if(plant->marks, [&](const PlantMark& mark) { return frameAt(mark.time, rate) >= begin; });
    if (plant->marks.empty()) plant->marks.push_back({a.span->first, PlantPhase::flat});
    std::vector<PlantMark> marks = later.marks;
    if (marks.empty()) marks.push_back({b.span->first, PlantPhase::flat});
    for (const PlantMark& mark : marks)
      if (plant->marks.back().phase != mark.phase) plant->marks.push_back(mark);
    plant->release = b.span->last >= a.span->last ? later.release : plant->release;
    return next;
  }
  // All else must be the same but for the place it stands at.
  const auto alike = [](Repair repair) {
    setAnchored(repair, false);
    if (auto* grip = std::get_if<GripRepair>(&repair.action)) grip->leadGrip = grip->supportGrip = grip->leadPalm = grip->supportPalm = {};
    return repair.action;
  };
  if (std::get_if<TouchRepair>(&next.action) && !(std::get<TouchRepair>(a.action).path.empty() && std::get<TouchRepair>(b.action).path.empty())) return {};
  return alike(a) == alike(b) ? std::optional(next) : std::nullopt;
}

}  // namespace understudy::editor
