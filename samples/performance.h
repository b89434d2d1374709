// The performance: an adult sweeps the gallery. Made from steps, key poses, splines and contacts.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "core/math/transform.h"

namespace understudy::samples {

/// Joints of the performer, in file order; left before right.
enum Joint : int {
  pelvis,
  spine1,
  spine2,
  spine3,
  neck,
  head,
  leftClav,
  leftArm,
  leftFore,
  leftHand,
  leftIndex1,
  leftIndex2,
  leftMiddle1,
  leftMiddle2,
  rightClav,
  rightArm,
  rightFore,
  rightHand,
  rightIndex1,
  rightIndex2,
  rightMiddle1,
  rightMiddle2,
  leftThigh,
  leftShin,
  leftFoot,
  leftToes,
  rightThigh,
  rightShin,
  rightFoot,
  rightToes,
  jointCount
};

struct Performer {
  double height = 1.78;                    ///< metres
  std::array<Vec3d, jointCount> offset{};  ///< from the parent, metres, T-pose, world axes
  std::array<Vec3d, jointCount> end{};     ///< end sites of head, fingers and toes
  [[nodiscard]] static int parent(int joint);
  [[nodiscard]] static const char* name(int joint);
};

struct PerformanceSettings {
  std::uint64_t seed = 1;
  bool clean = false;  ///< true: none of the flaws below, and no capture noise after the contacts were solved
};

/// Frames are counted from 0 here and from 1 in files.
struct Span {
  int first = 0, last = 0;
};

struct FootPhase {
  int side = 0;       ///< 0 left, 1 right
  std::string phase;  ///< heel, flat, spin, ball, toe: what the foot turns about
  Span span;
};

struct Stroke {
  Span span;
  int markFrame = 0;
  bool missed = false;
};

struct Flaw {
  std::string kind, joint, unit, note;
  Span span;
  double size = 0;
};

struct Gesture {
  std::string what;
  Span span;
};

struct Performance {
  Performer performer;
  int frames = 0;
  int framesPerSecond = 30;
  /// World placement of the pelvis and local rotations, one a frame and joint.
  std::vector<Vec3d> root;
  std::vector<std::array<Quatd, jointCount>> rotations;

  // Truth.
  Vec3d mark;                                        ///< on the floor, metres
  double broomLength = 0;                            ///< metres
  double leadAlongShaft = 0, supportAlongShaft = 0;  ///< metres from the bristles' end
  std::array<Vec3d, 2> gripPoint{};                  ///< in the hand joint's frame, metres: left, right
  Span leadGrip, supportGrip;
  std::vector<Vec3d> broomHead, broomUp;  ///< the broom's pose a frame, as meant
  std::vector<FootPhase> phases;
  std::vector<Stroke> strokes;
  std::vector<Gesture> gestures;
  std::vector<Flaw> flaws;
  double worstReach = 0;  ///< metres a hand falls short of where it should be; 0 when all is well
};

[[nodiscard]] Performance makePerformance(const PerformanceSettings& settings);

/// World transforms of every joint at a frame.
[[nodiscard]] std::array<Affined, jointCount> worldOf(const Performance& performance, int frame);

[[nodiscard]] std::string bvhOf(const Performance& performance);
[[nodiscard]] std::string truthOf(const Performance& performance, std::uint64_t seed);

}  // namespace understudy::samples
