// What measures share.
#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "tests/checker/measures.h"

namespace checker {

using Json = nlohmann::json;
inline constexpr double degrees = 180 / EIGEN_PI;

inline const char* sideName(int side) { return side == 0 ? "left" : "right"; }
inline double round3(double v) { return std::round(v * 1000) / 1000; }

/// −1: the role is not filled.
int node(const Roles& roles, const std::string& role);
/// The role above it; "" above the hips.
std::string parentOf(const std::string& role);
/// Mean, p95 and largest.
Json summary(const std::vector<double>& values);
/// Degrees.
double angleBetween(const Vector3d& a, const Vector3d& b);
double angleBetween(const Quaterniond& a, const Quaterniond& b);
Vector3d flat(Vector3d v);

/// Ball of the foot or toe end of the performer: what stays on the ground longest.
Vector3d toe(const Film& film, const Roles& roles, int frame, int side);

}  // namespace checker
