// What arms can run into and which points of them: quick distances between a posed character's arms and its body.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "core/body/body_surface.h"
#include "core/body/distance_grid.h"

namespace understudy {

/// Rigid frames of all joints, world metres: the reference pose, or the pose of a frame.
struct JointFrames {
  std::span<const Quatd> rotation;
  std::span<const Vec3d> position;
};

/// A body part as a solid in the reference pose. Its points go along with several joints, blended as the skin next to them.
struct BodySolid {
  BodyPart part = BodyPart::none;
  DistanceGrid grid;
  DistanceGrid guide;               ///< the grid's guide(), away from the back of torso and head
  std::vector<int> joints;          ///< that move it, the one with most of the skin first
  Vec3d middle;                     ///< of a ball around it, reference pose
  double radius = 0;
  // Shares of the joints at nodes `weightCell` apart from grid.low() on.
  double weightCell = 0;
  std::array<int, 3> weightSize{};
  std::vector<float> weights;       ///< [node · joints.size() + k]; empty for a single joint
  /// The weights again as they are looked up: of the cell whose low corner is a node, the joints with a share at any of its corners
  /// (places in `joints`), four to a block with their shares at the eight corners, x fastest. A cell of one joint has no block.
  struct Cell {
    std::uint32_t firstBlock = 0;
    std::uint8_t count = 0, only = 0;  ///< `only`: the joint, where there is one
    friend bool operator==(const Cell&, const Cell&) = default;
  };
  struct CellBlock {
    std::array<std::array<float, 4>, 8> share{};  ///< [corner][joint of the block]
    std::array<std::uint8_t, 4> joint{};
    friend bool operator==(const CellBlock&, const CellBlock&) = default;
  };
  std::vector<Cell> cells;  ///< by node
  std::vector<CellBlock> cellBlocks;
  /// Works those out from the weights.
  void findCells();
};

/// Grids reach this many cells beyond their solid.
inline constexpr double gridPad = 4;

/// A solid in a frame's pose. Not for several threads at once.
class PosedSolid {
 public:
  /// `turned`: now · reference⁻¹ of every joint.
  PosedSolid(const BodySolid& solid, std::span<const Affined> turned) : solid_(&solid) { pose(turned); }
  /// The same solid in another pose.
  void pose(std::span<const Affined> turned);
  [[nodiscard]] const BodySolid& solid() const { return *solid_; }
  /// Distance (metres, negative inside) and its gradient in the stage.
  [[nodiscard]] DistanceSample sample(const Vec3d& world) const;
  /// As sample(), in fewer steps: `near` is the result of placing a point nearby.
  struct Nearby {
    Affined back;  ///< to the reference pose
  };
  [[nodiscard]] Nearby place(const Vec3d& world) const;
  [[nodiscard]] DistanceSample sample(const Vec3d& world, const Nearby& near) const { return sample(world, near, solid_->grid); }
  /// The same of the guide.
  [[nodiscard]] DistanceSample guide(const Vec3d& world, const Nearby& near) const { return sample(world, near, solid_->guide); }
  /// The guide with the way back as it was placed: exact there, good next to it.
  [[nodiscard]] DistanceSample quickGuide(const Vec3d& world, const Nearby& near) const {
    DistanceSample out = solid_->guide.sample(apply(near.back, world));
    const Vec3d g = out.gradient;
    out.gradient = {dot(near.back.linear.cx, g), dot(near.back.linear.cy, g), dot(near.back.linear.cz, g)};
    return out;
  }
  /// The distance alone with the way back as it was placed: exact there, good to millimetres a few centimetres from it.
  [[nodiscard]] double quickDistance(const Vec3d& world, const Nearby& near) const { return solid_->grid.at(apply(near.back, world)); }
  /// The distance alone, as sample() gives it.
  [[nodiscard]] double distance(const Vec3d& world, const Nearby& near) const;
  /// For a point nearer than `wanted` to an upright solid: how far it has to go straight away from the solid's middle line, at most `most` times
  /// as far as the distance asks for; as a distance, with the slope of that way. `lean`, in the solid's own frame, is added to the way,
  /// which is 1 long at most: longer than that it keeps the way from turning about where a point passes the middle. Placed as for
  /// quickGuide().
  [[nodiscard]] DistanceSample wayOut(const Vec3d& world, const Nearby& near, double wanted, double most, const Vec3d& lean) const;
  /// A lower bound of the distance, cheap.
  [[nodiscard]] double atLeast(const Vec3d& world) const {
    if (!bounded_) bound();
    return length(world - middle_) - radius_;
  }
  /// A higher one: of the box around the solid, however its joints share in it.
  [[nodiscard]] double atLeastOfBox(const Vec3d& world) const;
  /// Whether either bound is more than `near` at all points of the hull of balls of that radius.
  [[nodiscard]] bool clearOfHull(std::span<const Vec3d> middles, double radius, double near) const;

 private:
  [[nodiscard]] DistanceSample sample(const Vec3d& world, const Nearby& near, const DistanceGrid& grid) const;
  /// How a point of the reference pose moves. Where one joint alone moves it: that joint's place in the solid's list, and `out` is
  /// left as it is; else −1.
  int blend(const Vec3d& reference, Affined& out) const;
  /// Many poses are asked for distances alone: what bounds them is worked out when it is first asked for.
  void bound() const;

  const BodySolid* solid_;
  std::array<Affined, 12> turned_, back_;  ///< of each joint, and the other way round
  double weightsPerMetre_ = 0;
  mutable bool bounded_ = false;
  mutable Vec3d middle_;
  mutable double radius_ = 0;
  mutable Vec3d boxMiddle_, boxHalf_;  ///< in the first joint's reference frame
};

/// A point of an arm's skin.
struct ArmPoint {
  Vec3d reference;              ///< in the reference pose
  BodyPart part = BodyPart::none;
  int vertex = -1;              ///< of the surface
  double allowed = 0;           ///< metres it may be inside: as deep as in the reference pose, and where the arm leaves the body
  std::uint32_t first = 0;      ///< its influences: first … first+count−1 of the arm's lists
  std::uint32_t count = 0;
};

/// Points of one arm, in groups that lie near each other.
struct ArmPoints {
  std::vector<ArmPoint> points;
  std::vector<int> joint;
  std::vector<float> weight;
  struct Cluster {
    int first = 0, count = 0;
  };
  std::vector<Cluster> clusters;
};

struct BodyModelSettings {
  double cell = 0.01;       ///< between nodes of the grids, metres of a character 1.7 m tall
  double spacing = 0.014;   ///< between points of the arms, the same
  int mostPoints = 320;     ///< of one arm, but for those added where its kept-out part begins
};

struct BodyModel {
  BodySurface surface;
  std::vector<Quatd> rotation;   ///< of the joints in the reference pose
  std::vector<Vec3d> position;
  std::vector<BodySolid> solids; ///< torso, head, thighs, as far as there are any
  std::vector<BodySolid> limbs;  ///< shanks, upper arms, forearms, hands, and the skin of hips and neck, without guides
  std::array<ArmPoints, 2> arms; ///< left, right
  double height = 1.7;
  double gridError = 0;          ///< metres: 99 of 100 distances near a surface are this near the exact ones, reference pose

  [[nodiscard]] JointFrames reference() const { return {rotation, position}; }
  [[nodiscard]] const BodySolid* solid(BodyPart part) const;
};

/// Builds the model of a character; `reference` are the rigid frames of the surface's pose. The same content is built once and
/// kept while the program runs (the last few), and in the computedStore() if there is one. Safe to call from several threads.
[[nodiscard]] std::shared_ptr<const BodyModel> bodyModel(BodySurface surface, const JointFrames& reference, const SkeletonMap& map, const Skeleton& skeleton,
                                                         double height, const BodyModelSettings& settings = {});

/// The skin one of a model's solids was made of.
[[nodiscard]] PartMesh meshOf(const BodyModel& model, const BodySolid& solid);

/// now · reference⁻¹ of every joint.
[[nodiscard]] std::vector<Affined> turnedFrames(const JointFrames& reference, const JointFrames& now);

}  // namespace understudy
