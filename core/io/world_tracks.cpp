#include "core/io/world_tracks.h"

namespace understudy {

WorldTracks::WorldTracks(const Skeleton& skeleton, const Motion& motion) : skeleton_(skeleton), motion_(motion) {
  scaled_ = !motion.scaledJoints.empty();
  for (const Trsd& rest : skeleton.rest) scaled_ = scaled_ || rest.scale != Vec3d{1, 1, 1};
}

void WorldTracks::fill(std::span<const Trsd> local, std::span<Quatd> turns, std::span<Vec3d> points) const {
  const std::size_t count = skeleton_.parents.size();
  if (!scaled_) {
    for (std::size_t j = 0; j < count; ++j) {
      const int parent = skeleton_.parents[j];
      const Quatd own = normalised(local[j].rotation);
      if (parent < 0) {
        turns[j] = own;
        points[j] = local[j].translation;
      } else {
        const auto p = static_cast<std::size_t>(parent);
        turns[j] = turns[p] * own;
        points[j] = points[p] + rotate(turns[p], local[j].translation);
      }
    }
    return;
  }
  std::vector<Affined> world(count);
  forwardKinematics(skeleton_, local, world);
  for (std::size_t j = 0; j < count; ++j) {
    points[j] = world[j].translation;
    // A joint scaled to nothing has no orientation of its own.
    const int parent = skeleton_.parents[j];
    if (std::abs(determinant(world[j].linear)) > 1e-30)
      turns[j] = polarParts(world[j]).rotation;
    else
      turns[j] = (parent < 0 ? Quatd{} : turns[static_cast<std::size_t>(parent)]) * normalised(local[j].rotation);
  }
}

void WorldTracks::rest(std::span<Quatd> turns, std::span<Vec3d> points) const { fill(skeleton_.rest, turns, points); }

void WorldTracks::at(int frame, std::span<Quatd> turns, std::span<Vec3d> points) const {
  std::vector<Trsd> local(skeleton_.parents.size());
  poseAt(skeleton_, motion_, frame, local);
  fill(local, turns, points);
}

}  // namespace understudy
