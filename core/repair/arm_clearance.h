// One arm against the body in one pose: what a change of the arm does to the distances of its skin. arm_solve.h looks for the change.
#pragma once

#include <algorithm>
#include <array>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "core/base/digest.h"
#include "core/body/body_model.h"
#include "core/repair/arm_fit.h"
#include "core/repair/poser.h"

namespace understudy {

/// What is done to an arm, on top of the pose it had.
struct ArmChange {
  static constexpr std::size_t size = 9;
  /// Where the hand stays or holds something: 0: swivel about the shoulder–wrist line, radians; 1, 2: clavicle about its own two axes,
  /// radians; 3–5: wrist, metres in the frame of what the arm hangs on; 6–8: rotation vector, radians in that frame, of what both
  /// hands hold and of the hands, or of a hand that touches, about the pivot.
  /// Where it is free: 0: the elbow, radians, positive bends it; 1, 2: clavicle, the upper arm keeps its direction; 3–5: rotation
  /// vector of the upper arm in the frame of what the arm hangs on. The pose follows from these without a case or a pole, so that
  /// changes that are smooth over time give motion that is.
  std::array<double, size> x{};
  [[nodiscard]] bool none() const {
    for (const double v : x)
      if (v != 0) return false;
    return true;
  }
  friend bool operator==(const ArmChange&, const ArmChange&) = default;
};

struct ArmClearanceSettings {
  bool handStays = false;         ///< the hand's goal is kept exactly: the arm never straightens so far that the wrist falls behind
  double clavicle = 0.2617994;    ///< radians about each axis at most (15°)
  double swivel = 2.6;            ///< radians at most; also of the upper arm where changes turn it
  double turn = 2.6;              ///< radians at most by which hands turn about the pivot
  double bend = 2.5;              ///< radians to which an elbow may be bent by a change
  bool torso = true, head = true, thighs = true, floor = true;
};

/// A rigid point of what the hand holds, in the frame of the hand's joint, metres.
using HeldPoints = std::vector<Vec3d>;

/// One arm of a character. Not for several threads at once.
class ArmClearer {
 public:
  ArmClearer(const RepairContext& context, std::shared_ptr<const BodyModel> model, int side, const ArmClearanceSettings& settings, const HeldPoints& held = {});
  [[nodiscard]] bool able() const { return able_; }
  [[nodiscard]] const ArmClearanceSettings& settings() const { return settings_; }
  [[nodiscard]] bool byWrist() const { return byWrist_; }
  [[nodiscard]] bool hasGirdle() const { return limb_.girdle >= 0; }
  /// Metres of a character 1.7 m tall, for this one.
  [[nodiscard]] double scaled(double metres) const { return metres * scale_; }
  [[nodiscard]] double reach() const { return limb_.full(); }
  /// +1 on the left, where outwards is +x; −1 on the right.
  [[nodiscard]] double outwards() const { return side_ == 0 ? 1 : -1; }

  /// What the arm needs to know of a frame's pose.
  struct Pose {
    std::vector<Affined> turned;  // now · reference⁻¹ of the joints that matter
    Vec3d girdle, root, mid, end;
    double floor = 0;  ///< height of the floor: the stage's, or what the feet stand on where that is far below
    Quatd frame, rootTurn;
    Vec3d side;        ///< where the elbow lies off the line from shoulder to wrist, evened out over time (arm_around.h), metres in `frame`; zero: no side
  };
  /// `frame`: of the wrist's shift; default: that of what the arm hangs on.
  void read(const Poser& poser, Pose& pose, const Quatd* frame = nullptr) const;
  void load(const Pose& pose);
  void load(const Poser& poser);
  /// What both hands hold turns about this place of the stage; until set in a loaded pose: about the middle of the hand's skin, which
  /// goes along with the hand, so that turns which are smooth over time give motion that is.
  void setPivot(const Vec3d& pivot) { pivot_ = pivot; }
  [[nodiscard]] const Vec3d& wrist() const { return end_; }
  /// How much of a wrist's shift is done; all of it unless told otherwise.
  void setGive(double give) { give_ = give; }
  /// Where the hand is nearest to the body.
  struct Touch {
    BodyPart part = BodyPart::none;
    double distance = 0;  ///< metres from the part, at least 0
    Vec3d place;          ///< of the stage
  };
  /// That in the loaded pose.
  [[nodiscard]] Touch touch() const;
  /// In the loaded pose the hand is kept as near to that part of the body as it is there, by so much (0: not at all, 1: for good); it
  /// turns about where it is nearest, the less held the nearer to its middle.
  void setTouch(double hold, const Touch& touch);
  /// Whether what is held counts in watches to come; it does unless told otherwise.
  void setHolding(bool holding) { holding_ = holding; }

  /// Whether the head, which can turn away, comes last: it then hardly counts in rows(), and not in depth(). It does not unless told otherwise.
  void setHeadLast(bool last) { headLast_ = last; }

  /// Points worth watching near a change: those that are inside or within 45 mm of the body.
  struct Watch {
    std::vector<std::pair<std::uint16_t, std::uint16_t>> pairs;  // point, solid or the floor
    [[nodiscard]] bool none() const { return pairs.empty(); }
    /// What is watched in another one as well.
    void add(const Watch& other) {
      for (const auto& pair : other.pairs)
        if (std::find(pairs.begin(), pairs.end(), pair) == pairs.end()) pairs.push_back(pair);
    }
  };
  Watch watch(const ArmChange& change);
  /// Metres by which the deepest watched point lies inside beyond what its rest contact allows; negative: clear by as much. Where that
  /// is less than `least`, or nothing is watched: `least`.
  double depth(const ArmChange& change, const Watch& watch, double least = -1);
  /// Whether it is more than that.
  bool deeper(const ArmChange& change, const Watch& watch, double than) { return depth(change, watch, than, true) > than; }
  /// depth(change, watch(change), least), or `most` where it is more: then it takes less time.
  double depthUpTo(const ArmChange& change, double least, double most);
  /// The same of all points, without watching.
  double depth(const ArmChange& change) { return depth(change, watch(change)); }
  /// False where no point at all lies deeper than that after a change; quicker than to watch.
  [[nodiscard]] bool mayBeDeeper(const ArmChange& change, double than);
  /// Metres by which the deepest of all points lies inside in the loaded pose, beyond what its rest contact allows; 0 where none does.
  double deepest();
  /// The same of another pose; what has been measured of the character's arms is remembered. Which pose is loaded then is left open.
  double deepestOf(const Poser& poser);
  /// Names all that an answer about another pose depends on, of the arm and of the joints that matter to it.
  [[nodiscard]] Digest nameOf(const Poser& poser);
  /// Which of the arm lies deepest in which part of the body in the loaded pose; none where nothing lies in it.
  struct DeepPlace {
    BodyPart of = BodyPart::none, in = BodyPart::none;
    bool inFloor = false;
  };
  [[nodiscard]] DeepPlace deepestPlace();

  /// How the arm lies after a change.
  static constexpr std::size_t measures = 16;
  using Likeness = std::array<double, measures>;
  static constexpr int groups = 6;  // stays, clavicle, upper arm, forearm, hand, what hangs beside the hand
  struct Carry {
    std::array<Affined, groups> by;
    std::array<Quatd, 4> turn;  // of clavicle, upper arm, forearm, hand
    double over = 0;            // metres the wrist's goal lies beyond what is met exactly
    double missed = 0;          // metres the wrist stays from its goal
  };
  [[nodiscard]] Carry carry(const ArmChange& change) const;
  /// Metres by which a change alters the arm, part by part: directions of its bones times their lengths, then collarbone, swivel, wrist,
  /// turn of what is held; and what a wrist costs that is bent too far.
  [[nodiscard]] Likeness likeness(const ArmChange& change, const Carry& carry) const;
  /// How the upper arm and the forearm lie after a change, metres from end to end, in the frame of what the arm hangs on.
  [[nodiscard]] std::array<Vec3d, 2> lies(const ArmChange& change) const;
  /// Largest angle, radians, by which a change turns the direction of upper arm or forearm.
  [[nodiscard]] double turned(const ArmChange& change) const;

  struct Row {
    double need = 0;  // metres the point has to come out
    Vec3d point, gradient;
    int index = -1;
    double weight = 1;
  };
  /// A row for every watched point that has to come out by more than −reach, by the guides. `fresh`: the watch is another one than
  /// in the call before.
  void rows(const ArmChange& change, const Carry& carry, const Watch& watch, double margin, double reach, bool fresh, std::vector<Row>& out);
  /// How much nearer to the outside a row's point comes in another carry, metres.
  [[nodiscard]] double gain(const Row& row, const Carry& there) const { return dot(row.gradient, pointAt(row.index, there) - row.point); }
  /// The same of differences of carries.
  [[nodiscard]] double moved(const Row& row, const Carry& by) const { return dot(row.gradient, pointAt(row.index, by)); }
  /// Metres that one unit of each parameter moves about.
  [[nodiscard]] std::array<double, ArmChange::size> weights() const;
  /// The change by which a free arm fits this body, whatever else it does: arm_fit.h.
  [[nodiscard]] ArmChange fitted(const ArmFit& fit) const;
  void clamp(ArmChange& change) const;
  /// The least and the most that a parameter may be in the loaded pose.
  [[nodiscard]] std::pair<double, double> limits(std::size_t parameter) const;
  void write(Poser& poser, const ArmChange& change) const;

 private:
  struct Point;
  /// `any`: the first that is deeper than `least` will do.
  double depth(const ArmChange& change, const Watch& watch, double least, bool any);
  /// What has been found while watched points are gone through in their order.
  struct Deepening {
    double worst = 0;
    std::size_t next = 0;          ///< of the pairs
    int of = -1;                   ///< the solid that was asked last,
    PosedSolid::Nearby near{};     ///< and how a point was placed for it
    Vec3d placed{};
  };
  /// Goes on with the pairs from `next` on until `worst` is more than enough.
  void deepen(const Carry& now, const Watch& watch, Deepening& deepening, double enough) const;
  /// Finds what is worth watching, by and by; `stop` is asked after each part.
  template <class Stop>
  void watch(const Carry& now, Watch& out, Stop stop);
  [[nodiscard]] Carry carryFree(const ArmChange& change) const;
  [[nodiscard]] Vec3d pointAt(int index, const Carry& carry) const;
  void gather(int index) const;
  void poseSolids(const Carry& carry);
  [[nodiscard]] bool asked(int point, BodyPart solid) const;
  /// Things that are held have their own ways to stay above the floor.
  [[nodiscard]] bool asksFloor(int point) const;
  /// Of all that deepest() depends on in the pose that was read last.
  [[nodiscard]] Digest ownDigest() const;
  /// How differently joints share in two points, 0 … 2.
  [[nodiscard]] double apart(const Point& a, const Point& b) const;
  /// As pointAt() of no change.
  [[nodiscard]] Vec3d loadedAt(int index) const;
  /// Goes through points, which lie at(point) now, and parts of the body (none: the floor) that may lie deeper in each other than
  /// worst(), which visit(point, part, depth) may raise, until that says true. `unsure`: metres by which the way back of a neighbour may be wrong.
  template <class At, class Worst, class Visit>
  void walk(At at, double unsure, Worst worst, Visit visit) const;

  const RepairContext& context_;
  std::shared_ptr<const BodyModel> model_;
  ArmClearanceSettings settings_;
  LimbRig limb_;
  bool able_ = false;
  bool byWrist_ = false;  ///< what changes mean, see ArmChange
  int side_ = 0;
  double scale_ = 1;
  Digest kind_;           ///< of what deepest() depends on beside the pose
  double ankle_ = 0;                     // metres over the soles, reference pose
  std::vector<signed char> groupOfJoint_;
  Vec3d palm_;                           // middle of the hand's skin, reference pose
  std::vector<int> beside_;              // what hangs beside the hand off the wrist: it turns with the hand about where the forearm takes it
  Vec3d besidePlace_;                    // where that is, loaded pose
  std::vector<int> armJoints_;           // joints that carry points of the arm or of the solids
  std::vector<const BodySolid*> solids_;
  static constexpr std::uint16_t floorIndex = 0xffff;  ///< among solids
  std::vector<char> solidFollows_;       // some of its joints belong to the arm
  struct Point {
    Vec3d reference;
    double allowed = 0;
    BodyPart part = BodyPart::none;
    bool upper = false, hand = false, held = false;
    double fromHub = 0;  // metres to its cluster's hub at most, however bent
    std::uint32_t firstPiece = 0, pieces = 0, firstInfluence = 0, influences = 0;
  };
  std::vector<Point> points_;
  struct Influence {
    int joint = 0;
    std::uint32_t piece = 0;
    double weight = 0;
  };
  std::vector<Influence> influences_;
  struct Piece {
    int group = 0;
    double weight = 0;
    Vec3d sum;
  };
  mutable std::vector<Piece> pieces_;         // of a point: the parts that go along with one group
  mutable std::vector<std::uint32_t> gathered_;  // the load in which a point's pieces were summed
  std::uint32_t load_ = 0;
  bool holding_ = true, headLast_ = false;
  double give_ = 1;
  BodyPart touched_ = BodyPart::none;
  double hold_ = 0, touchAt_ = 0;  // metres from the part
  struct Cluster {
    int first = 0, count = 0;
    int hub = 0;          // the point nearest the middle
    double radius = 0;    // around it, with room for what bending does
  };
  std::vector<Cluster> clusters_;

  // Where watched points lay in the reference pose when they were last asked.
  struct Near {
    PosedSolid::Nearby place;
    Vec3d at;
    double first = 0, second = 0;  // the clavicle's turns then
  };
  std::vector<Near> near_;

  // The loaded pose.
  Pose own_;
  std::vector<Affined> turned_, changed_;  // by joint
  std::vector<PosedSolid> posed_;
  std::array<bool, groups> groupMovesSolids_{};
  std::optional<std::array<Affined, groups>> posedBy_;  // how the solids that follow the arm were posed last,
  std::uint32_t posedLoad_ = 0;                         // and for which load
  Vec3d girdle_, root_, mid_, end_, pivot_;
  double floor_ = 0;
  Quatd frame_;
  Vec3d raiseAxis_, swingAxis_;
  double upper_ = 0, lower_ = 0, span_ = 0, circle_ = 0;
  Vec3d first_, second_, line_;          // unit: upper arm, forearm, shoulder to wrist
  Vec3d hand_, straight_;                // unit: where the hand points, and where it would at a wrist that is as in the reference pose
  Vec3d off_, bends_;                    // the elbow off that line; unit: where it goes when it bends further
  Vec3d hinge_;                          // unit: a positive turn about it bends the elbow
  double bent_ = 0;                      // radians about it
};

}  // namespace understudy
