// Props that hands keep above the ground (y = 0 in the stage).
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "core/math/rigid.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// Points of a prop's surface in its own frame, metres. Empty where a file's surface is not known.
[[nodiscard]] std::vector<Vec3d> propSurface(const PropItem& prop);
/// Height of the lowest of these where the prop stands so, metres.
[[nodiscard]] double lowestHeight(const std::vector<Vec3d>& points, const Rigid& place);

/// The prop's handle on the prop: a unit direction from the working end to the hands, and how far (metres) the hands of a grip may go
/// towards that end. `height` is the character's. None where the working end is not known.
struct PropHandle {
  Vec3d up;
  double room = 0;
};
[[nodiscard]] std::optional<PropHandle> handleOfGrip(const PropItem& prop, const GripRepair& grip, double height);

/// What keeps a prop above the ground while a grip holds it.
class PropFloor {
 public:
  /// None where the grip does not ask for it, or the prop's surface or working end is not known. `height` is the character's.
  [[nodiscard]] static std::optional<PropFloor> of(const PropItem& prop, const GripRepair& grip, double height);

  /// Height of its lowest point, metres.
  [[nodiscard]] double lowest(const Rigid& prop) const;
  /// The turn about `pivot` (both in the stage) that brings the lowest point up to the ground; none where it is above it. It sets in
  /// smoothly shortly before, and fades where the handle stands so steep that a turn lifts nothing.
  [[nodiscard]] Quatd tilt(const Rigid& prop, const Vec3d& pivot) const;
  /// Metres along the handle, away from the working end, that do the same; no more than the handle has room for.
  [[nodiscard]] double run(const Rigid& prop) const;
  /// The prop moved along its handle by `share` of that.
  [[nodiscard]] Rigid above(const Rigid& prop, double share) const;

 private:
  std::shared_ptr<const std::vector<Vec3d>> points_;
  PropHandle handle_;
  double size_ = 1;  ///< of a character of 1.7 m
};

/// How far touches take a prop where they want it at a frame, 0 … 1: nothing else moves it then. `repairs` are all or some of a take's.
[[nodiscard]] double propTouched(const RepairContext& context, const std::vector<const Repair*>& repairs, std::uint64_t prop, int frame, int frames);

}  // namespace understudy
