// What a run of clearance is made of: clearance_run.cpp has its poses, clearance_nodes.cpp the solutions at nodes, clearance_frames.cpp what
// becomes of them frame by frame.
#pragma once

#include <algorithm>
#include <functional>
#include <optional>

#include "core/repair/arm_around.h"
#include "core/repair/change_series.h"
#include "core/repair/clearance_calm.h"
#include "core/repair/clearance_memo.h"
#include "core/repair/clearance_run.h"
#include "core/repair/clearance_times.h"
#include "core/repair/hand_ways.h"
#include "core/repair/part_choice.h"

namespace understudy {

[[nodiscard]] inline bool nothing(const ArmChanges& x) { return x[0].none() && x[1].none(); }
[[nodiscard]] inline bool nothing(const ArmGroup::Watches& w) { return w[0].none() && w[1].none(); }

class ClearanceRun::Impl {
 public:
  /// Half widths of the smoothing rounds, in nodes, and all of them. After each one the arms are cleared again.
  static constexpr int rounds[] = {6, 5, 4, 3, 2, 2}, spread = 6 + 5 + 4 + 3 + 2 + 2;
  /// Every so many nodes a solution is looked for from nothing.
  static constexpr int coarse = 4;
  /// Of those: how far a way out of the body is followed beside another one, and how far its choice looks.
  static constexpr int followed = 8, lookedAround = 8;
  /// How often frames whose clearance evening out took away again are cleared anew, how many last times whatever the head says, and how far around
  /// them (in nodes) the arm goes along.
  static constexpr int againRounds = 7, lastRounds = 2, againWide = 3;
  static constexpr PartWindow giveWindow{};
  /// How often what is left of all that is cleared a last time, and how near together it is asked what of it does good.
  static constexpr int lastTouches = 3;
  static constexpr PartWindow lastWindow{3, 2};

  Impl(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser);

  /// Frames on both sides of one whose own solutions it is made of.
  [[nodiscard]] static int around(int stride) { return stride + ((againRounds + lastTouches) * (againWide + 1) + giveWindow.support() + 2 + CalmPasses::support() + CalmPasses::near + 2 * (lastWindow.support() + 3)) * stride + ArmAround::support(stride) + HandWays::support(stride); }

  void solve(FrameSpan frames);

  /// The change of a frame, evened out.
  [[nodiscard]] ArmChanges at(int f) const;

  void write(Poser& poser, int f, ArmChanges x, std::vector<Residual>& residuals);

 private:
  [[nodiscard]] std::size_t place(int node) const { return static_cast<std::size_t>(node - first_); }
  [[nodiscard]] int frameOf(int node) const { return std::min(node * stride_, in_.frames() - 1); }
  [[nodiscard]] bool shared() const { return count_ == 2; }

  /// A frame of the input with its changes.
  void posed(Poser& poser, int f);

  /// As much of a solution as its way is worth: where there is no room, a far change that wins little is noise.
  [[nodiscard]] ArmChanges settled(const ArmChanges& start, const ArmChanges& solved, double worth) const;
  /// A change near another one that clears the loaded arms of what is watched. Where there is no room for all, the head gives way.
  [[nodiscard]] ArmChanges cleared(const ArmChanges& start, const ArmGroup::Watches& watches, double margin, int steps, const ArmFreedom& freedom, bool headLast = false);
  /// Whether a node, by what smoothing reaches from it, can matter to any frame.
  [[nodiscard]] bool busy(int node) const;

  /// The arms of a frame.
  struct Moment {
    std::array<ArmClearer::Pose, 2> pose;
    std::array<std::optional<ArmClearer::Touch>, 2> touches;  // where they have been looked for
    Digest digest;                                            // of all that solutions there depend on
    int frame = -1;
  };
  void read(Poser& poser, int f, Moment& moment);
  void load(Moment& moment);
  /// Where a loaded arm's hand is nearest to the body.
  ArmClearer::Touch touchOf(std::size_t a, Digest of);
  Moment& momentOf(int n);
  void load(int n) { load(momentOf(n)); }
  [[nodiscard]] Digest digestAt(int n) { return momentOf(n).digest; }
  void loadFrom(Poser& poser, int f);

  /// What solutions are for: the same start means something else in each.
  static constexpr std::uint64_t tagHome = 1, tagFrom = 2, tagNear = 3, tagEach = 4, tagAgain = 5, tagNeed = 6, tagTouch = 7, tagGive = 8, tagCalm = 9, tagLast = 10, tagPush = 11;
  /// The solution of that name, which `work` finds where it is not known; it may change what is seen.
  template <class Work>
  [[nodiscard]] ArmChanges solved(const Digest& of, ArmGroup::Seen& seen, Work work) {
    if (const auto known = memo_->find(of)) {
      if (known->seen) seen = *known->seen;
      return known->x;
    }
    ClearanceMemo::Solution out;
    out.x = work(seen);
    out.seen = std::make_shared<const ArmGroup::Seen>(seen);
    memo_->keep(of, out);
    return out.x;
  }
  /// From a start, or from where the arms fit the body.
  [[nodiscard]] ArmChanges searched(int n, const ArmChanges* start, int steps, ArmGroup::Seen& seen);

  void search(int n, int steps, int half);

  /// A way of the arms out of the body at a node.
  struct Way {
    ArmChanges x;
    ArmGroup::Seen seen;
  };

  /// Where neighbours went different ways, each is followed beside the other one; of all the ways those are kept that go together.
  void choose();

  /// Leaves nodes outside of a range alone from here on.
  void drop(int from, int to);

  /// Where the loaded pose's arms fit the body.
  [[nodiscard]] ArmChanges homeOf() const;

  /// The solutions of a frame and its neighbours in one.
  [[nodiscard]] ArmChanges evened(int f) const;

  /// Frame by frame, a little beyond the ends, so that what each frame adds can be evened out.
  void each(FrameSpan frames);

  /// Where nothing lies in the body some time around, a free arm stays as it was.
  void fade();
  /// How much a node's own pose calls for a change, 0 … 1.
  [[nodiscard]] double needAt(int n);

  Moment& momentAt(int f);
  /// Evening out takes away again much of what is needed for a moment only: frames that are in the body after it are given what they lack in
  /// addition, and frames around them part of it.
  void again();
  /// Where there is no room, what is given again and again leads away and wins nothing: only so much of it is taken as does good. `left`: metres in the
  /// body that a change leaves at a place among the frames.
  void give(const std::vector<ArmChanges>& before, const PartWindow& window, const std::function<double(int, const ArmChanges&)>& left);
  /// Metres that a change leaves of a frame's arms in the body; of what lies in the head, which can turn away, only a part counts.
  [[nodiscard]] double leftOf(int f, const ArmChanges& x);
  /// Where an arm's change makes haste, it is spread over what time there is room for.
  void calmHaste();
  /// Single frames that came into the body by what was given back and calmed are cleared a last time, where little is enough.
  void touchUp();
  /// What a frame lacks.
  [[nodiscard]] ClearanceMemo::Solution clearedAgain(int f, const ArmChanges& now, bool headLast);
  /// Of a loaded one.
  [[nodiscard]] ClearanceMemo::Solution freshClearedAgain(int f, const ArmChanges& now, bool headLast);
  /// Whether a change leaves a frame's arms so deep that it is of no use.
  [[nodiscard]] bool stillIn(int f, const ArmChanges& x);
  void setHeadLast(bool last);

  [[nodiscard]] const ArmGroup::Watches& watchAt(int f) const { return seen_[place(std::clamp((f + stride_ / 2) / stride_, first_, last_))].watches; }

  const ClearanceWork& work_;
  const ClearanceTask& task_;
  const ClearanceTimes times_;
  const TiledMotion& in_;
  Poser& poser_;
  int stride_;
  std::size_t count_;
  double margin_, slack_;
  std::vector<ArmClearer> arms_;
  std::optional<ArmAround> around_;
  std::optional<ArmGroup> group_;
  std::optional<HandWays> hand_;
  int first_ = 0, last_ = 0, from_ = 0;
  std::vector<ArmChanges> nodes_, found_;
  std::vector<ArmGroup::Seen> seen_;
  std::vector<Moment> moments_;
  std::vector<char> idle_;
  Moment own_;
  std::shared_ptr<const ClearanceMemo> memo_;
  std::shared_ptr<const HandTouchMemo> touchMemo_;
  Digest all_;  // of what all frames have in common
};

}  // namespace understudy
