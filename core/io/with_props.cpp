#include "core/io/with_props.h"

#include <algorithm>

#include "core/io/gltf_pack.h"

namespace understudy {
namespace {

/// Joint `joint` gets a translation track, filled with its rest place.
std::size_t trackOf(const Skeleton& skeleton, Motion& motion, int joint) {
  const auto place = std::lower_bound(motion.movedJoints.begin(), motion.movedJoints.end(), joint);
  const auto k = static_cast<std::size_t>(place - motion.movedJoints.begin());
  if (place != motion.movedJoints.end() && *place == joint) return k;
  const std::size_t old = motion.movedJoints.size();
  std::vector<Vec3f> wider;
  wider.reserve(static_cast<std::size_t>(motion.frames) * (old + 1));
  for (std::size_t f = 0; f < static_cast<std::size_t>(motion.frames); ++f)
    for (std::size_t i = 0; i <= old; ++i)
      wider.push_back(i == k ? Vec3f(skeleton.rest[static_cast<std::size_t>(joint)].translation) : motion.translations[f * old + (i < k ? i : i - 1)]);
  motion.movedJoints.insert(place, joint);
  motion.translations = std::move(wider);
  return k;
}

}  // namespace

Result<std::unique_ptr<const WithProps>> withProps(const Figure& character, const BakedClip& clip, bool all) {
  if (!clip.motion || clip.motion->joints != character.skeleton.size()) return makeError(Fault::internal, "The motion does not belong to this skeleton");
  const Motion& own = *clip.motion;
  auto out = std::make_unique<WithProps>();
  Figure& figure = out->figure;
  if (all) {
    figure = character;
  } else {
    figure.path = character.path;
    figure.format = character.format;
    figure.skeleton = character.skeleton;
    figure.space = character.space;
  }
  // Space: world = scale · rotation · file.
  const double unit = character.space.metresPerUnit > 0 ? character.space.metresPerUnit : 1;
  const Quatd back = conjugate(normalised(character.space.worldFromFile));
  std::vector<int> jointOf;
  int added = 0;
  for (const BakedProp& prop : clip.props) {
    if (prop.path.size() != static_cast<std::size_t>(own.frames)) return makeError(Fault::internal, "The prop '" + prop.name + "' has no place for every frame");
    for (const Rigid& r : prop.path)
      if (!isFinite(r.at) || !isFinite(r.turn)) return makeError(Fault::internal, "The prop '" + prop.name + "' has places that are not finite");
    if (!prop.figure) {
      if (prop.joint < 0 || prop.joint >= character.skeleton.size()) return makeError(Fault::internal, "The prop '" + prop.name + "' is no joint of the character");
      jointOf.push_back(prop.joint);
      continue;
    }
    Trsd rest;
    rest.translation = rotate(back, prop.path.front().at) / unit;
    rest.rotation = normalised(back * prop.path.front().turn);
    rest.scale = Vec3d{1, 1, 1} / unit;
    const int joint = figure.skeleton.add(uniqueName(prop.name.empty() ? "prop" : prop.name, figure.skeleton.names), -1, rest, -1);
    jointOf.push_back(joint);
    ++added;
    const int firstMaterial = static_cast<int>(figure.materials.size()), firstImage = static_cast<int>(figure.images.size());
    figure.images.insert(figure.images.end(), prop.figure->images.begin(), prop.figure->images.end());
    for (Material material : prop.figure->materials) {
      if (material.image >= 0) material.image += firstImage;
      figure.materials.push_back(std::move(material));
    }
    for (Mesh mesh : prop.figure->meshes) {
      mesh.node = joint;
      mesh.skin = -1;
      if (mesh.material >= 0) mesh.material += firstMaterial;
      figure.meshes.push_back(std::move(mesh));
    }
  }

  Motion& motion = out->motion;
  motion = own;
  motion.joints = own.joints + added;
  if (added > 0) {
    motion.rotations.clear();
    motion.rotations.reserve(static_cast<std::size_t>(own.frames) * static_cast<std::size_t>(motion.joints));
    for (int f = 0; f < own.frames; ++f) {
      const auto q = own.rotationsAt(f);
      motion.rotations.insert(motion.rotations.end(), q.begin(), q.end());
      motion.rotations.insert(motion.rotations.end(), static_cast<std::size_t>(added), Quatf{});
    }
  }
  out->clip = clip;
  out->clip.props.clear();
  out->clip.motion = &motion;
  std::vector<Affined> world(static_cast<std::size_t>(own.joints));
  for (std::size_t p = 0; p < clip.props.size(); ++p) {
    const BakedProp& prop = clip.props[p];
    const int joint = jointOf[p];
    const std::size_t k = trackOf(figure.skeleton, motion, joint);
    const int parent = figure.skeleton.parents[static_cast<std::size_t>(joint)];
    Quatd before;
    for (int f = 0; f < own.frames; ++f) {
      const Rigid& at = prop.path[static_cast<std::size_t>(f)];
      Vec3d place = rotate(back, at.at) / unit;
      Quatd turn = back * at.turn;
      if (parent >= 0) {
        worldAt(character.skeleton, own, f, world);
        const Affined& above = world[static_cast<std::size_t>(parent)];
        if (std::abs(determinant(above.linear)) < 1e-300) continue;
        place = apply(inverse(above), place);
        turn = conjugate(polarParts(above).rotation) * turn;
      }
      before = f > 0 ? sameHemisphere(normalised(turn), before) : normalised(turn);
      motion.rotationsAt(f)[static_cast<std::size_t>(joint)] = Quatf(before);
      motion.translationsAt(f)[k] = Vec3f(place);
    }
    out->clip.rotated.push_back(joint);
    if (out->clip.plan) {
      // Its own path takes the place of what the plan was made for.
      out->clip.plan->rotation.erase(joint);
      out->clip.plan->translation.erase(joint);
    }
  }
  std::sort(out->clip.rotated.begin(), out->clip.rotated.end());
  out->clip.rotated.erase(std::unique(out->clip.rotated.begin(), out->clip.rotated.end()), out->clip.rotated.end());
  return std::unique_ptr<const WithProps>(std::move(out));
}

}  // namespace understudy
