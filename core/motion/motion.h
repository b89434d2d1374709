// Motion sampled at a fixed rate.
#pragma once

#include <span>
#include <vector>

#include "core/base/frame_rate.h"
#include "core/base/run_control.h"
#include "core/math/transform.h"
#include "core/skeleton/skeleton.h"

namespace understudy {

/// Local transforms of every joint at frames 0 … frames−1 (time = frame / rate), in the file's own unit and axes.
/// Rotations are dense; translations and scales exist only for the joints that have them animated, all other joints
/// keep their rest value.
struct Motion {
  FrameRate rate;
  int frames = 0;
  int joints = 0;
  std::vector<Quatf> rotations;     ///< [frame · joints + joint], hemisphere-continuous over time
  std::vector<int> movedJoints;     ///< joints with translations, ascending
  std::vector<Vec3f> translations;  ///< [frame · movedJoints.size() + k]
  std::vector<int> scaledJoints;    ///< joints with animated scale, ascending
  std::vector<Vec3f> scales;        ///< [frame · scaledJoints.size() + k]

  [[nodiscard]] std::span<const Quatf> rotationsAt(int frame) const {
    return {rotations.data() + static_cast<std::size_t>(frame) * joints, static_cast<std::size_t>(joints)};
  }
  [[nodiscard]] std::span<Quatf> rotationsAt(int frame) {
    return {rotations.data() + static_cast<std::size_t>(frame) * joints, static_cast<std::size_t>(joints)};
  }
  [[nodiscard]] std::span<const Vec3f> translationsAt(int frame) const {
    return {translations.data() + static_cast<std::size_t>(frame) * movedJoints.size(), movedJoints.size()};
  }
  [[nodiscard]] std::span<Vec3f> translationsAt(int frame) {
    return {translations.data() + static_cast<std::size_t>(frame) * movedJoints.size(), movedJoints.size()};
  }
  [[nodiscard]] double duration() const { return frames > 0 ? rate.seconds(frames - 1) : 0; }
  friend bool operator==(const Motion&, const Motion&) = default;
};

/// A motion of `frames` frames in which every joint keeps its rest pose; `moved` (ascending) get translation tracks.
[[nodiscard]] Motion restMotion(const Skeleton& skeleton, int frames, FrameRate rate, std::vector<int> moved = {});

/// Local pose of a frame; `local` holds one entry a joint.
void poseAt(const Skeleton& skeleton, const Motion& motion, int frame, std::span<Trsd> local);

/// World transforms (file unit and axes) of every joint at a frame.
void worldAt(const Skeleton& skeleton, const Motion& motion, int frame, std::span<Affined> world);
[[nodiscard]] std::vector<Affined> worldAt(const Skeleton& skeleton, const Motion& motion, int frame);

/// The motion at another rate: frames at k/rate by slerp and linear interpolation; where the duration is no multiple
/// of the frame time, one more frame holds the last pose and `notes` says so. The same rate returns the same bytes.
[[nodiscard]] Motion resampled(const Motion& motion, FrameRate rate, Issues* notes = nullptr);

/// Frames `range` (counted from 1, inclusive). Error: the range lies outside the motion.
[[nodiscard]] Result<Motion> trimmed(const Motion& motion, FrameRange range);

/// Flips signs so that each joint's successive quaternions lie in one hemisphere.
void makeContinuous(Motion& motion);

}  // namespace understudy
