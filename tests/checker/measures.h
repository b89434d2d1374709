// What is measured on an exported result, against the performer's file and (where given) another export.
#pragma once

#include <nlohmann/json.hpp>

#include "tests/checker/body.h"

namespace checker {

struct Span {
  int side = 0;       ///< 0 left, 1 right
  int first = 0, last = 0;
  bool landingSeen = true, leavingSeen = true;
  int judgedFirst = -1, judgedLast = -1;  ///< where the foot should stand still; −1: worked out with a margin
  bool wholeStance = true;  ///< false: only its still part is known
  double ground = 0;        ///< height of what it stands on, metres
};

/// How deep each arm is in a region of the body, a row a frame; metres.
struct DepthRows {
  std::array<std::vector<double>, 2> arm;
  std::array<std::size_t, 2> points{};
  [[nodiscard]] bool empty() const { return points[0] + points[1] == 0; }
};

struct Case {
  const Film* result = nullptr;
  Roles roles;
  Regions regions;
  const Film* performer = nullptr;   ///< may be absent
  Roles performerRoles;
  const Film* reference = nullptr;   ///< another export on the same character
  double leg = 0, performerLeg = 0;  ///< thigh + shank
  int frames = 0;                    ///< that all of them have
  DepthRows depth, referenceDepth;
  /// Millimetres on a character of 1.7 m.
  [[nodiscard]] double mm(double length) const { return length * 1700 / regions.height; }
  [[nodiscard]] int performerFrame(int frame) const;
};

/// Rotation of a role against the nearest role above it (of a fixed list), one a frame.
[[nodiscard]] std::vector<Quaterniond> jointTurns(const Film& film, const Roles& roles, const std::string& role, int frames);

[[nodiscard]] double quantile(std::vector<double> values, double q);

/// Low and still: ankle within 3.5 cm, toe within 3 cm of their usual lowest, below 0.3 m/s, at a leg of 0.83 m. The still part of a
/// stance, surely inside it, says nothing about when the foot lands and leaves.
[[nodiscard]] std::vector<Span> lowAndSlow(const Film& performer, const Roles& roles, double leg);
/// Rows "frame,time,left,right,…" with 1 contact, 0 none, −1 not observed.
[[nodiscard]] std::vector<Span> labelled(const std::string& csv, double fps, int frames);

/// What is known of each foot at each frame: 1 on the ground, 0 not, −1 unknown.
using Known = std::array<std::vector<int>, 2>;
[[nodiscard]] Known knownContacts(const std::string& csv, double fps, int frames);
[[nodiscard]] Known knownContacts(const std::vector<Span>& stances, int frames);
/// Plants of feet in a reel's current take: still from the first phase to the release, which lasts to the span's end.
[[nodiscard]] std::vector<Span> plantsOf(const nlohmann::json& reel, double fps, int frames);
/// How much of the known stance plants cover, how much of them lies in known swing, and how far off their edges are.
[[nodiscard]] nlohmann::json coverage(const std::vector<Span>& plants, const Known& known, double fps);

[[nodiscard]] nlohmann::json directions(const Case& c, const Film& other, const Roles& otherRoles, bool sameWorld);
[[nodiscard]] nlohmann::json feet(const Case& c, const std::vector<Span>& spans, bool perFrame);
[[nodiscard]] nlohmann::json legAcceleration(const Case& c, const std::vector<Span>& spans);
[[nodiscard]] nlohmann::json hands(const Case& c);
[[nodiscard]] DepthRows depthRows(const Case& c, const Film& film, const std::vector<std::array<int, 3>>& triangles);
[[nodiscard]] nlohmann::json armDepth(const Case& c, bool perFrame);
/// The same of the floor instead of a region.
[[nodiscard]] DepthRows floorRows(const Case& c, const Film& film);
/// In how many frames an arm's skin is more than 10 mm below the floor, and how far at most; with a reference there too.
[[nodiscard]] nlohmann::json armsBelowFloor(const Case& c);
[[nodiscard]] nlohmann::json feetBelowFloor(const Case& c);
[[nodiscard]] nlohmann::json restBelowFloor(const Case& c);
/// Where hands are near: distance of the hands' skins from the torso and from each other, negative inside the torso.
[[nodiscard]] nlohmann::json handGaps(const Case& c);
/// The performer's touches of itself, found on its skeleton by a plain rule (`rule`) and as listed in a reel's current take (`reel`; null:
/// none is given): in how many of their frames the hand's skin is at most 5 mm off the touched part's and at most 2 mm in it. Parts that
/// go on into each other are one: trunk, head and legs; the arm of the other side; of hands that meet the other hand alone.
[[nodiscard]] nlohmann::json touches(const Case& c, const nlohmann::json& reel);
[[nodiscard]] nlohmann::json popsAndFlips(const Case& c);
/// With `spans`: also the share of bone-frames that moved although no flaw of the reference lies near.
[[nodiscard]] nlohmann::json moved(const Case& c, const std::vector<Span>& spans);
/// Of `count` arm frames drawn with `seed` among those deeper than 5 mm in the reference (or in the result without one): in how many a
/// plain search (hand kept; elbow swivelled in steps of 5 degrees, clavicle turned by up to 15) finds a pose at most 2 mm deep, and
/// in how many of those the result is no deeper either.
[[nodiscard]] nlohmann::json clearanceSearch(const Case& c, int count, unsigned seed);
/// The flaws of a truth file of the demo's kind: how large each is in the reference and in the result.
[[nodiscard]] nlohmann::json truthFlaws(const Case& c, const nlohmann::json& truth);
/// Stances of the truth file, first to last phase.
[[nodiscard]] std::vector<Span> truthStances(const nlohmann::json& truth, int frames);
/// Heel and ball of the sole in frames the truth file calls flat, ball in its ball phases.
[[nodiscard]] nlohmann::json truthSoles(const Case& c, const nlohmann::json& truth);

}  // namespace checker
