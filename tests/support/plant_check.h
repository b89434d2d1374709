// Judges planted feet by the skin of a character in motion, sharing no code with the plants.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "core/mapping/bone_map.h"
#include "core/motion/motion.h"
#include "core/repair/repair.h"

namespace understudy::test {

/// A plant in frames, as the judge sees it.
struct JudgedPlant {
  int side = 0, first = 0, last = 0, release = 0;
  std::vector<PlantPhase> phases;  ///< one a frame
  double ground = 0;
  std::vector<char> excused;       ///< frames whose residual the program told
  double allowedSlip = 1e9;        ///< metres: performer's toe travel after the release, scaled
};

/// Lengths in millimetres of a character 1.7 m tall, angles in degrees, accelerations in radians a second squared.
struct Verdict {
  int frames = 0, excused = 0;
  double slideTotal = 0, slideFrame = 0;  ///< of the point in contact, from phase start to release start
  double lowest = 0;                      ///< farthest from the ground of the lowest point
  double flat = 0;                        ///< farthest from the ground of heel, inner and outer ball in flat phases
  double below = 0, belowAfter = 0;       ///< deepest point up to the release, after it
  double slipBack = 0, slipOver = 0;      ///< after the release: reversal; travel beyond what is allowed
  double peak = 0, peakBefore = 0, p99 = 0;  ///< leg acceleration around plant edges, the same before the repair, quiet part
  int over = 0, edges = 0;                ///< edges beyond the limit that were not before, of all
  int overStrict = 0;                     ///< edges beyond the limit, whatever they were before
  double worstRatio = 0;                  ///< of an edge's peak to the limit, of those counted in `over`
  double likenessMean = 0, likeness95 = 0;
  double limbMean = 0, limb95 = 0;        ///< directions of thigh and shank against before, over the whole clip
  std::array<double, 4> jointPeak{}, jointLikeness{};  ///< thigh, shank, foot, toes
  std::array<int, 4> jointAt{};
};

[[nodiscard]] Verdict judge(const Figure& character, const SkeletonMap& map, const Motion& before, const Motion& after, const std::vector<JudgedPlant>& plants,
                            double height);

}  // namespace understudy::test
