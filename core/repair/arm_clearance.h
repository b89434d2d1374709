// Clearing one arm of the body in one pose: the smallest change that brings its skin out.
#pragma once

#include <array>
#include <memory>
#include <vector>

#include "core/body/body_model.h"
#include "core/repair/poser.h"

namespace understudy {

/// What is done to an arm, on top of the pose it had.
struct ArmChange {
  /// 0: swivel about the shoulder–wrist line, radians; 1, 2: clavicle about its own two axes, radians; 3–5: wrist, metres in the
  /// frame of what the arm hangs on.
  std::array<double, 6> x{};
  [[nodiscard]] double& swivel() { return x[0]; }
  [[nodiscard]] bool none() const {
    for (const double v : x)
      if (v != 0) return false;
    return true;
  }
  friend bool operator==(const ArmChange&, const ArmChange&) = default;
};

struct ArmClearanceSettings {
  bool handStays = false;         ///< only the swivel: place and rotation of the hand are kept
  double clavicle = 0.2617994;    ///< radians about each axis at most (15°)
  double swivel = 2.6;            ///< radians at most
  bool torso = true, head = true, thighs = true;
};

/// One arm of a character. Not for several threads at once.
class ArmClearer {
 public:
  ArmClearer(const RepairContext& context, std::shared_ptr<const BodyModel> model, int side, const ArmClearanceSettings& settings);
  [[nodiscard]] bool able() const { return able_; }

  /// Takes the pose of a frame.
  void load(const Poser& poser);
  /// Points worth watching near a change: those that are inside or within `watched` of the body.
  struct Watch {
    std::vector<std::pair<std::uint16_t, std::uint16_t>> pairs;  // point, solid
    [[nodiscard]] bool none() const { return pairs.empty(); }
  };
  Watch watch(const ArmChange& change);
  /// Metres by which the deepest watched point lies inside beyond what its rest contact allows; negative: clear by as much. Nothing
  /// watched: −1.
  double depth(const ArmChange& change, const Watch& watch);
  /// The same of all points, without watching.
  double depth(const ArmChange& change) { return depth(change, watch(change)); }
  /// Changes `start` step by step until all watched points are `margin` metres out, holding it near `anchor`.
  ArmChange solve(const ArmChange& start, const ArmChange& anchor, const Watch& watch, double margin, int steps);
  /// True where the last solve() left something inside its margin.
  [[nodiscard]] bool unfinished() const { return left_ > 0; }
  /// From a start to the smallest change (measured from none) that clears the arm; `watch` receives what to watch there.
  ArmChange search(const ArmChange& start, double margin, int steps, Watch& watch);
  void write(Poser& poser, const ArmChange& change) const;
  /// How much of a change to the pose it is: the anchor's metric, metres.
  [[nodiscard]] double cost(const ArmChange& change, const ArmChange& anchor) const;

 private:
  static constexpr int groups = 5;  // stays, clavicle, upper arm, forearm, hand
  struct Carry {
    std::array<Affined, groups> by;
    std::array<Quatd, 3> turn;  // of clavicle, upper arm, forearm
  };
  struct Row {
    double need = 0;  // metres the point has to come out
    Vec3d point, gradient;
    int index = -1;
    double weight = 1;
  };
  [[nodiscard]] Carry carry(const ArmChange& change) const;
  [[nodiscard]] Vec3d pointAt(int index, const Carry& carry) const;
  void poseSolids(const Carry& carry);
  /// A row for every watched point that has to come out by more than −reach; with `exact` by the distances, else by the guides.
  void rows(const Carry& carry, const Watch& watch, double margin, double reach, bool exact, std::vector<Row>& out);
  [[nodiscard]] std::array<double, 6> weights() const;
  void clamp(ArmChange& change) const;

  const RepairContext& context_;
  std::shared_ptr<const BodyModel> model_;
  ArmClearanceSettings settings_;
  const ArmPoints* points_ = nullptr;
  LimbRig limb_;
  bool able_ = false;
  int side_ = 0;
  double scale_ = 1;
  std::vector<signed char> groupOfJoint_;
  std::vector<int> armJoints_;           // joints that carry points of the arm or of the solids
  std::vector<const BodySolid*> solids_;
  std::vector<char> solidFollows_;       // some of its joints belong to the arm
  struct Piece {
    int group = 0;
    double weight = 0;
    Vec3d sum;
  };
  std::vector<Piece> pieces_;            // of point i: pieceStart_[i] … pieceStart_[i+1]−1
  std::vector<std::uint32_t> pieceStart_;
  std::vector<std::uint32_t> pieceOf_;   // of each influence
  struct Ball {
    Vec3d middle;
    double radius = 0;
    int group = 0;
  };
  std::vector<Ball> balls_;              // of the clusters, as loaded

  std::vector<Row> rows_, nextRows_;     // scratch
  std::vector<PosedSolid::Nearby> near_; // of each watched point
  std::vector<std::array<double, 6>> slopes_;
  std::vector<char> active_;
  double left_ = -1;

  // The loaded pose.
  std::vector<Affined> turned_, changed_;
  std::vector<PosedSolid> posed_;
  Vec3d girdle_, root_, mid_, end_;
  Quatd frame_;                          // of what the arm hangs on
  Vec3d raiseAxis_, swingAxis_;
  double upper_ = 0, lower_ = 0, span_ = 0, circle_ = 0;
  Vec3d first_, second_, line_;          // unit: upper arm, forearm, shoulder to wrist
  Vec3d off_, bends_;                    // the elbow off that line; unit: where it goes when it bends further
};

}  // namespace understudy
