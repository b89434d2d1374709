#include "core/motion/motion.h"

#include <algorithm>
#include <cmath>

namespace understudy {

Motion restMotion(const Skeleton& skeleton, int frames, FrameRate rate, std::vector<int> moved) {
  Motion motion;
  motion.rate = rate;
  motion.frames = frames;
  motion.joints = skeleton.size();
  motion.movedJoints = std::move(moved);
  // Row by row into reserved space: large clips are written once only.
  std::vector<Quatf> pose;
  for (const Trsd& rest : skeleton.rest) pose.push_back(Quatf(rest.rotation));
  std::vector<Vec3f> places;
  for (const int j : motion.movedJoints) places.push_back(Vec3f(skeleton.rest[j].translation));
  motion.rotations.reserve(static_cast<std::size_t>(frames) * pose.size());
  motion.translations.reserve(static_cast<std::size_t>(frames) * places.size());
  for (int f = 0; f < frames; ++f) {
    motion.rotations.insert(motion.rotations.end(), pose.begin(), pose.end());
    motion.translations.insert(motion.translations.end(), places.begin(), places.end());
  }
  return motion;
}

void poseAt(const Skeleton& skeleton, const Motion& motion, int frame, std::span<Trsd> local) {
  const auto rotations = motion.rotationsAt(frame);
  for (int j = 0; j < motion.joints; ++j) {
    local[j] = skeleton.rest[j];
    local[j].rotation = Quatd(rotations[j]);
  }
  const auto translations = motion.translationsAt(frame);
  for (std::size_t k = 0; k < translations.size(); ++k) local[motion.movedJoints[k]].translation = Vec3d(translations[k]);
  for (std::size_t k = 0; k < motion.scaledJoints.size(); ++k)
    local[motion.scaledJoints[k]].scale = Vec3d(motion.scales[static_cast<std::size_t>(frame) * motion.scaledJoints.size() + k]);
}

void worldAt(const Skeleton& skeleton, const Motion& motion, int frame, std::span<Affined> world) {
  std::vector<Trsd> local(skeleton.parents.size());
  poseAt(skeleton, motion, frame, local);
  forwardKinematics(skeleton, local, world);
}

std::vector<Affined> worldAt(const Skeleton& skeleton, const Motion& motion, int frame) {
  std::vector<Affined> world(skeleton.parents.size());
  worldAt(skeleton, motion, frame, world);
  return world;
}

Motion resampled(const Motion& motion, FrameRate rate, Issues* notes) {
  if (rate == motion.rate || motion.frames <= 1) {
    Motion same = motion;
    same.rate = rate;
    return same;
  }
  // Frame k of the result lies at source position k · (source rate / rate), kept as an exact fraction.
  const std::int64_t num = motion.rate.num * rate.den, den = motion.rate.den * rate.num;
  const std::int64_t lastSource = motion.frames - 1;
  const std::int64_t whole = lastSource * den / num;
  const bool exact = whole * num == lastSource * den;
  Motion out;
  out.rate = rate;
  out.joints = motion.joints;
  out.movedJoints = motion.movedJoints;
  out.scaledJoints = motion.scaledJoints;
  out.frames = static_cast<int>(whole) + (exact ? 1 : 2);
  if (!exact && notes)
    notes->push_back(makeNote("The clip's length is no multiple of a frame at " + rate.text() + " frames/s",
                              "frame " + std::to_string(out.frames), "This last frame holds the clip's last pose"));
  const std::size_t moved = out.movedJoints.size(), scaled = out.scaledJoints.size();
  out.rotations.resize(static_cast<std::size_t>(out.frames) * out.joints);
  out.translations.resize(static_cast<std::size_t>(out.frames) * moved);
  out.scales.resize(static_cast<std::size_t>(out.frames) * scaled);
  for (int f = 0; f < out.frames; ++f) {
    const std::int64_t position = std::min<std::int64_t>(static_cast<std::int64_t>(f) * num, lastSource * den);
    const int a = static_cast<int>(position / den), b = std::min(a + 1, motion.frames - 1);
    const float t = static_cast<float>(static_cast<double>(position % den) / static_cast<double>(den));
    const auto ra = motion.rotationsAt(a), rb = motion.rotationsAt(b);
    const auto ro = out.rotationsAt(f);
    for (int j = 0; j < out.joints; ++j) ro[j] = t == 0 ? ra[j] : slerp(ra[j], rb[j], t);
    for (std::size_t k = 0; k < moved; ++k)
      out.translations[f * moved + k] = lerp(motion.translations[a * moved + k], motion.translations[b * moved + k], t);
    for (std::size_t k = 0; k < scaled; ++k)
      out.scales[f * scaled + k] = lerp(motion.scales[a * scaled + k], motion.scales[b * scaled + k], t);
  }
  makeContinuous(out);
  return out;
}

Result<Motion> trimmed(const Motion& motion, FrameRange range) {
  if (range.first < 1 || range.last < range.first || range.last > motion.frames)
    return makeError(Fault::usage,
                     "Frames " + std::to_string(range.first) + ":" + std::to_string(range.last) + " are not all in the clip, which has frames 1:" +
                         std::to_string(motion.frames),
                     {}, "Choose a range inside the clip");
  if (range.first == 1 && range.last == motion.frames) return motion;
  Motion out = motion;
  out.frames = range.count();
  const auto cut = [&](const auto& values, std::size_t width) {
    auto first = values.begin() + static_cast<std::ptrdiff_t>((range.first - 1) * width);
    return std::decay_t<decltype(values)>(first, first + static_cast<std::ptrdiff_t>(out.frames * width));
  };
  out.rotations = cut(motion.rotations, motion.joints);
  out.translations = cut(motion.translations, motion.movedJoints.size());
  out.scales = cut(motion.scales, motion.scaledJoints.size());
  return out;
}

void makeContinuous(Motion& motion) {
  for (std::size_t i = motion.joints; i < motion.rotations.size(); ++i)
    motion.rotations[i] = sameHemisphere(motion.rotations[i], motion.rotations[i - motion.joints]);
}

}  // namespace understudy
