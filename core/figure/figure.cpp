#include "core/figure/figure.h"

namespace understudy {

std::vector<Affined> bindWorld(const Figure& figure) {
  const Skeleton& skeleton = figure.skeleton;
  std::vector<Affined> world(skeleton.parents.size());
  std::vector<char> bound(skeleton.parents.size(), 0);
  for (const Skin& skin : figure.skins)
    for (std::size_t i = 0; i < skin.joints.size() && i < skin.inverseBind.size(); ++i) {
      const int joint = skin.joints[i];
      if (bound[joint] || std::abs(determinant(skin.inverseBind[i].linear)) < 1e-30) continue;
      world[joint] = inverse(skin.inverseBind[i]);
      bound[joint] = 1;
    }
  for (int j = 0; j < skeleton.size(); ++j) {
    if (bound[j]) continue;
    const Affined own(skeleton.rest[j]);
    world[j] = skeleton.parents[j] < 0 ? own : world[skeleton.parents[j]] * own;
  }
  return world;
}

std::vector<Vec3f> skinnedPositions(const Figure& figure, const Mesh& mesh, std::span<const Affined> world) {
  std::vector<Vec3f> out(mesh.positions.size());
  if (mesh.skin < 0) {
    const Affinef place(mesh.node >= 0 ? world[mesh.node] : Affined{});
    for (std::size_t v = 0; v < out.size(); ++v) out[v] = apply(place, mesh.positions[v]);
    return out;
  }
  const Skin& skin = figure.skins[mesh.skin];
  std::vector<Affinef> matrices(skin.joints.size());
  for (std::size_t i = 0; i < matrices.size(); ++i) matrices[i] = Affinef(world[skin.joints[i]] * skin.inverseBind[i]);
  for (std::size_t v = 0; v < out.size(); ++v) {
    Vec3f sum{};
    for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
      sum += apply(matrices[mesh.influenceJoint[k]], mesh.positions[v]) * mesh.influenceWeight[k];
    out[v] = sum;
  }
  return out;
}

}  // namespace understudy
