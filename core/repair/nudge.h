// A hand-made key on an additive layer: a change of pose at a frame, with an ease before and after.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/frame_rate.h"
#include "core/math/vec.h"

namespace understudy {

/// The axes a nudge turns about and moves along.
enum class NudgeSpace {
  bone,       ///< the bone's own: q′ = q · exp(w r)
  parent,     ///< its parent's: q′ = exp(w r) · q
  character,  ///< the stage's, turned by the hips' heading at the nudge's frame
  world,      ///< the stage's: metres, Y up, the character's reference pose facing +Z
  view,       ///< made in a view; stored in the stage's axes and evaluated like `world`
  ground,     ///< y is up; z lies on the ground, where the bone's front has turned to since the reference pose (+Z)
};

/// The spelling in files: "bone", "parent", "character", "world", "view", "ground".
[[nodiscard]] std::string nudgeSpaceName(NudgeSpace space);
[[nodiscard]] bool nudgeSpaceNamed(const std::string& name, NudgeSpace& space);

/// What a nudge does to one character joint.
struct JointNudge {
  std::string joint;    ///< "@role" or jointKey() of the character's skeleton
  Vec3d rotation;       ///< rotation vector, radians, in the nudge's space
  Vec3d translation;    ///< metres, in the nudge's space; zero leaves the position alone
  friend bool operator==(const JointNudge&, const JointNudge&) = default;
};

/// How the turn of one joint passes through the key: slopes of the rotation vector on either side, radians a second.
struct NudgeSlope {
  std::string joint;  ///< spelled as in the nudge's joints
  Vec3d before, after;
  friend bool operator==(const NudgeSlope&, const NudgeSlope&) = default;
};

/// The slopes as changes of their joints, first all before, then all after; and back: joints follow what became of them.
[[nodiscard]] std::vector<JointNudge> slopeParts(const std::vector<NudgeSlope>& slopes);
[[nodiscard]] std::vector<NudgeSlope> slopesOf(const std::vector<JointNudge>& parts);

/// Eight frames at 30 frames/s.
inline constexpr double defaultEaseSeconds = 8.0 / 30.0;

/// Times count from the first frame of the untrimmed clip, in seconds, so that nudges stay with the performance when the
/// scene's rate or the trim changes. Frames follow by rounding (nudgeFrames).
struct Nudge {
  std::uint64_t id = 0;  ///< unique within its take; addNudge gives one where it is 0
  std::string name;
  double time = 0;
  double easeBefore = defaultEaseSeconds;
  double easeAfter = defaultEaseSeconds;
  double weight = 1;
  bool muted = false;
  bool solo = false;     ///< as long as some repairs or nudges are solo, only they are applied
  bool late = false;     ///< made on the result: applied after all repairs
  NudgeSpace space = NudgeSpace::bone;
  std::vector<JointNudge> joints;
  std::vector<NudgeSlope> slopes;  ///< of joints whose turn is not level at the key
  std::string unknown;  ///< fields of the file that this version does not know (JSON object text)
  friend bool operator==(const Nudge&, const Nudge&) = default;
};

/// A nudge's frames, counted from 0 in the untrimmed clip: it acts on frame−before+1 … frame+after−1, fully at `frame`.
struct NudgeFrames {
  int frame = 0;
  int before = 0;
  int after = 0;
  [[nodiscard]] int first() const { return before > 0 ? frame - before + 1 : frame; }
  [[nodiscard]] int last() const { return after > 0 ? frame + after - 1 : frame; }
  friend bool operator==(const NudgeFrames&, const NudgeFrames&) = default;
};
[[nodiscard]] NudgeFrames nudgeFrames(const Nudge& nudge, FrameRate rate);

/// Weight of a nudge's shape at a frame, 0 … 1: the C¹ kernel 2t³−3t²+1 of the distance from the key
/// (Kovar, Schreiner, Gleicher 2002). 1 at `frame`, exactly 0 from frame−before and frame+after outwards.
[[nodiscard]] double easeWeight(const NudgeFrames& frames, int frame);

/// What a slope of one a frame at the key adds at a frame: the cubic Hermite form's t³−2t²+t (de Boor, A Practical Guide to Splines),
/// so that nudges whose eases end at one another's keys make one smooth curve. 0 at the key and from the ends of the eases outwards.
[[nodiscard]] double slopeWeight(const NudgeFrames& frames, int frame);

}  // namespace understudy
