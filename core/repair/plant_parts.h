// Knees, hands and the seat on the ground. Internal to plants.
#pragma once

#include <memory>
#include <optional>

#include "core/repair/layer.h"

namespace understudy {

/// How far a part's joint is above what its skin rests on, metres; of a hand for its rotation in the world.
class PartSkin {
 public:
  explicit PartSkin(const RepairContext& context);
  [[nodiscard]] double knee(int side) const { return knee_[static_cast<std::size_t>(side)]; }
  [[nodiscard]] double seat() const { return seat_; }
  [[nodiscard]] double hand(int side, const Quatd& rotation, const Vec3d& normal) const;

 private:
  std::array<double, 2> knee_{};
  double seat_ = 0;
  std::array<std::vector<Vec3d>, 2> hand_;  // in the hand's frame
};

/// All plants of knees, hands and seat of a layer.
class PartPlants {
 public:
  PartPlants(const RepairLayer& layer, Issues& issues);
  [[nodiscard]] bool empty() const { return parts_.empty(); }
  /// Frames that a repair of these may write; nothing where it is none of them.
  [[nodiscard]] std::optional<FrameSpan> extent(std::size_t repair) const;
  /// Where the seat holds the pelvis: by how much it is to be moved, and how firmly (0 … 1).
  struct Hold {
    Vec3d shift;
    double firm = 0;
  };
  [[nodiscard]] Hold seatAt(const TiledMotion& in, int frame) const;
  [[nodiscard]] bool hasSeat() const;
  /// Frames that may be written, all of them.
  [[nodiscard]] std::vector<FrameSpan> extents() const;
  /// Puts hands and knees where they belong in frames whose pelvis and feet are done already.
  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const;

 private:
  struct Part {
    std::size_t repair = 0;
    PlantPart part = PlantPart::seat;
    RepairFrames frames;
    double weight = 1;
    Vec3d anchor;
  };
  const RepairLayer& layer_;
  std::vector<Part> parts_;
};

/// The anchor of a knee, hand or seat, read off the motion at the middle of the span.
void anchorPart(PlantRepair& plant, const RepairContext& context, const TiledMotion& motion, const RepairFrames& frames);

}  // namespace understudy
