// One foot's time on the ground, in frames: where the foot has to be at each. Internal to plants.
#pragma once

#include <optional>
#include <vector>

#include "core/repair/layer.h"
#include "core/repair/plant_pose.h"

namespace understudy {

/// 1 at t ≤ 0, 0 at t ≥ 1; value, slope and curvature are level at both.
[[nodiscard]] double fade(double t);
/// 1 inside the span, fading over the frames of its eases.
[[nodiscard]] double fadedAround(FrameSpan span, int before, int after, int frame);

/// A plant of a foot, compiled for a context.
struct Stay {
  std::size_t repair = 0;          ///< index in the layer
  int side = 0;
  FrameSpan span;
  int before = 0, after = 0;       ///< frames of ease
  double weight = 1;
  GroundPlane plane;
  Vec3d base;                      ///< on the ground below the flat foot's joint, before any spin
  double yaw = 0, lift = 0;
  std::vector<double> turns;       ///< of its direction in each frame of the span, not 0 in spins alone; spread over each spin
  std::vector<PlantPhase> phases;  ///< one a frame of the span
  std::vector<int> rolls;          ///< 1 where toes may be up, −1 where the heel may, 0 flat; a spin that follows a heel phase turns on the heel
  int even = 1;                    ///< frames on either side over which a rising heel's pitch is smoothed
  int release = 0;                 ///< first frame in which the foot may slip; span.last + 1: none

  [[nodiscard]] PlantPhase phase(int frame) const { return phases[static_cast<std::size_t>(frame - span.first)]; }
};

/// Phases, ground and release of a plant of a foot; nothing where it is none, or lies outside the clip.
[[nodiscard]] std::optional<Stay> stayOf(const RepairContext& context, const Repair& repair, const RepairFrames& frames, const PlantLeg& leg);

/// How a foot rolls over a stay, a value a frame.
struct Roll {
  std::vector<double> pitch;    ///< 0 in flat phases, toes up (positive) in heel phases, heel up in the others
  std::vector<double> reaches;  ///< how far the foot's joint should be from the hip while the toes leave
};

/// The roll that keeps the leg's length and, on the heel, the foot's own pitch. `own` are the leg's frames over the span, `moves` the
/// pelvis' way at each.
[[nodiscard]] Roll ownRoll(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves);
/// Where the foot is to be in every frame of a stay.
[[nodiscard]] std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves,
                                                 const Roll& roll);
/// The same by its own roll, the pelvis raised as the stay's anchor says.
[[nodiscard]] std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own);

}  // namespace understudy
