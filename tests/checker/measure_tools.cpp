#include "tests/checker/measure_tools.h"

#include <algorithm>

namespace checker {
namespace {

const std::vector<std::pair<const char*, const char*>> parentRoles = {
    {"spine", "hips"}, {"chest", "spine"}, {"upperChest", "chest"}, {"neck", "upperChest"}, {"head", "neck"},
    {"leftUpperLeg", "hips"}, {"leftLowerLeg", "leftUpperLeg"}, {"leftFoot", "leftLowerLeg"}, {"leftToes", "leftFoot"},
    {"rightUpperLeg", "hips"}, {"rightLowerLeg", "rightUpperLeg"}, {"rightFoot", "rightLowerLeg"}, {"rightToes", "rightFoot"},
    {"leftShoulder", "upperChest"}, {"leftUpperArm", "leftShoulder"}, {"leftLowerArm", "leftUpperArm"}, {"leftHand", "leftLowerArm"},
    {"rightShoulder", "upperChest"}, {"rightUpperArm", "rightShoulder"}, {"rightLowerArm", "rightUpperArm"}, {"rightHand", "rightLowerArm"}};

}  // namespace

int node(const Roles& roles, const std::string& role) {
  const auto found = roles.find(role);
  return found == roles.end() ? -1 : found->second;
}

std::string parentOf(const std::string& role) {
  for (const auto& [child, parent] : parentRoles)
    if (role == child) return parent;
  return {};
}

Json summary(const std::vector<double>& values) {
  if (values.empty()) return nullptr;
  double sum = 0;
  for (double v : values) sum += v;
  return {{"mean", round3(sum / static_cast<double>(values.size()))}, {"p95", round3(quantile(values, 0.95))}, {"max", round3(quantile(values, 1))}};
}

double angleBetween(const Vector3d& a, const Vector3d& b) { return std::atan2(a.cross(b).norm(), a.dot(b)) * degrees; }
double angleBetween(const Quaterniond& a, const Quaterniond& b) {
  const Quaterniond d = a.conjugate() * b;
  return 2 * std::atan2(d.vec().norm(), std::abs(d.w())) * degrees;
}

Vector3d flat(Vector3d v) {
  v.y() = 0;
  return v;
}

Vector3d toe(const Film& film, const Roles& roles, int frame, int side) {
  const int toes = node(roles, std::string(sideName(side)) + "Toes"), foot = node(roles, std::string(sideName(side)) + "Foot");
  if (toes >= 0) return film.place(frame, toes);
  return film.at(frame, foot) * film.ends[index(foot)];
}

int Case::performerFrame(int frame) const {
  return std::min(performer->frames - 1, static_cast<int>(std::lround(frame / result->fps * performer->fps)));
}

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  const std::size_t k = static_cast<std::size_t>(std::lround(q * static_cast<double>(values.size() - 1)));
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
  return values[k];
}

std::vector<Quaterniond> jointTurns(const Film& film, const Roles& roles, const std::string& role, int frames) {
  std::vector<Quaterniond> out;
  const int child = node(roles, role);
  if (child < 0) return out;
  std::string above = parentOf(role);
  while (!above.empty() && node(roles, above) < 0) above = parentOf(above);
  const int parent = node(roles, above);
  for (int f = 0; f < frames; ++f) {
    const Quaterniond q = film.turn(f, child);
    out.push_back(parent < 0 ? q : film.turn(f, parent).conjugate() * q);
  }
  return out;
}

}  // namespace checker
