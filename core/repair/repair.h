// Repairs: editable, non-destructive corrections of a retargeted motion, as values. How each is applied lies in the file of
// its own kind.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "core/base/frame_rate.h"
#include "core/math/quat.h"
#include "core/repair/nudge.h"

namespace understudy {

// Bones are named by text: "@leftHand" is who fills that role (and so survives another character), anything else a jointKey().
// Lengths are metres in the stage (Y up, the character facing +Z in its reference pose), times seconds from the first frame of
// the untrimmed clip, angles radians. Anchors are stored when a repair is made; only refitting computes them anew, so that
// an edit elsewhere never moves them.

/// A place and an orientation. Points of `from` space are taken to position + rotation · p.
struct Placement {
  Vec3d position;
  Quatd rotation;
  friend bool operator==(const Placement&, const Placement&) = default;
};

/// Additive rotation or translation of chosen bones.
struct OffsetRepair {
  std::vector<JointNudge> bones;
  NudgeSpace space = NudgeSpace::bone;
  bool bothSides = false;  ///< the same bones of the other side are turned as in a mirror
  friend bool operator==(const OffsetRepair&, const OffsetRepair&) = default;
};

/// Bones rebuilt over the span from its two edges, value and velocity matched. The span's ease is not used.
struct BridgeRepair {
  std::vector<std::string> bones;  ///< empty: all
  bool position = true;            ///< bones that move as well
  friend bool operator==(const BridgeRepair&, const BridgeRepair&) = default;
};

/// One pose kept over the span.
struct StillRepair {
  std::vector<std::string> bones;  ///< empty: all
  std::optional<double> time;      ///< of the pose that is kept; default: the span's first frame
  bool position = true;
  friend bool operator==(const StillRepair&, const StillRepair&) = default;
};

/// Takes nudges off the bones over the span.
struct RestoreRepair {
  std::vector<std::string> bones;  ///< empty: all
  friend bool operator==(const RestoreRepair&, const RestoreRepair&) = default;
};

/// Flips over time removed, twist shared along limbs.
struct UntwistRepair {
  std::vector<std::string> bones;  ///< empty: all limbs
  bool flips = true;               ///< a step of half a turn that comes and goes
  double share = 0.5;              ///< part of the forearm's and shank's twist that the bone above takes, 0: none
  double limit = 1.5707963;        ///< radians of twist at one joint beyond which the excess is shared
  bool hinges = false;             ///< elbows and knees take their own twist from the span's edges; hands and feet keep their orientation
  friend bool operator==(const UntwistRepair&, const UntwistRepair&) = default;
};

/// Zero-lag low-pass of the bones' curves.
struct SmoothRepair {
  std::vector<std::string> bones;  ///< empty: all
  double cutoff = 6;               ///< hertz
  bool position = true;
  friend bool operator==(const SmoothRepair&, const SmoothRepair&) = default;
};

enum class PlantPart : unsigned char { leftFoot, rightFoot, leftKnee, rightKnee, leftHand, rightHand, seat };
enum class PlantPhase : unsigned char { heel, flat, ball, toe, spin };

/// A phase lasts from its time to the next mark's, or to the plant's end.
struct PlantMark {
  double time = 0;
  PlantPhase phase = PlantPhase::flat;
  std::optional<double> turn{};  ///< radians by which the foot's direction changes over a spin; none: its part of what is left of the plant's turn
  friend bool operator==(const PlantMark&, const PlantMark&) = default;
};

/// A body part's time on the ground.
struct PlantRepair {
  PlantPart part = PlantPart::leftFoot;
  std::vector<PlantMark> marks;  ///< empty: flat throughout
  double ground = 0;             ///< height of the ground, metres
  Vec3d normal{0, 1, 0};         ///< of the ground there
  std::optional<double> release; ///< time from which the part may slip as it did before; none: it stays to the end
  bool anchored = false;         ///< false: the anchor is read off the motion once, when the repair is added
  Vec3d anchor;                  ///< of the part's joint, as if the foot were flat
  double yaw = 0;                ///< radians about +Y from the foot's direction in the reference pose
  double turn = 0;               ///< radians by which the foot's direction changes over the spin phases
  double lift = 0;               ///< metres by which the pelvis is raised while the part stands; part of the anchor
  friend bool operator==(const PlantRepair&, const PlantRepair&) = default;
};

enum class TouchKind : unsigned char { meet, rest, glide };
enum class TouchTarget : unsigned char { point, plane, set, body, hand, prop };

/// A moment of a touch that wanders over a body. Between moments place and point go smoothly on.
struct TouchMark {
  double time = 0;
  std::string on;                  ///< bone that carries the place
  Vec3d place;                     ///< in its rigid frame, metres
  Vec3d normal{0, 1, 0};           ///< outwards there
  Vec3d point;                     ///< what touches, in the touching bone's rigid frame
  friend bool operator==(const TouchMark&, const TouchMark&) = default;
};

/// A point of body or prop held against something.
struct TouchRepair {
  TouchKind kind = TouchKind::rest;
  std::string bone = "@leftHand";  ///< carries the point
  Vec3d point;                     ///< in the bone's rigid frame of the reference pose, metres
  std::uint64_t prop = 0;          ///< not 0: `point` lies on this prop instead
  TouchTarget target = TouchTarget::point;
  std::string on;                  ///< bone of the target's surface, or name of the set object or prop; empty for points and planes
  Vec3d place;                     ///< on the target: in the stage, or in the target's own rigid frame
  Vec3d normal{0, 1, 0};           ///< outwards there
  double gap = 0;                  ///< metres kept between point and target
  std::vector<TouchMark> path;     ///< with bodies and hands: where the place goes over the span; empty: `place`, or for a glide where the motion leads
  bool skin = false;               ///< on bodies and hands the nearest skin of the touching hand is what touches, near the place
  double share = 0.5;              ///< part of the way the other hand comes, where hands touch each other; 0: only this one moves
  bool spine = true;               ///< the spine may help
  friend bool operator==(const TouchRepair&, const TouchRepair&) = default;
};

/// A prop held by a lead hand, the support hand kept on it.
struct GripRepair {
  std::uint64_t prop = 0;   ///< 0: nothing is seen in the hands; they keep together
  bool leadLeft = false;    ///< false: the right hand leads
  bool support = true;      ///< the other hand is kept on the prop
  Placement leadGrip;       ///< on the prop, metres; for no prop: the lead hand's own frame
  Placement supportGrip;    ///< on the prop; for no prop: in the lead hand's frame
  Placement leadPalm;       ///< of the lead hand's palm in its bone's rigid frame
  Placement supportPalm;
  double slide = 0;         ///< metres the support hand may slide along the prop where it is out of reach
  double share = 0;         ///< part of the way between both hands that the lead hand comes; 0: it keeps its pose and only the other hand moves
  bool floor = false;       ///< the prop stays above the ground: in both hands it tilts about the lead palm; where that does not do, or in one hand, it runs along its handle
  bool anchored = false;    ///< false: the frames are worked out once, when the repair is added
  friend bool operator==(const GripRepair&, const GripRepair&) = default;
};

/// Limbs kept out of the body.
struct ClearanceRepair {
  std::vector<std::string> limbs;   ///< "@leftUpperArm", "@rightUpperArm"; empty: both arms
  std::vector<std::string> bodies;  ///< "torso", "head", "thighs", "floor"; empty: all
  double margin = 0.002;            ///< metres kept between limb and body, of a character 1.7 m tall
  bool prop = false;                ///< the prop in the hand is kept out too
  double headTurn = 0.3490659;      ///< radians (20°) by which neck and head together may turn away where the arms have no room beside the head; 0: not at all
  friend bool operator==(const ClearanceRepair&, const ClearanceRepair&) = default;
};

/// The shape of a hand over a span.
struct HandShapeRepair {
  bool left = true;
  std::string shape = "relaxed";  ///< relaxed, flat, fist, point, grip, own
  double amount = 1;              ///< 0 … 1 of the way from the hand's own shape
  friend bool operator==(const HandShapeRepair&, const HandShapeRepair&) = default;
};

/// Trunk and legs kept above the ground where the character sits, kneels or lies.
struct GroundRepair {
  std::vector<std::string> bodies;  ///< "torso", "thighs", "shanks"; empty: all
  double margin = 0;                ///< metres kept above the ground, of a character 1.7 m tall
  friend bool operator==(const GroundRepair&, const GroundRepair&) = default;
};

using RepairAction = std::variant<OffsetRepair, BridgeRepair, StillRepair, RestoreRepair, UntwistRepair, SmoothRepair, PlantRepair, TouchRepair,
                                  GripRepair, ClearanceRepair, HandShapeRepair, GroundRepair>;

/// Spelling of the kinds in files and on the command line, in the variant's order.
[[nodiscard]] const std::vector<std::string>& repairKinds();

struct Repair {
  std::uint64_t id = 0;  ///< unique within its take; addRepair gives one where it is 0
  std::string name;
  std::optional<TimeRange> span;  ///< none: the whole clip
  double easeBefore = defaultEaseSeconds;
  double easeAfter = defaultEaseSeconds;
  double weight = 1;     ///< 0 is skipped
  bool muted = false;
  bool solo = false;     ///< as long as some repairs are solo, only they are applied
  bool proposed = false; ///< made by the program, not touched by hand yet
  RepairAction action;
  std::string unknown;   ///< fields of the file that this version does not know (JSON object text)
  friend bool operator==(const Repair&, const Repair&) = default;

  [[nodiscard]] const std::string& kind() const { return repairKinds()[action.index()]; }
};

/// Kinds that stand at a stored place: plant, grip.
[[nodiscard]] bool hasAnchor(const Repair& repair);
/// True where the anchor is stored, and for kinds without one.
[[nodiscard]] bool isAnchored(const Repair& repair);
/// Does nothing for kinds without an anchor.
void setAnchored(Repair& repair, bool anchored);

/// A repair's frames, counted from 0 in the untrimmed clip, clipped to it.
struct RepairFrames {
  FrameSpan span;             ///< empty where it lies outside the clip
  int before = 0, after = 0;  ///< frames of ease outside the span
  /// Frames with a weight above 0.
  [[nodiscard]] FrameSpan acting() const {
    return span.empty() ? span : FrameSpan{before > 0 ? span.first - before + 1 : span.first, after > 0 ? span.last + after - 1 : span.last};
  }
  friend bool operator==(const RepairFrames&, const RepairFrames&) = default;
};
[[nodiscard]] RepairFrames repairFrames(const Repair& repair, FrameRate rate, int clipFrames);

/// 1 inside the span, 0 from `before` and `after` frames outwards, between them the kernel of easeWeight().
[[nodiscard]] double spanWeight(const RepairFrames& frames, int frame);

/// Who holds a prop from a time on, where no grip does: the world or a bone.
struct PropHolder {
  double time = 0;
  std::string bone;  ///< empty: the world
  Placement place;   ///< of the prop: in the stage, or in the bone's rigid frame, metres
  friend bool operator==(const PropHolder&, const PropHolder&) = default;
};

/// A prop of the take.
struct PropItem {
  std::uint64_t id = 0;
  std::string name;
  std::string path;              ///< file; empty: a shaft of `length` and `radius` along +Y
  std::string node;              ///< jointKey() of the node in that file; empty: all of it
  double scale = 1;              ///< on top of the file's own unit
  double length = 1.5, radius = 0.015;  ///< metres; with a file, radius is that of the handle, found with the grips
  Placement leadGrip, supportGrip;  ///< on the prop, metres, after scale
  bool gripped = false;          ///< false: the grips are found on its mesh when it is first used
  std::optional<Vec3d> end;      ///< its working end (bristles, tip), on the prop, metres; found with the grips
  std::optional<Vec3d> foot;     ///< where the handle begins on the side of that end, on the prop
  std::vector<Vec3d> outline;    ///< points of a file's surface on the prop, metres, after scale; found with the grips
  std::vector<PropHolder> holders;  ///< in order of time; empty: it stays where the grips before and after it have it
  std::string unknown;
  friend bool operator==(const PropItem&, const PropItem&) = default;
};

enum class SetKind : unsigned char { plane, box, ball, steps, mesh };
/// Reference geometry around the character; never exported unless asked.
struct SetItem {
  std::uint64_t id = 0;
  std::string name;
  SetKind kind = SetKind::plane;
  Placement place;
  Vec3d size{1, 1, 1};  ///< box: edges; ball: x is the radius; steps: width, rise, run
  int count = 1;        ///< of steps
  std::string path;     ///< of a mesh
  std::string unknown;
  friend bool operator==(const SetItem&, const SetItem&) = default;
};

/// Bones and frames that nothing automatic touches.
struct Lock {
  std::vector<std::string> bones;  ///< empty: all
  std::optional<TimeRange> span;   ///< none: the whole clip
  friend bool operator==(const Lock&, const Lock&) = default;
};

}  // namespace understudy
