// The curves of joints, one after another, for layers that treat rotations and positions by the same formulas.
#pragma once

#include <algorithm>
#include <vector>

#include "core/motion/tiled_motion.h"

namespace understudy {

/// Calls `run(joint, position, read, write)` for each of `joints` (in any order, repeats allowed), in ascending order: once for
/// its rotation (Quatd, in the parent's frame) and, where `in` moves it, once more for its position (Vec3d, in the parent's frame
/// and unit). `read(frame)` gives the value of `in`, `write(frame, value)` stores one in `out`, which moves the same joints or more.
template <class Run>
void forEachTrack(std::vector<int> joints, const TiledMotion& in, TiledMotion& out, const Run& run) {
  std::sort(joints.begin(), joints.end());
  joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
  const std::vector<int>&tracks = in.movedJoints(), &outTracks = out.movedJoints();
  for (const int joint : joints) {
    const auto j = static_cast<std::size_t>(joint);
    run(
        joint, false, [&](int f) { return normalised(Quatd(in.rotationsAt(f)[j])); },
        [&](int f, const Quatd& q) {
          Quatf& stored = out.rotationsToWrite(f)[j];
          stored = Quatf(sameHemisphere(normalised(q), Quatd(stored)));
        });
    const auto at = std::lower_bound(tracks.begin(), tracks.end(), joint);
    if (at == tracks.end() || *at != joint) continue;
    const auto from = static_cast<std::size_t>(at - tracks.begin());
    const auto to = static_cast<std::size_t>(std::lower_bound(outTracks.begin(), outTracks.end(), joint) - outTracks.begin());
    run(
        joint, true, [&](int f) { return Vec3d(in.translationsAt(f)[from]); },
        [&](int f, const Vec3d& p) { out.translationsToWrite(f)[to] = Vec3f(p); });
  }
}

}  // namespace understudy
