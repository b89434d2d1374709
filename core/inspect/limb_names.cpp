#include "core/inspect/limb_names.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <string_view>

namespace understudy {

BodyLimb limbOfBone(const std::string& bone) {
  if (bone.empty() || bone.front() != '@') return BodyLimb::other;
  const std::string_view role = std::string_view(bone).substr(1, bone.find('/') == std::string::npos ? std::string::npos : bone.find('/') - 1);
  const bool left = role.starts_with("left"), right = role.starts_with("right");
  if (!left && !right) return BodyLimb::trunk;
  const std::string_view rest = role.substr(left ? 4 : 5);
  if (rest == "Eye") return BodyLimb::trunk;
  if (rest.ends_with("Leg") || rest == "Foot" || rest == "Toes") return left ? BodyLimb::leftLeg : BodyLimb::rightLeg;
  return left ? BodyLimb::leftArm : BodyLimb::rightArm;
}

const char* limbName(BodyLimb part) {
  switch (part) {
    case BodyLimb::trunk: return "trunk";
    case BodyLimb::leftArm: return "left arm";
    case BodyLimb::rightArm: return "right arm";
    case BodyLimb::leftLeg: return "left leg";
    case BodyLimb::rightLeg: return "right leg";
    case BodyLimb::other: break;
  }
  return "bones";
}

std::string spokenBone(const std::string& bone) {
  if (bone.empty() || bone.front() != '@') return bone;
  std::string out;
  for (const char c : bone.substr(1)) {
    if (c >= 'A' && c <= 'Z') {
      out += ' ';
      out += static_cast<char>(c - 'A' + 'a');
    } else {
      out += c;
    }
  }
  return out;
}

std::string boneDoes(const std::string& bone, const std::string& does) {
  const std::string spoken = spokenBone(bone);
  const bool several = bone.ends_with("Toes") || bone == "@hips";
  const std::size_t verb = std::min(does.find(' '), does.size());  // "snaps straight" as well
  return spoken + " " + (several && verb > 0 && does[verb - 1] == 's' ? does.substr(0, verb - 1) + does.substr(verb) : does);
}

std::string spokenFigure(double value, const char* unit) {
  const bool joined = std::string_view(unit) == "°";
  char text[48];
  std::snprintf(text, sizeof text, std::abs(value) < 9.95 ? "%.1f%s%s" : "%.0f%s%s", value, joined ? "" : " ", unit);
  return text;
}

}  // namespace understudy
