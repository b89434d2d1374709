#include "core/contact/posture.h"

#include <algorithm>

namespace understudy {
namespace {

/// Hips above the lower ankle, of the leg's length.
constexpr double standing = 0.5;
/// Cosine of the angle between trunk and up.
constexpr double leaning = 0.5;

}  // namespace

Posture::Posture(const Figure& figure, const SkeletonMap& map, double leg) : toWorld_(figure.space.toWorld()), leg_(leg), hips_(hipJoints(map)) {
  for (const Role role : {Role::leftFoot, Role::rightFoot})
    if (const int j = map.joint(role); j >= 0) ankles_.push_back(j);
  for (const Role role : {Role::neck, Role::head, Role::upperChest, Role::chest, Role::spine})
    if (top_ < 0) top_ = map.joint(role);
}

void Posture::add(const std::vector<Affined>& world) {
  if (hips_.empty() || ankles_.empty()) {
    onFeet_.push_back(1);
    lies_.push_back(0);
    return;
  }
  const auto at = [&](int j) { return apply(toWorld_, world[static_cast<std::size_t>(j)].translation); };
  Vec3d hips;
  for (const int j : hips_) hips += at(j) * (1.0 / static_cast<double>(hips_.size()));
  double ankle = at(ankles_.front()).y;
  for (const int j : ankles_) ankle = std::min(ankle, at(j).y);
  const bool stands = hips.y - ankle > standing * leg_;
  onFeet_.push_back(stands);
  lies_.push_back(!stands && top_ >= 0 && normalised(at(top_) - hips, Vec3d{0, 1, 0}).y < leaning);
}

}  // namespace understudy
