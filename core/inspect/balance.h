// Whether a body that stands could stand like that.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct BalanceLimits {
  double slow = 0.15;      ///< heights a second below which the centre of mass counts as at rest: who moves may be off balance
  double outside = 0.04;   ///< metres (of a character 1.7 m tall) that it may be outside of what the feet cover
  double shortest = 0.4;   ///< seconds; shorter stays are none
};

/// Hints, one for each time the centre of mass stays at rest outside of what the standing feet cover. Segment masses and centres are
/// those of Dempster as given by Winter (Biomechanics and Motor Control of Human Movement, table 4.1); the character's own masses may be
/// others, so it is a hint only. Times in which knees, hands or the seat bear are left out; `plants` are the standing times.
[[nodiscard]] Findings balanceFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& plants, const BalanceLimits& limits = {});

}  // namespace understudy
