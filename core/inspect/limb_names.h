// Limbs as findings tell them apart.
#pragma once

#include <string>

namespace understudy {

enum class BodyLimb : unsigned char { trunk, leftArm, rightArm, leftLeg, rightLeg, other };

/// By a repair's bone name: "@leftLowerArm" and the left hand's fingers are the left arm; bones without a role are `other`.
[[nodiscard]] BodyLimb limbOfBone(const std::string& bone);
/// "left arm", "trunk".
[[nodiscard]] const char* limbName(BodyLimb part);
/// A bone as people say it: "left upper arm" of "@leftUpperArm"; a bone without a role by its own name.
[[nodiscard]] std::string spokenBone(const std::string& bone);
/// A bone and what it does: "left hand jumps", "left toes jump". `does`: of one thing.
[[nodiscard]] std::string boneDoes(const std::string& bone, const std::string& does);
/// "12 mm", "4.2°": a figure as sentences give it. `unit` is "mm", "°" or another that stands apart from the number.
[[nodiscard]] std::string spokenFigure(double value, const char* unit);

}  // namespace understudy
