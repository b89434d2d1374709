#include "core/mapping/mapper.h"

#include <algorithm>

#include "core/mapping/name_rules.h"

namespace understudy {
namespace {

std::string label(const Figure& figure, int j) {
  const std::string& name = figure.skeleton.names[j];
  return name.empty() ? "#" + std::to_string(figure.skeleton.fileNodes[j]) : "'" + name + "'";
}

}  // namespace

void Mapper::set(Role role, std::vector<int> joints, double geometry, const std::string& where) {
  if (joints.empty() || joints[0] < 0) return;
  const NameCue& cue = t.cues[joints[0]];
  double confidence = geometry;
  std::string reason;
  const Part part = partOf(role);
  if (t.trust > 0 && cue.known()) {
    const double fit = cue.at(part);
    if (fit > .25) {
      confidence += (1 - confidence) * .8 * t.trust;
      reason = "named " + label(figure, joints[0]) + ", ";
    } else {
      confidence -= .2 * t.trust;
      reason = "in spite of its name " + label(figure, joints[0]) + ", ";
    }
  }
  RoleJoints& entry = map.at(role);
  entry.joints = std::move(joints);
  entry.confidence = std::clamp(confidence, .05, .99);
  entry.reason = reason + where;
}

}  // namespace understudy
