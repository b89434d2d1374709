#include "app/command/repair_state.h"

#include <algorithm>
#include <cstdio>

#include "core/math/angle.h"

namespace understudy::cli {
namespace {

/// The misses of all stages that know of the repair, the worst of each frame.
bool gather(const Evaluated& evaluated, RepairState& state) {
  bool any = false;
  for (const Residual& residual : evaluated.residuals) {
    if (residual.repair != state.repair->id || residual.values.empty()) continue;
    const FrameSpan span{residual.first, residual.first + static_cast<int>(residual.values.size()) - 1};
    FrameSpan both = span;
    if (any) both = {std::min(span.first, state.measured.first), std::max(span.last, state.measured.last)};
    std::vector<Miss> misses(static_cast<std::size_t>(both.count()));
    const auto merge = [&](const std::vector<Miss>& from, int first) {
      for (std::size_t i = 0; i < from.size(); ++i) {
        Miss& miss = misses[i + static_cast<std::size_t>(first - both.first)];
        miss.metres = std::max(miss.metres, from[i].metres);
        miss.radians = std::max(miss.radians, from[i].radians);
      }
    };
    merge(state.misses, any ? state.measured.first : both.first);
    merge(residual.values, residual.first);
    state.measured = both;
    state.misses = std::move(misses);
    any = true;
  }
  return any;
}

}  // namespace

std::vector<RepairState> repairStates(const Take& take, const Evaluated& evaluated, const FrameNumbers& numbers, const RepairLimits& limits) {
  const bool anySolo = std::any_of(take.repairs->begin(), take.repairs->end(), [](const auto& r) { return r->solo; }) ||
                       std::any_of(take.nudges->begin(), take.nudges->end(), [](const auto& n) { return n->solo; });
  std::vector<RepairState> states;
  for (const Node<Repair>& node : *take.repairs) {
    RepairState state;
    state.repair = &*node;
    const RepairFrames frames = repairFrames(*node, evaluated.rate, evaluated.clipFrames);
    state.frames = numbers.shown(frames.span);
    state.applied = gather(evaluated, state);
    if (!state.applied)
      state.reason = node->muted                    ? "muted"
                     : anySolo && !node->solo       ? "another one is solo"
                     : node->weight == 0            ? "its weight is 0"
                     : frames.span.empty()          ? "its span lies outside the clip"
                     : !isAnchored(*node)           ? "it has no place yet"
                                                    : "it cannot be applied";
    for (std::size_t i = 0; i < state.misses.size(); ++i) {
      const double mm = 1000.0 * static_cast<double>(state.misses[i].metres), deg = degreesPerRadian * static_cast<double>(state.misses[i].radians);
      const int shown = numbers.shown(state.measured.first + static_cast<int>(i));
      if (mm > state.millimetres || (state.millimetres == 0 && deg > state.degrees)) state.worstFrame = shown;
      state.millimetres = std::max(state.millimetres, mm);
      state.degrees = std::max(state.degrees, deg);
      state.missed = state.missed || mm > 0 || deg > 0;
      if (!(mm > limits.millimetres || deg > limits.degrees)) continue;
      if (state.beyond.empty() || state.beyond.back().frames.last + 1 != shown) state.beyond.push_back({{shown, shown}, 0, 0});
      MissSpan& span = state.beyond.back();
      span.frames.last = shown;
      span.millimetres = std::max(span.millimetres, mm);
      span.degrees = std::max(span.degrees, deg);
    }
    states.push_back(std::move(state));
  }
  return states;
}

Json toJson(const RepairState& state, const FrameNumbers& numbers, bool allMisses) {
  Json json = {{"id", state.repair->id}, {"kind", state.repair->kind()}, {"name", state.repair->name},
               {"frames", Json::array({state.frames.first, state.frames.last})}, {"applied", state.applied}};
  if (!state.applied) {
    json["reason"] = state.reason;
    return json;
  }
  json["worst"] = {{"mm", state.millimetres}, {"deg", state.degrees}, {"frame", state.missed ? Json(state.worstFrame) : Json()}};
  json["beyond"] = Json::array();
  for (const MissSpan& span : state.beyond)
    json["beyond"].push_back({{"frames", Json::array({span.frames.first, span.frames.last})}, {"mm", span.millimetres}, {"deg", span.degrees}});
  if (allMisses) {
    json["misses"] = Json::array();
    for (std::size_t i = 0; i < state.misses.size(); ++i)
      json["misses"].push_back({{"frame", numbers.shown(state.measured.first + static_cast<int>(i))},
                                {"mm", 1000.0 * static_cast<double>(state.misses[i].metres)},
                                {"deg", degreesPerRadian * static_cast<double>(state.misses[i].radians)}});
  }
  return json;
}

std::string describeMiss(const RepairState& state) {
  if (!state.applied) return "left out: " + state.reason;
  if (!state.missed) return "exact";
  char text[96];
  std::snprintf(text, sizeof text, "%.2f mm, %.2f° at %d", state.millimetres, state.degrees, state.worstFrame);
  return text;
}

}  // namespace understudy::cli
