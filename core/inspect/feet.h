// How planted feet keep to the ground.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

struct FeetLimits {
  double slide = 0.0004;  ///< metres of a character 1.7 m tall that the sole may wander while it stands
  double height = 0.001;  ///< metres above or below the ground
  /// A foot that was planted by a program keeps perfectly still, but for a few millimetres where it rolls off: with less than `step`
  /// metres a frame in this part of its frames, a slide below `rollOff` is none where the foot never moves for longer than `rollTime` (seconds) at
  /// a time.
  double step = 0.00002, stillPart = 0.6, rollOff = 0.006, rollTime = 0.15;
};

/// What one plant asks and how a motion keeps it. Metres; frames count from 0 in the untrimmed clip.
struct PlantKept {
  double slide = 0;   ///< farthest that a point of the sole, down and flat, gets from where it came down; of a soft sole: that the skin
                      ///< in contact gets, frame by frame at the point of it that moves least
  double above = 0;   ///< highest that the lowest point of the sole is above the ground
  double below = 0;   ///< deepest that any point of the sole is below it
  int moving = 0;     ///< the most flat frames in a row in which it moves more
  /// The same of the sole as if foot and toes alone carried it, and the largest weight another bone has on it (0 … 1): a soft sole follows
  /// the shank, which nothing can hold still.
  double rigidSlide = 0, rigidAbove = 0, rigidBelow = 0, soft = 0;
  double still = 0;   ///< part of the flat frames in which what bears moves less than FeetLimits::step
  int slideFrame = 0, aboveFrame = 0, belowFrame = 0;
  FrameSpan slides, floats, sinks;  ///< from the first to the last frame beyond the limits; empty: none
  FrameSpan held;     ///< from the plant's first frame to its release
};

/// Nothing where the plant is not of a foot with a sole, or lies outside the motion.
[[nodiscard]] std::optional<PlantKept> plantKept(const RepairContext& context, const TiledMotion& motion, const Repair& plant, const FeetLimits& limits = {});

/// Slide, float and sink of the plants; each finding proposes its plant, and says where it is the sole's skin that no plant holds still.
[[nodiscard]] Findings feetFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& plants, const FeetLimits& limits = {});

}  // namespace understudy
