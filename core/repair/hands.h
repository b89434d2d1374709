// A character's hands as its skin shows them: the palm, the fingers, and shapes fingers can take.
#pragma once

#include <array>
#include <span>
#include <string>
#include <vector>

#include "core/math/rigid.h"
#include "core/retarget/posed_body.h"

namespace understudy {

/// One bone of a finger. The hand's frame is that of the hand's joint (rotation and position in metres) in the reference pose.
struct FingerBone {
  int joint = -1;
  Rigid rest;               ///< the joint in the hand's frame
  Vec3d end;                ///< where the next bone begins or the tip lies, in the hand's frame
  double bend = 0;          ///< radians by which this bone is closed against the one before (the first: against the palm)
  std::vector<Vec3d> skin;  ///< points of the skin that move with the bone, in the hand's frame; the bone's own end without a skin
  double thick = 0;         ///< metres to add around `skin`: 0 for a skin, half a finger's thickness for bare bones
};

struct Finger {
  bool thumb = false;
  Vec3d curl;  ///< unit axis in the hand's frame; a positive turn closes the finger
  std::vector<FingerBone> bones;
};

/// One hand. A palm frame has its origin on the palm's skin, y towards the thumb's side (the way a held shaft runs) and z out of
/// the palm, on both hands: what is held lies on the side of +z.
struct Hand {
  int joint = -1;           ///< −1: not mapped
  Rigid palm;               ///< the palm frame in the hand's frame
  Vec3d along;              ///< unit direction of the fingers in the hand's frame
  double length = 0;        ///< metres from the wrist to the knuckles
  double width = 0;         ///< metres across the palm
  bool fromSkin = false;    ///< false: the palm's place is guessed from the skeleton
  std::string reason;       ///< how the thumb's side was found, for people
  std::vector<Finger> fingers;  ///< thumb first; empty for mittens and claws whose fingers are not mapped
};

/// Both hands (left, right) of a body in its reference pose.
[[nodiscard]] std::array<Hand, 2> findHands(const PosedBody& body);

/// Relative flexion of a finger's joints from the palm outwards, radians.
using Flexion = std::array<double, 3>;

enum class HandPose : unsigned char { relaxed, flat, fist, point, grip, own };

/// What is held: a round handle, seen from the palm frame.
struct HandleInPalm {
  Vec3d at;                 ///< a point of its axis, metres
  Vec3d axis{0, 1, 0};      ///< unit
  double radius = 0.015;    ///< metres
};

/// A finger joint and its rotation relative to the hand's joint.
struct FingerTurn {
  int joint = -1;
  Quatd turn;
};

struct HandClosing {
  std::vector<FingerTurn> turns;  ///< parents before children
  std::vector<double> gaps;       ///< metres between each finger's skin and the handle, one a finger; negative: inside
};

/// Finger rotations of a shape. `grip` closes each finger, bone after bone, until its skin meets the handle; `own` is the
/// reference pose.
[[nodiscard]] HandClosing handPose(const Hand& hand, HandPose pose, const HandleInPalm& handle = {});

}  // namespace understudy
