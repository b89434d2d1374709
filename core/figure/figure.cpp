#include "core/figure/figure.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

/// Where the space of a skin's meshes lies in the file. Inverse bind matrices start from mesh coordinates, which may be
/// turned, moved or in another unit than the nodes; the candidate that brings the bound joints nearest to their rest
/// places is taken: mesh coordinates are the file's, the mesh's node places them, or the topmost bound joint does.
Affined meshPlacement(const Figure& figure, int skinIndex, const std::vector<Affined>& rest) {
  const Skin& skin = figure.skins[skinIndex];
  std::vector<Affined> candidates{Affined{}};
  for (const Mesh& mesh : figure.meshes)
    if (mesh.skin == skinIndex && mesh.node >= 0) {
      candidates.push_back(rest[mesh.node]);
      break;
    }
  const std::size_t count = std::min(skin.joints.size(), skin.inverseBind.size());
  std::vector<std::pair<int, Affined>> bound;
  for (std::size_t i = 0; i < count; ++i)
    if (std::abs(determinant(skin.inverseBind[i].linear)) > 1e-30) bound.emplace_back(skin.joints[i], inverse(skin.inverseBind[i]));
  if (bound.empty()) return {};
  const auto top = std::min_element(bound.begin(), bound.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  if (std::abs(determinant(rest[top->first].linear)) > 1e-30) candidates.push_back(rest[top->first] * inverse(top->second));
  double best = 1e300;
  Affined chosen;
  for (const Affined& candidate : candidates) {
    double error = 0;
    for (const auto& [joint, world] : bound) {
      error += distance(apply(candidate, world.translation), rest[joint].translation);
      // Posed limbs lie elsewhere than bound ones, but bones keep their length: that weighs more.
      for (const auto& [other, otherWorld] : bound)
        if (other == figure.skeleton.parents[joint])
          error += 5 * std::abs(distance(apply(candidate, world.translation), apply(candidate, otherWorld.translation)) -
                                distance(rest[joint].translation, rest[other].translation));
    }
    // Earlier candidates are the plainer reading and win unless another is clearly nearer.
    if (error < 0.8 * best) {
      best = error;
      chosen = candidate;
    }
  }
  return chosen;
}

}  // namespace

int defaultClip(const Figure& figure) {
  for (int i = static_cast<int>(figure.clips.size()) - 1; i >= 0; --i)
    if (const Clip& clip = figure.clips[static_cast<std::size_t>(i)]; clip.history || clip.name.starts_with("Understudy")) return i;
  return 0;
}

std::vector<Affined> bindWorld(const Figure& figure) {
  const Skeleton& skeleton = figure.skeleton;
  std::vector<Affined> world(skeleton.parents.size());
  std::vector<char> bound(skeleton.parents.size(), 0);
  const std::vector<Affined> rest = restWorld(skeleton);
  for (std::size_t s = 0; s < figure.skins.size(); ++s) {
    const Skin& skin = figure.skins[s];
    const Affined place = meshPlacement(figure, static_cast<int>(s), rest);
    for (std::size_t i = 0; i < skin.joints.size() && i < skin.inverseBind.size(); ++i) {
      const int joint = skin.joints[i];
      if (bound[joint] || std::abs(determinant(skin.inverseBind[i].linear)) < 1e-30) continue;
      world[joint] = place * inverse(skin.inverseBind[i]);
      bound[joint] = 1;
    }
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
