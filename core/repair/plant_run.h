// One call of applyPlants(), step by step. Internal to plants.
#pragma once

#include "core/repair/plant_calm.h"
#include "core/repair/plant_even.h"
#include "core/repair/plant_pelvis.h"
#include "core/repair/plant_work.h"

namespace understudy {

constexpr double blendTime = 0.15;   ///< seconds around where a foot lands or leaves, in which its leg's own jerks are taken out

[[nodiscard]] inline double square(double v) { return v * v; }
/// True where a leg goes from one stay to the next without coming back to its own motion.
[[nodiscard]] bool meets(const Stay& a, const Stay& b);
/// What part of its length a leg may reach over: no knee is made straighter than it was, unless that is bent enough anyway.
[[nodiscard]] double mayReach(const LegFrame& own);
/// What part of its length the pelvis leaves a leg in hand: more where the foot has to make up for a sole that gives.
[[nodiscard]] inline double inHand(const PlantLeg& leg) { return leg.soft ? 0.002 : 0.001; }
/// The part of its length over which a leg reaches whose knee is bent by `bend`, and back; beyond 1 for a knee bent backwards.
[[nodiscard]] double reachOf(double bend);
[[nodiscard]] double bendOfReach(double reach);
/// How far a knee is bent forwards and sideways, radians: what goes backwards does not count, as no knee bent to reach its foot does.
[[nodiscard]] double standingBend(const LegFrame& leg, const Vec3d& hinge);
/// How far a foot whose sole is `room` above the ground goes down where the pelvis sinks by `lowering` > 0: at most half as fast as it rose.
[[nodiscard]] double loweredInto(double room, double lowering);
/// From 0 before the release to 1 after the stay.
[[nodiscard]] double released(const Stay& stay, int frame);
/// How firmly a stay holds its foot at one of its frames: by its weight, less as it lets go.
[[nodiscard]] double firmness(const Stay& stay, int frame);

/// Where the feet that stand would have the pelvis, `lift` of it as their anchors say.
struct PelvisWay {
  PelvisMove goes;
  double lift = 0;
};

/// Where a foot is to be at a frame.
struct FootGoal {
  FootPose pose;
  bool active = false;
  int stay = -1;         ///< planted by it
  double firm = 0;       ///< 1 planted, less where it lets go
  double share = 0;      ///< on its way: how near it is to a stay, 0 … 1
  LegFrame leg;          ///< on its way: as it would be without the ground
  bool cleared = false;  ///< the ground has changed `pose` against `leg`
};

class PlantRun {
 public:
  PlantRun(const PlantPlan& plan, const PartPlants& parts, const TiledMotion& in, FrameSpan frames)
      : plan_(plan), parts_(parts), in_(in), frames_(frames), clip_{0, in.frames() - 1}, pose_(plan.context, plan.legs), drop_({0, -1}), rise_({0, -1}), above_({0, -1}), feetAbove_{Strip({0, -1}), Strip({0, -1})}, steady_({0, -1}) {
    if (!plan.grounds.empty()) body_.emplace(Body{Poser(plan.context), GroundBody(plan.context)});
  }

  void run(TiledMotion& out, std::vector<Residual>& residuals);

 private:
  struct Bent {
    LegFrame leg;
    double miss = 0;
  };
  [[nodiscard]] FrameSpan writtenIn(FrameSpan frames) const;
  void load();
  void calm(FrameSpan needed);
  [[nodiscard]] std::vector<double> firmIn(FrameSpan span, int side) const;
  void stand(int index, const std::vector<Vec3d>& moves);
  void stand(int index, const std::vector<Vec3d>& moves, const Roll& roll, std::vector<FootPose>& out) const;
  [[nodiscard]] PelvisWay rawWay(int frame) const;
  [[nodiscard]] PelvisMove pelvis(int frame) const;
  [[nodiscard]] Vec3d goes(int side, int frame, const PelvisMove& move) const { return movedBy(move, pivot(frame), own(side, frame).hip); }
  void lowerPelvis(FrameSpan span);
  enum class Lowering { gentle, least };  // for knees that give way gently too, or for nothing but what stands out of reach
  void lowerFurther(FrameSpan span, Lowering how);
  [[nodiscard]] Vec3d gapAt(int side, int frame) const;
  [[nodiscard]] Strip gentleReach(int side) const;
  /// How a leg's hip moves.
  [[nodiscard]] Vec3d moves(int side, int frame) const { return goes(side, frame, pelvis(frame)); }
  [[nodiscard]] std::vector<Vec3d> movesIn(const Stay& s) const;
  void fillGoals(int side);
  void even(FrameSpan near);
  [[nodiscard]] Roll evened(int index, int before, int after, const std::vector<Vec3d>& by) const;
  void stick();
  void steady(FrameSpan span);
  void ground();
  [[nodiscard]] double inGround(int frame, const GroundParts& parts);
  void swing(int side);
  [[nodiscard]] std::vector<LegTurn> cameHome(int side, FrameSpan gap, const GapEnds& ends, const std::vector<LegTurn>& jerks) const;
  void lead(int side, const Stay* a, const Stay* b, FrameSpan gap);
  [[nodiscard]] double lowest(int side, const GroundPlane& ground, const FootPose& pose) const;
  void clear(int side);
  void loadCalm(int frame);
  void loadMoved(int frame, const PelvisMove& move);
  void solve(int frame, TiledMotion& out, std::vector<Residual>& residuals);
  double place(int side, int frame);
  [[nodiscard]] Bent bend(int side, int frame, const FootPose& pose, bool leaves, double firm, int index, const Vec3d& by) const;
  [[nodiscard]] LegTurn turnAt(int side, int frame) const;
  [[nodiscard]] std::vector<LegTurn> bends(int side, FrameSpan span) const;
  [[nodiscard]] FootPose loose(int side, int frame) const;
  [[nodiscard]] int nearest(int side, int frame) const;
  [[nodiscard]] std::array<int, 2> beside(int side, int frame) const;
  [[nodiscard]] GroundPlane groundAt(int side, int frame) const;

  /// Of all frames of a stay.
  [[nodiscard]] std::vector<LegFrame> ownIn(const Stay& s) const;
  [[nodiscard]] const LegFrame& own(int side, int frame) const {
    return own_.legs[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - own_.first)];
  }
  [[nodiscard]] FootGoal& goal(int side, int frame) { return goals_[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - stands_.first)]; }
  [[nodiscard]] const FootGoal& goal(int side, int frame) const { return goals_[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - stands_.first)]; }
  [[nodiscard]] const PlantLeg& leg(int side) const { return plan_.legs[static_cast<std::size_t>(side)]; }
  [[nodiscard]] const Stay& stay(int index) const { return plan_.stays[static_cast<std::size_t>(index)]; }
  [[nodiscard]] const FootPose& standing(int index, int frame) const {
    return standing_[static_cast<std::size_t>(index)][static_cast<std::size_t>(frame - stay(index).span.first)];
  }
  [[nodiscard]] const PelvisMove& way(int frame) const { return way_[static_cast<std::size_t>(frame - ways_.first)]; }
  [[nodiscard]] const Vec3d& pivot(int frame) const { return own_.pivots[static_cast<std::size_t>(frame - own_.first)]; }

  [[nodiscard]] const Calms& calmAt(int frame) const { return own_.calm[static_cast<std::size_t>(frame - own_.first)]; }

  const PlantPlan& plan_;
  const PartPlants& parts_;
  const TiledMotion& in_;
  FrameSpan frames_, clip_;
  // Where feet on their way, where the pelvis goes, where it goes before feet roll a second time, what steadies it is worked out of, its first
  // sinking, standing feet and its way are known.
  FrameSpan swings_, moves_, settles_, steadies_, drops_, stands_, ways_;
  LegsPose pose_;
  struct {
    int first = 0;
    std::array<std::vector<LegFrame>, 2> legs;
    std::vector<Vec3d> pivots;
    std::vector<Calms> calm;                     // taken into account in both
  } own_;
  std::vector<char> mine_;                       // stays whose feet are wanted here
  std::vector<char> evened_;                     // stays whose rolls are evened out
  std::vector<int> near_;                        // stays that matter to the pelvis here
  std::vector<std::vector<FootPose>> standing_;  // by stay
  std::vector<Roll> rolls_;                      // by stay, before they are evened out
  std::array<std::vector<FootGoal>, 2> goals_;   // over stands_
  std::vector<PelvisMove> way_;                  // of the pelvis, over ways_
  std::vector<double> lift_;                     // what of it the anchors say
  Strip drop_, rise_;                            // by which the pelvis sinks and rises
  Strip above_;                                  // by which it rises so that the body is above the ground,
  std::array<Strip, 2> feetAbove_;               // and feet that do not stand
  struct Body {
    Poser pose;
    GroundBody skin;
  };
  std::optional<Body> body_;                     // where there is a ground to keep above
  StripOf<PelvisMove> steady_;                   // by which it moves so that knees of legs that stand are steady
};

}  // namespace understudy
