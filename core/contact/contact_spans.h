// Where heel and ball of a foot come down and leave. Internal to contacts.
#pragma once

#include <vector>

#include "core/contact/contacts.h"

namespace understudy {

/// About 10 ms, at least one frame: long enough for the noise of good capture, short enough for a landing.
[[nodiscard]] int shortReach(double rate);
/// Metres a second over `reach` frames on either side.
[[nodiscard]] std::vector<Vec3d> velocities(const std::vector<Vec3d>& path, double rate, int reach);

struct Track {
  std::vector<double> height, speed, rise;  // leg, legs a second
  double unrest = 0;                        // of `rise` while the foot stands
  int extraReach = 0;                       // frames by which noise lengthened the velocities' spans

  [[nodiscard]] bool maybe(int i, const ContactSettings& s) const { return height[i] < s.nearHeight && speed[i] < s.slow; }
};

/// `standing`: frames in which the foot stands.
[[nodiscard]] Track trackOf(const std::vector<Vec3d>& path, double level, double rate, double leg, const std::vector<int>& standing);
/// A track whose heights count from a level of their own.
[[nodiscard]] Track raised(Track track, double level);
/// How high a foot rests in a span, against the level of its clip: 0 where that is near enough.
[[nodiscard]] double levelOf(const ContactSpan& span, const Track& heel, const Track& ball, const ContactSettings& s);

/// The spans of a foot that stands at the level of its clip.
void findSpans(FootContact& foot, const Track& heel, const Track& ball, double rate, double leg, const ContactSettings& s);
/// Adds those in which it stands higher. `onFeet`: see Posture. `reach`: of the leg, parts of its length. `stepping`: the slower point's
/// speed of the other foot, legs a second.
void findRaised(FootContact& foot, const Track& heel, const Track& ball, const std::vector<char>& onFeet, const std::vector<double>& reach,
                const std::vector<double>& stepping, double rate, const ContactSettings& s);
/// Phases and the stationary part of one span. Tracks count from the level it stands at, `groundUnderBall` is that level's, world metres.
void describe(FootContact& foot, ContactSpan& span, const Track& heel, const Track& ball, double leg, double floor, double groundUnderBall,
              const ContactSettings& s);

}  // namespace understudy
