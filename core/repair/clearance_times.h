// When a task of clearance acts, and how much of it.
#pragma once

#include <algorithm>

#include "core/math/smooth_step.h"
#include "core/repair/clearance_run.h"

namespace understudy {

/// Of the arms of a task, by frames. Both arguments must outlive it.
class ClearanceTimes {
 public:
  ClearanceTimes(const ClearanceWork& work, const ClearanceTask& task) : work_(work), task_(task) {}

  /// How much of an arm's change is applied at a frame.
  [[nodiscard]] double weightOf(std::size_t a, int f) const {
    double off = 1;
    for (const std::size_t r : task_.repairs) off *= 1 - work_.repairs[r]->weight * span(r, f);
    double taken = 1;
    if (work_.hands == ClearedHands::stay) {
      // Around a hold as well: the changes it asks for die away by themselves where the free arm has been cleared.
      taken = 0;
      for (const std::size_t r : task_.arms[a].holders) taken = std::max(taken, near(r, f));
    }
    return (1 - off) * taken;
  }
  /// How much of a common shift of both hands is allowed at a frame: none of what a touch holds.
  [[nodiscard]] double shiftOf(int f) const {
    double pin = 0;
    for (const ClearancePin& p : task_.pins) pin = std::max(pin, span(p.repair, f));
    return 1 - pin;
  }
  [[nodiscard]] ArmFreedom freedom(int f) const {
    ArmFreedom out;
    if (work_.hands == ClearedHands::free) {
      out.turn = false;
    } else if (shared()) {
      out.wrist = out.turn = shiftOf(f) >= 1;
    } else {
      out.wrist = giveOf(f) > 0;
      out.turn = holdOf(f) > 0;
    }
    return out;
  }
  /// How much a single hand may leave its way at a frame: not at all while it touches what is not held to here, soon before and after.
  [[nodiscard]] double giveOf(int f) const {
    if (work_.hands == ClearedHands::free || shared()) return 1;
    double away = 1e9;
    for (const ClearancePin& pin : task_.pins)
      if (!pin.slides) away = std::min(away, awayOf(pin, f));
    return smoothStep(away / leaveSeconds);
  }
  /// How firmly a single hand is held to where it touches the body at a frame.
  [[nodiscard]] double holdOf(int f) const {
    if (work_.hands == ClearedHands::free || shared()) return 0;
    double away = 1e9;
    for (const ClearancePin& pin : task_.pins)
      if (pin.slides) away = std::min(away, awayOf(pin, f));
    return smoothStep(1 - away / giveSeconds);
  }
  [[nodiscard]] bool holds(std::size_t a, int f) const {
    const HeldProp& held = task_.arms[a].held;
    return std::any_of(held.grips.begin(), held.grips.end(), [&](std::size_t r) { return span(r, f) > 0; }) ||
           std::any_of(held.spans.begin(), held.spans.end(), [&](const FrameSpan& s) { return s.holds(f); });
  }

 private:
  /// Seconds before and after a touch in which its hand comes to leave its way as far as it takes, and in which it comes to be held to the
  /// skin it touches.
  static constexpr double leaveSeconds = 0.3, giveSeconds = 0.15;

  [[nodiscard]] bool shared() const { return task_.arms.size() == 2; }
  [[nodiscard]] double span(std::size_t repair, int f) const { return spanWeight(work_.frames[repair], f); }
  /// 1 while a repair acts and some time around, from there down to 0.
  [[nodiscard]] double near(std::size_t repair, int f) const {
    const FrameSpan acting = work_.frames[repair].acting();
    if (acting.empty()) return 0;
    const double away = std::max({acting.first - f, f - acting.last, 0}) / work_.context.rate.hertz();
    return smoothStep(2 - away / fadeSeconds);
  }
  /// Seconds from a frame to a touch.
  [[nodiscard]] double awayOf(const ClearancePin& pin, int f) const {
    const FrameSpan held = work_.frames[pin.repair].span;
    return held.empty() ? 1e9 : std::max({held.first - f, f - held.last, 0}) / work_.context.rate.hertz();
  }

  const ClearanceWork& work_;
  const ClearanceTask& task_;
};

}  // namespace understudy
