#include "core/body/soles.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

/// Downward directions up to 60° off straight down, so that heel, ball, sides and toe tip are all found.
std::vector<Vec3d> downwardFan(const Vec3d& up) {
  const Vec3d x = anyPerpendicular(up), z = cross(x, up);
  std::vector<Vec3d> fan{-up};
  for (const double tilt : {15.0, 35.0, 60.0})
    for (int k = 0; k < 16; ++k) {
      const double a = tilt * std::numbers::pi / 180, b = k * std::numbers::pi / 8;
      fan.push_back(up * -std::cos(a) + (x * std::cos(b) + z * std::sin(b)) * std::sin(a));
    }
  return fan;
}

}  // namespace

std::array<Sole, 2> findSoles(const Figure& figure, const SkeletonMap& map, std::span<const Affined> fileWorld, const Vec3d& upFile) {
  std::array<Sole, 2> soles;
  const Skeleton& skeleton = figure.skeleton;
  // Which foot a joint belongs to: the foot's joint, its toes and all below them.
  std::vector<int> footOf(skeleton.parents.size(), -1);
  std::vector<char> ofToes(skeleton.parents.size(), 0);
  for (int j = 0; j < skeleton.size(); ++j) {
    if (skeleton.parents[j] >= 0) footOf[j] = footOf[skeleton.parents[j]], ofToes[j] = ofToes[skeleton.parents[j]];
    if (j == map.joint(Role::leftFoot) || j == map.joint(Role::leftToes)) footOf[j] = 0;
    if (j == map.joint(Role::rightFoot) || j == map.joint(Role::rightToes)) footOf[j] = 1;
    if (j == map.joint(Role::leftToes) || j == map.joint(Role::rightToes)) ofToes[j] = 1;
  }
  struct Candidate {
    Vec3d position;
    int joint;
  };
  std::array<std::vector<Candidate>, 2> candidates;
  for (const Mesh& mesh : figure.meshes) {
    const bool skinned = mesh.skin >= 0;
    if (!skinned && (mesh.node < 0 || footOf[mesh.node] < 0)) continue;
    if (skinned) {
      const Skin& skin = figure.skins[mesh.skin];
      if (std::none_of(skin.joints.begin(), skin.joints.end(), [&](int j) { return footOf[j] >= 0; })) continue;
    }
    const std::vector<Vec3f> positions = skinnedPositions(figure, mesh, fileWorld);
    for (std::size_t v = 0; v < positions.size(); ++v) {
      int joint = mesh.node;
      std::array<float, 2> own{}, toes{};
      if (skinned) {
        // The heaviest joint carries the point; a vertex mostly of the shank is no sole.
        float best = 0, all = 0;
        for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) {
          const int bone = figure.skins[mesh.skin].joints[mesh.influenceJoint[k]];
          const float weight = mesh.influenceWeight[k];
          all += weight;
          if (footOf[bone] >= 0) (ofToes[bone] ? toes : own)[static_cast<std::size_t>(footOf[bone])] += weight;
          if (weight > best) best = weight, joint = bone;
        }
        if (best <= 0) continue;
        for (int side = 0; side < 2; ++side)
          if (const float mine = own[side] + toes[side]; mine >= 0.5F * all || footOf[joint] == side)
            soles[side].skin.push_back({Vec3d(positions[v]), toes[side] / all, std::max(0.0F, 1 - mine / all)});
      } else {
        soles[footOf[joint]].skin.push_back({Vec3d(positions[v]), ofToes[joint] ? 1.0F : 0.0F, 0});
      }
      if (footOf[joint] >= 0) candidates[footOf[joint]].push_back({Vec3d(positions[v]), joint});
    }
  }
  const std::vector<Vec3d> fan = downwardFan(upFile);
  for (int side = 0; side < 2; ++side) {
    const int foot = map.joint(side == 0 ? Role::leftFoot : Role::rightFoot);
    if (foot < 0) continue;
    Sole& sole = soles[side];
    sole.fromSkin = !candidates[side].empty();
    if (!sole.fromSkin)
      for (int j = 0; j < skeleton.size(); ++j)
        if (footOf[j] == side) {
          candidates[side].push_back({fileWorld[j].translation, j});
          sole.skin.push_back({fileWorld[j].translation, ofToes[j] ? 1.0F : 0.0F, 0});
        }
    std::vector<std::size_t> chosen;
    for (const Vec3d& direction : fan) {
      std::size_t best = 0;
      double reach = -1e300;
      for (std::size_t i = 0; i < candidates[side].size(); ++i) {
        const double r = dot(candidates[side][i].position, direction);
        if (r > reach) {
          reach = r;
          best = i;
        }
      }
      if (std::find(chosen.begin(), chosen.end(), best) == chosen.end()) chosen.push_back(best);
    }
    for (const std::size_t i : chosen) {
      const Candidate& c = candidates[side][i];
      sole.points.push_back({c.joint, apply(inverse(fileWorld[c.joint]), c.position)});
    }
  }
  return soles;
}

}  // namespace understudy
