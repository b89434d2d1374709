// Carries a performance over to a character: reference poses, alignment, limbs, chains, root travel, grounding.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"

namespace understudy {

/// A figure's pose in which its roles are compared with the other figure's, and what was read off it. World frame:
/// metres, Y up, the figure facing +Z.
struct ReferencePose {
  std::vector<Affined> fileWorld;   ///< world transforms of every joint in the file's unit and axes
  Quatd facing;                     ///< rotation about +Y that turns the figure to face +Z, applied after Space
  std::string source;               ///< "bind pose", "rest pose", "frame 34 of the clip"
  std::string shape;                ///< "T-pose", "A-pose", "arms down", "other", "none"
  double height = 0;                ///< metres, skin where there is one, else joints
  double legLength = 0;             ///< metres, thigh + shank, mean of both sides
  Issues issues;
};

/// World metres (facing +Z) from the figure's file coordinates.
[[nodiscard]] Affined worldFromFile(const Figure& figure, const ReferencePose& pose);

struct ReferenceSettings {
  std::optional<int> clipFrame;       ///< take this frame (counted from 0) of the clip as the reference pose
  std::optional<double> facingDegrees;  ///< turn about up that faces the figure to +Z, overriding the detected one
  friend bool operator==(const ReferenceSettings&, const ReferenceSettings&) = default;
};

/// Chooses the reference pose: bind pose of a skinned figure; else the rest pose where it is an upright body; else an
/// upright frame of `motion` (which may be null). Errors: no hips and legs to read a body from.
[[nodiscard]] Result<ReferencePose> referencePose(const Figure& figure, const SkeletonMap& map, const Motion* motion,
                                                  const ReferenceSettings& settings = {});

/// How one role is carried over. `correction` turns the character's reference orientation before the performer's
/// change is applied (world frame, the design's A).
struct RoleAlignment {
  bool aligned = false;        ///< true: reference frames matched; false: the character keeps its own posture
  Quatd correction;            ///< A
  double confidence = 1;       ///< of the second axis (hinge, palm, sole)
  std::string reason;
};
using Alignment = PerRole<RoleAlignment>;

struct RetargetSettings {
  ReferenceSettings performerReference, characterReference;
  std::optional<double> stride;              ///< travel scale; default is the ratio of leg lengths
  bool ground = true;                        ///< one constant vertical offset so that the soles stand on the floor
  std::map<Role, Vec3d> alignmentOffsets;    ///< extra turn (rotation vector, radians, character's world reference frame)
  std::map<Role, bool> alignmentChoices;     ///< true: match frames, false: keep the character's posture
  friend bool operator==(const RetargetSettings&, const RetargetSettings&) = default;
};

struct RetargetReport {
  double stride = 1;              ///< performer travel → character travel, both ÷ (thigh + shank) when 1 × ratio of legs
  double groundOffset = 0;        ///< metres added to the character's height while it stands
  double performerLeg = 0, characterLeg = 0;  ///< metres
  ReferencePose performerReference, characterReference;
  Alignment alignment;
  std::vector<int> animatedJoints;   ///< character joints that received rotation tracks
  Issues issues;
};

struct Retargeted {
  Motion motion;       ///< on the character's skeleton: local, file unit and axes
  RetargetReport report;
};

/// `clip` belongs to `performer.skeleton` and already has the rate and frames wanted. Errors: required roles missing,
/// non-finite input, degenerate legs.
[[nodiscard]] Result<Retargeted> retarget(const Figure& performer, const Motion& clip, const Figure& character, const BoneMap& map,
                                          const RetargetSettings& settings = {}, const RunControl& control = {});

}  // namespace understudy
