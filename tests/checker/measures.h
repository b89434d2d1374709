// What is measured on an exported result, against the performer's file and (where given) another export.
#pragma once

#include <nlohmann/json.hpp>

#include "tests/checker/body.h"

namespace checker {

struct Span {
  int side = 0;       ///< 0 left, 1 right
  int first = 0, last = 0;
  bool landingSeen = true, leavingSeen = true;
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
  /// Millimetres on a character of 1.7 m.
  [[nodiscard]] double mm(double length) const { return length * 1700 / regions.height; }
  [[nodiscard]] int performerFrame(int frame) const;
};

/// Rotation of a role against the nearest role above it (of a fixed list), one a frame.
[[nodiscard]] std::vector<Quaterniond> jointTurns(const Film& film, const Roles& roles, const std::string& role, int frames);

[[nodiscard]] double quantile(std::vector<double> values, double q);

/// Low and slow: ankle within 3.5 cm, toe within 3 cm of their usual lowest, below 0.8 m/s, at a leg of 0.83 m.
[[nodiscard]] std::vector<Span> lowAndSlow(const Film& performer, const Roles& roles, double leg);
/// Rows "frame,time,left,right,…" with 1 contact, 0 none, −1 not observed.
[[nodiscard]] std::vector<Span> labelled(const std::string& csv, double fps, int frames);

[[nodiscard]] nlohmann::json directions(const Case& c, const Film& other, const Roles& otherRoles, bool sameWorld);
[[nodiscard]] nlohmann::json feet(const Case& c, const std::vector<Span>& spans, bool perFrame);
[[nodiscard]] nlohmann::json legAcceleration(const Case& c, const std::vector<Span>& spans);
[[nodiscard]] nlohmann::json hands(const Case& c);
[[nodiscard]] nlohmann::json armDepth(const Case& c, bool perFrame);
[[nodiscard]] nlohmann::json popsAndFlips(const Case& c);
[[nodiscard]] nlohmann::json moved(const Case& c);

}  // namespace checker
