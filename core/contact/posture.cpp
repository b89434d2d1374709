#include "core/contact/posture.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

/// Hips above the lower ankle, of the leg's length.
constexpr double standing = 0.5;
/// Cosine of the angle between trunk and up.
constexpr double leaning = 0.5;
/// Knee above the ankle, of the leg's length, up to which a shank lies; from memory: in stance and push-off it is above 0.3.
constexpr double shankLevel = 0.15;
/// Part of its length by which a shank may differ from that of the bind pose: figures whose feet go by themselves have no knees to kneel on.
constexpr double shankGives = 0.03;

}  // namespace

Posture::Posture(const Figure& figure, const SkeletonMap& map, double leg) : toWorld_(figure.space.toWorld()), leg_(leg), hips_(hipJoints(map)) {
  for (const Role role : {Role::leftFoot, Role::rightFoot})
    if (const int j = map.joint(role); j >= 0) ankles_.push_back(j);
  const std::vector<Affined> bind = bindWorld(figure);
  for (const bool left : {true, false}) {
    Shank& shank = shanks_[left ? 0 : 1];
    shank.knee = map.joint(left ? Role::leftLowerLeg : Role::rightLowerLeg);
    shank.ankle = map.joint(left ? Role::leftFoot : Role::rightFoot);
    if (shank.knee >= 0 && shank.ankle >= 0)
      shank.length = distance(apply(toWorld_, bind[static_cast<std::size_t>(shank.knee)].translation), apply(toWorld_, bind[static_cast<std::size_t>(shank.ankle)].translation));
  }
  for (const Role role : {Role::neck, Role::head, Role::upperChest, Role::chest, Role::spine})
    if (top_ < 0) top_ = map.joint(role);
}

void Posture::add(const std::vector<Affined>& world) {
  for (std::size_t side = 0; side < 2; ++side) {
    const Shank& shank = shanks_[side];
    bool level = false;
    if (shank.length > 0) {
      const Vec3d way = apply(toWorld_, world[static_cast<std::size_t>(shank.knee)].translation) - apply(toWorld_, world[static_cast<std::size_t>(shank.ankle)].translation);
      level = way.y < shankLevel * leg_ && std::abs(length(way) - shank.length) < shankGives * shank.length;
    }
    shankLies_[side].push_back(level);
  }
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
