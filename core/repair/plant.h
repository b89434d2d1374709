// Keeps a character's soles on the ground while they stand.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "core/base/run_control.h"
#include "core/contact/contacts.h"
#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"
#include "core/motion/motion.h"
#include "core/repair/repair.h"

namespace understudy {

/// Where a planted foot stands, as if it were flat. World: metres, Y up, the character facing +Z in its reference pose.
struct PlantAnchor {
  Vec3d foot;      ///< of the foot's joint
  double yaw = 0;  ///< radians about +Y from the foot's direction in the reference pose
  friend bool operator==(const PlantAnchor&, const PlantAnchor&) = default;
};

/// One stay of one foot on the ground. Frames count from 0, inclusive.
struct Plant {
  int side = 0;                       ///< 0 left, 1 right
  int first = 0, last = 0;
  std::vector<PlantPhase> phases;     ///< one a frame, first … last; empty: flat throughout
  double ground = 0;                  ///< world height of the ground there, metres
  std::optional<PlantAnchor> anchor;  ///< kept where it is given, else read off the motion
  friend bool operator==(const Plant&, const Plant&) = default;
};

/// One plant for each stay of a performer's feet on the ground. `scale`: character's leg by performer's leg. Ground that lies
/// within 0.05 of the performer's leg of the floor is the floor (height 0), other heights are scaled.
[[nodiscard]] std::vector<Plant> plantsOf(const Contacts& contacts, double scale = 1);

/// The motion moved up or down by one constant, so that the soles' lowest points over all flat frames of the plants (all
/// frames where there are none) lie on their grounds in the median. Long feet that dip in swing do not count here. To be used
/// before plantFeet, which lowers the pelvis by a few hundredths of the leg only. Errors as plantFeet.
[[nodiscard]] Result<Motion> standOnPlants(const Figure& character, const SkeletonMap& map, const Motion& motion, const std::vector<Plant>& plants,
                                           const RunControl& control = {});

struct PlantSettings {
  double ease = 0.2;           ///< seconds before and after each plant in which the foot joins its own way
  double straightest = 0.995;  ///< planted reach at most this part of the leg (thigh + shank)
  double pelvisLimit = 0.04;   ///< the pelvis is lowered by at most this part of the leg
  double release = 0.15;       ///< last part of a plant that ends in a ball or toe phase in which the ball may slip as it did before
  friend bool operator==(const PlantSettings&, const PlantSettings&) = default;
};

struct Planted {
  Motion motion;
  std::vector<Plant> plants;                      ///< as given, in order, each with its anchor
  std::vector<double> pelvisDrop;                 ///< metres, one a frame
  std::array<std::vector<double>, 2> residual;    ///< metres, one a frame: how far the foot's joint is from where its plant needs it; 0 elsewhere
  Issues issues;
};

/// During a plant the foot rolls over its sole without slipping: the lowest support point stays where it is until the next one
/// has come down too. Its direction is kept; its pitch follows the motion, level in flat phases, toe up in heel phases, heel up in
/// ball phases, where a toe joint keeps the toe flat. Legs follow in their own bend plane, the pelvis sinks no more than they need,
/// and the other foot stays where it was. Frames outside plants and eases keep their bytes. Errors: the motion belongs to another
/// skeleton or is not finite; a leg is not mapped or has no length; plants lie outside the motion, overlap, or have the wrong number of phases.
[[nodiscard]] Result<Planted> plantFeet(const Figure& character, const SkeletonMap& map, const Motion& motion, const std::vector<Plant>& plants,
                                        const PlantSettings& settings = {}, const RunControl& control = {});

}  // namespace understudy
