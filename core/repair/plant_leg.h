// A leg whose foot stands on the ground: how its sole lies, and how it rolls. Internal to plants.
#pragma once

#include <array>
#include <memory>
#include <numbers>
#include <vector>

#include "core/repair/repair_context.h"

namespace understudy {

/// Where a foot is: its joint, and the world rotations of foot and toes.
struct FootPose {
  Vec3d at;
  Quatd foot, toe;
};

/// The plane a foot stands on. `tilt` takes +Y to its normal.
struct GroundPlane {
  Vec3d through, normal{0, 1, 0};
  Quatd tilt;
  [[nodiscard]] double above(const Vec3d& p) const { return dot(p - through, normal); }
};
[[nodiscard]] GroundPlane groundPlane(const Vec3d& through, const Vec3d& normal);

/// What is constant about one leg and its sole. Directions of the levelled reference pose: the foot as it stands flat on
/// level ground. Pitch is positive where the toes rise, negative where the heel does.
class PlantLeg {
 public:
  PlantLeg(const RepairContext& context, int side);

  LimbRig limb;
  bool offPelvis = false;  ///< the thigh does not hang below the hips
  bool bends = false;      ///< a toe joint whose toes carry weight
  bool fromSkin = false;
  bool soft = false;       ///< part of the sole hangs on the shank too and gives as the ankle bends
  Quatd level;             ///< world rotation of the foot's joint, standing flat
  Vec3d forward, side;     ///< of the foot; side: about which a positive turn raises the toes
  Quatd toeLocal;          ///< of the toes in the foot's frame, standing flat
  Vec3d toeOffset;         ///< toes' joint in the foot's frame, metres
  double height = 0;       ///< of the foot's joint above the ground, standing flat

  /// How far the foot's joint has gone forward and up after the sole rolled from flat to `pitch` without slipping.
  struct Rolled {
    double forward = 0, up = 0;
  };
  [[nodiscard]] Rolled rolled(double pitch) const;
  /// The same read off a table, to a hundredth of a millimetre or so.
  [[nodiscard]] Rolled roughlyRolled(double pitch) const;
  /// The foot standing on `plane` at `base` (below the foot's joint when flat), rolled to `pitch`. In ball phases toes stay flat.
  [[nodiscard]] FootPose standing(const GroundPlane& plane, const Vec3d& base, double yaw, double pitch) const;
  /// From the foot's joint to what it rolls on when the heel rises, metres.
  [[nodiscard]] double footLength() const { return footLength_; }
  /// Orientation alone, with the toes at a pitch of their own.
  [[nodiscard]] FootPose turned(const GroundPlane& plane, double yaw, double pitch, double toePitch) const;
  [[nodiscard]] Vec3d heading(const GroundPlane& plane, double yaw) const;
  /// Vector on the flat foot's ground from below its joint to the point it spins about: of the ball, or of the heel.
  [[nodiscard]] Vec3d spinArm(const GroundPlane& plane, double yaw, bool onHeel) const;

  /// A skin point relative to the foot's joint.
  [[nodiscard]] Vec3d place(std::size_t point, const FootPose& pose) const;
  [[nodiscard]] std::size_t points() const { return points_.size(); }
  [[nodiscard]] double toeWeight(std::size_t point) const { return points_[point].toeWeight; }
  /// The lowest point along a normal, and its height over the foot's joint (below 0 as a rule).
  struct Lowest {
    std::size_t point = 0;
    double height = 0;
  };
  [[nodiscard]] Lowest lowest(const FootPose& pose, const Vec3d& normal) const;

  /// How far the foot's joint has to move between two poses for what bears in the second to keep its place, what is nearly down
  /// counting in part.
  [[nodiscard]] Vec3d carried(const FootPose& last, const FootPose& now, const Vec3d& normal) const;
  /// Where the low points of a sole are: what is to bear. Made once a pose.
  struct Print {
    std::vector<Vec3d> places;
    double low = 1e300, rear = 1e300, front = 1e300;  ///< heights along the normal: of all, of the rear part, of the front part
  };
  [[nodiscard]] Print print(const FootPose& pose, const Vec3d& normal) const;
  /// Where the low points of a sole are once shank, foot and toes have carried their skin there, in the order of print().
  [[nodiscard]] std::vector<Vec3d> skinned(const FootPose& foot, const Quatd& shank, const Vec3d& knee) const;
  /// How far what is down in two such poses has slid from one to the other, across the normal: of what is not soft, the point that has
  /// stayed most, as a sole that rolls turns about it; where all is soft, the mean, in which the stiffest counts most.
  [[nodiscard]] Vec3d slid(const std::vector<Vec3d>& from, const std::vector<Vec3d>& to, const Vec3d& normal) const;
  /// What a pose lacks so that a soft sole bears where, and as low as, a stiff one would at `wanted`, a flat one with both ends.
  struct Give {
    double tilt = 0;  ///< radians, toes up
    Vec3d shift;
  };
  [[nodiscard]] Give give(const Print& wanted, double pitch, const FootPose& now, const Quatd& shank, const Vec3d& knee, const Vec3d& normal) const;
  /// A pose with `part` of a give.
  [[nodiscard]] FootPose given(FootPose pose, const Give& give, double part) const;

  /// The foot turned about its own side axis by `by` radians, toes up, with its toes.
  [[nodiscard]] FootPose pitched(FootPose pose, double by) const;
  /// Pitch and yaw of a foot by its world rotation.
  [[nodiscard]] double pitchOf(const Quatd& foot, const Vec3d& normal) const;
  [[nodiscard]] double yawOf(const Quatd& foot) const;
  [[nodiscard]] double toePitchOf(const Quatd& toe, const Vec3d& normal) const;

 private:
  struct Point {
    Vec3d foot, toe, shank;  // in the joint's frame, metres
    double toeWeight = 0, shankWeight = 0, stiff = 1;
    int end = 0;             // −1 rear, 1 front part of the sole
  };
  // In the foot's own plane: forward and up of the foot's joint (of the toes' joint for the toe part).
  struct Flat {
    double z = 0, y = 0, toeZ = 0, toeY = 0, weight = 0;
  };
  struct Cell {
    int pivot = 0;
    double at = 0;  // where the pivot stands, forward of the flat foot's joint
  };
  static constexpr double cell = 0.5 * std::numbers::pi / 180, steepest = 80 * std::numbers::pi / 180;
  void buildRoll();
  /// As place(), the toes' joint lying there from the foot's.
  [[nodiscard]] Vec3d place(std::size_t point, const FootPose& pose, const Vec3d& toeAt) const;
  /// What the foot spins about once it is pitched so: of the sole's points that bear then (no higher than `near`), the one nearest to
  /// their middle.
  [[nodiscard]] Vec3d spinsAbout(double pitch, double near) const;
  [[nodiscard]] Rolled placeFlat(const Flat& p, double pitch) const;

  std::vector<Point> points_;       // may be lowest in some pose
  std::vector<Flat> flat_;          // may be lowest while rolling
  std::array<std::vector<Cell>, 2> roll_;  // toes up, heel up
  std::array<std::vector<Rolled>, 2> table_;  // rolled() at the cells' edges
  std::vector<std::size_t> bearing_;       // of the points, those that are low when the foot is flat
  Rolled toe2_;                     // toes' joint, forward and up of the foot's
  Vec3d ballSpin_, heelSpin_;       // from below the flat foot's joint to what it spins about: across, –, ahead
  double footLength_ = 0, soleLength_ = 0;
};

/// Both, made once for a context.
struct PlantLegs {
  std::array<PlantLeg, 2> legs;
  explicit PlantLegs(const RepairContext& context) : legs{PlantLeg(context, 0), PlantLeg(context, 1)} {}
};

}  // namespace understudy
