// Places that a prop's or a body's point is to touch, such as a mark on the floor: where it passes them, and the touch that meets them.
#pragma once

#include <optional>
#include <vector>

#include "core/inspect/finding.h"
#include "core/math/rigid.h"
#include "core/repair/layer.h"

namespace understudy {

struct MarkSettings {
  double near = 0.20;    ///< metres (of a character 1.7 m tall) within which a passing point may be meant for the mark
  double apart = 0.3;    ///< seconds between two passes; of nearer ones the closer counts
  double leave = 2.0;    ///< a pass ends where the point is farther away than this times its nearest distance, or than `near`
  double ease = 0.25;    ///< seconds before and after a proposed touch
};

/// One time a point comes by a place. Frames count from 0 in the untrimmed clip.
struct MarkPass {
  int frame = 0;         ///< nearest
  double miss = 0;       ///< metres between point and place then
};

/// `points` is the way of the point (stage, one a frame). Passes nearer than `near`, in order of time.
[[nodiscard]] std::vector<MarkPass> markPasses(const RepairContext& context, const std::vector<Vec3d>& points, const Vec3d& place,
                                               const MarkSettings& settings = {});

/// The way of a prop's point in a motion, one place a frame; `repairs` are those of the take (grips say where the prop is).
[[nodiscard]] std::vector<Vec3d> propPointWay(const RepairContext& context, const TiledMotion& motion, const PropItem& prop, const Vec3d& point,
                                              const std::vector<const Repair*>& repairs);

/// The touch that brings the prop's point to a place of the stage at a frame. `leadLeft`: which hand leads where no grip holds it then.
[[nodiscard]] Repair markTouch(const RepairContext& context, const PropItem& prop, const Vec3d& point, int frame, const Vec3d& place, const Vec3d& normal,
                               bool leadLeft, const MarkSettings& settings = {});

/// Where a set object is meant as a mark: the middle of its top. Objects larger than `most` metres (of a character 1.7 m tall) across
/// are no marks; planes never are.
struct MarkPlace {
  Vec3d place, normal{0, 1, 0};
};
[[nodiscard]] std::optional<MarkPlace> markOf(const RepairContext& context, const SetItem& item, double most = 0.30);

}  // namespace understudy
