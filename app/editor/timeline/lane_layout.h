// Which repair lies on which lane of the timeline. No widgets, no drawing.
#pragma once

#include <QString>
#include <utility>
#include <vector>

#include "core/evaluate/evaluate.h"
#include "core/take/take.h"

namespace understudy::editor {

enum class LaneGroup { leftFoot, rightFoot, hands, touches, clearance, other, props, locks, nudges };
[[nodiscard]] QString laneName(LaneGroup group);
[[nodiscard]] LaneGroup laneOf(const Repair& repair);

/// A repair on its lane. Frames count from 0 in the evaluated take and may lie outside it.
struct LaneBar {
  std::uint64_t id = 0;
  bool nudge = false;
  int first = 0, last = 0;     ///< a nudge: both its frame
  int before = 0, after = 0;   ///< frames of ease
  bool whole = false;          ///< of the whole clip
  int row = 0;                 ///< within its lane, where repairs overlap
  bool off = false;            ///< muted, or others play alone
  bool proposed = false;
  std::vector<std::pair<int, PlantPhase>> phases;  ///< a plant's, each with its first frame
  int release = -1;            ///< frame from which a plant may slip; −1: none
  bool holder = false;         ///< who has a prop meanwhile; no repair
  bool lock = false;           ///< frames nothing automatic touches; no repair
  QString text;
  friend bool operator==(const LaneBar&, const LaneBar&) = default;
};

struct Lane {
  LaneGroup group = LaneGroup::other;
  std::vector<LaneBar> bars;   ///< by first frame
  int rows = 1;
};

/// Who holds a prop when: hands by grips, else its holders in turn. Bars without a number, from 0 in the evaluated take.
[[nodiscard]] std::vector<LaneBar> holdersOf(const Take& take, const PropItem& prop, const Evaluated& evaluated);

/// Lanes that hold something, top to bottom, and the nudges' lane always.
[[nodiscard]] std::vector<Lane> lanesOf(const Take& take, const Evaluated& evaluated);

}  // namespace understudy::editor
