// How deep trunk, thighs and shanks lie in the ground. Internal to ground repairs and what looks for them.
#pragma once

#include <array>
#include <vector>

#include "core/repair/poser.h"

namespace understudy {

/// What of a body is kept above the ground; cloths, arms, head and feet are not.
enum class GroundPart : unsigned char { torso, thighs, leftShank, rightShank };
using GroundParts = std::array<bool, 4>;

/// Points of the skin that can be lowest, made once a character.
struct GroundSkin {
  struct Piece {
    int joint = -1;
    GroundPart part = GroundPart::torso;
    double radius = 0;            ///< of its points around the joint, metres
    std::vector<Vec3d> points;    ///< reference pose, world metres
    std::vector<std::uint32_t> first;  ///< of each point's influences; one more than points
    std::vector<int> joints;
    std::vector<double> weights;
  };
  std::vector<Piece> pieces;
};

/// Not for several threads at once.
class GroundBody {
 public:
  explicit GroundBody(const RepairContext& context);
  [[nodiscard]] bool empty() const { return skin_->pieces.empty(); }
  /// Metres by which the lowest of these parts lies below the height `ground`; below 0 where all lie above it (far above it not to be relied on).
  [[nodiscard]] double depth(const Poser& pose, double ground, const GroundParts& parts = {true, true, true, true});

 private:
  std::shared_ptr<const GroundSkin> skin_;
  std::vector<Affined> turned_;
  std::vector<int> stamp_;
  int now_ = 0;
};

/// Height of the lowest ground at every frame: 0, or less where feet stand lower at about that time. `repairs` are all or some of a take's.
[[nodiscard]] std::vector<double> lowestGround(const RepairContext& context, const std::vector<const Repair*>& repairs);

}  // namespace understudy
