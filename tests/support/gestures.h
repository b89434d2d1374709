// A performer made by the tests who touches itself: hands placed frame by frame on a T-posed body of 1.7 m.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "core/repair/poser.h"

namespace understudy::test {

/// Where both wrists are at a time, and which way fingers and palms point; directions and places in the stage.
struct HandPlace {
  Vec3d wrist;
  Vec3d fingers;  ///< unit; zero: the hand goes on from the forearm
  Vec3d palm;     ///< unit, out of the palm
  Vec3d elbow;    ///< side the elbow points to
};

struct Gesture {
  std::shared_ptr<const Figure> performer;  ///< 22 joints, T-pose, +Z, no skin
  std::shared_ptr<const BoneMap> map;       ///< the same on both sides
  Motion motion;
};

/// `hand(side, seconds)`: 0 left, 1 right.
[[nodiscard]] Gesture makeGesture(double seconds, double hertz, const std::function<HandPlace(int side, double seconds)>& hand);

/// Palms meet in front of the chest twice a second, 30 mm between the hands' axes at the blow.
[[nodiscard]] Gesture clap(double seconds = 3, double hertz = 30);
/// Palms together in front of the chest, raised and lowered.
[[nodiscard]] Gesture palmsTogether(double seconds = 3, double hertz = 30);
/// Arms hang, go to the hips, stay from 1 s to 3 s, hang again.
[[nodiscard]] Gesture handsOnHips(double hertz = 30);
/// The right palm on the side of the head from 1 s to 2 s.
[[nodiscard]] Gesture handToHead(double hertz = 30);
/// The left palm strokes 150 mm down the chest, 1 s to 3 s.
[[nodiscard]] Gesture strokeChest(double hertz = 60);
/// Both hands on a stick that swings about, `apart` metres between the palms.
[[nodiscard]] Gesture stickInHands(double apart = 0.3, double seconds = 4, double hertz = 60);
/// Both hands move about, each on its own.
[[nodiscard]] Gesture waving(double seconds = 4, double hertz = 60);
/// Both arms swing forwards and back beside each other as before a jump, the palms turning from inwards to downwards.
[[nodiscard]] Gesture armsSwingAlike(double seconds = 4, double hertz = 60);

}  // namespace understudy::test
