// The smallest change that brings one arm, or both arms that hold one thing, out of the body.
#pragma once

#include <algorithm>
#include <array>
#include <vector>

#include "core/repair/arm_clearance.h"

namespace understudy {

/// Of the group's arms, in its order; a group of one uses the first.
using ArmChanges = std::array<ArmChange, 2>;

/// What a solution may use besides the swivel.
struct ArmFreedom {
  bool girdle = true, wrist = true, turn = true;
  friend bool operator==(const ArmFreedom&, const ArmFreedom&) = default;
};

/// Arms that are cleared together: one, or two whose wrists shift and turn together. Not for several threads at once.
class ArmGroup {
 public:
  /// `arms` outlive the group. Two arms have their poses read with one frame.
  explicit ArmGroup(std::vector<ArmClearer*> arms) : arms_(std::move(arms)) {}
  [[nodiscard]] std::size_t arms() const { return arms_.size(); }
  [[nodiscard]] ArmClearer& arm(std::size_t i) const { return *arms_[i]; }

  using Watches = std::array<ArmClearer::Watch, 2>;
  [[nodiscard]] Watches watch(const ArmChanges& change);
  /// As ArmClearer's, of all arms.
  [[nodiscard]] double depth(const ArmChanges& change, const Watches& watches, double least = -1);
  [[nodiscard]] double depthUpTo(const ArmChanges& change, double enough);
  [[nodiscard]] bool mayBeDeeper(const ArmChanges& change, double than);
  [[nodiscard]] bool deeper(const ArmChanges& change, const Watches& watches, double than);
  /// How the arms should lie, and how firmly needs count against that.
  struct Goal {
    std::array<ArmClearer::Likeness, 2> wanted{};
    double firm = 0;
  };
  /// As after a change; needs have to be met.
  [[nodiscard]] Goal near(const ArmChanges& change) const;
  /// As little changed as can be, but for the upper arms, which go where `home` leads them: a balance.
  [[nodiscard]] Goal least(const ArmChanges& home) const;
  /// Changes `start` step by step until all watched points are `margin` metres out, holding it near the goal in what shows: the
  /// directions of the arms' bones.
  [[nodiscard]] ArmChanges solve(const ArmChanges& start, const Goal& goal, const Watches& watches, double margin, int steps, const ArmFreedom& freedom);
  /// Metres that the last solve() left of its margin; negative: it is met.
  [[nodiscard]] double left() const { return std::max(left_.first, left_.rest); }
  /// The same of what comes first: the torso, and what is touched.
  [[nodiscard]] double leftFirst() const { return left_.first; }
  /// Metres that it has won: of what comes first, and of the rest.
  [[nodiscard]] double won() const {
    const auto win = [](double before, double after) { return std::max(0.0, std::max(before, 0.0) - std::max(after, 0.0)); };
    return win(before_.first, left_.first) + win(before_.rest, left_.rest);
  }
  /// What to watch, and the change at which that was asked.
  struct Seen {
    Watches watches;
    ArmChanges at;
    bool asked = false;
  };
  /// Looks anew where the arms have moved on since.
  void look(const ArmChanges& change, Seen& seen);
  /// From a start to the smallest change (measured from `home`) that clears the arms.
  [[nodiscard]] ArmChanges search(const ArmChanges& start, const ArmChanges& home, double margin, int steps, const ArmFreedom& freedom, Seen& seen);
  /// How much of a change it is, metres.
  [[nodiscard]] double cost(const ArmChanges& change, const ArmChanges& anchor) const;
  /// What a change costs: its square distance from the goal that search() has, metres², and what it leaves of its margin, `firm` times.
  [[nodiscard]] double worth(const ArmChanges& change, const ArmChanges& home, double firm, const Watches& watches, double margin);
  /// The nearest change in which no hand that has to stay falls behind its goal.
  [[nodiscard]] ArmChanges kept(const ArmChanges& change, const ArmFreedom& freedom) const;

 private:
  static constexpr std::size_t most = 12;
  using Row12 = std::array<double, most>;
  /// How many of an arm's parameters count: those of a turn only where its pose follows from the wrist.
  [[nodiscard]] std::size_t each() const { return arms_[0]->byWrist() ? ArmChange::size : 6; }
  [[nodiscard]] std::size_t dims() const { return arms_.size() == 1 ? each() : most; }
  /// Place of an arm's parameter among the group's.
  [[nodiscard]] std::size_t at(std::size_t arm, std::size_t k) const { return arms_.size() == 1 ? k : k < 3 ? 3 * arm + k : 3 + k; }
  struct State {
    ArmChanges x;
    std::array<ArmClearer::Carry, 2> carry;
    std::array<ArmClearer::Likeness, 2> likeness;
    std::array<std::vector<ArmClearer::Row>, 2> rows;
    double value = 0;
  };
  void pose(State& state) const;
  /// Works a row's slopes out where they are not known: how much each parameter brings its point out.
  void findSlope(std::size_t a, std::size_t i, const std::array<bool, most>& used);
  /// What a change does to the parts of an arm, straight on as the slopes go: differences of carries.
  [[nodiscard]] ArmClearer::Carry changeOf(std::size_t a, const Row12& change, const std::array<bool, most>& used) const;
  /// Whether a row's point is out after that without doubt.
  [[nodiscard]] bool clearAfter(const ArmClearer::Row& row, std::size_t a, const ArmClearer::Carry& together) const;
  using Start = std::array<double, ArmChange::size>;
  /// Where else to begin for a left arm, or both.
  [[nodiscard]] std::vector<Start> starts(const ArmFreedom& freedom) const;

  std::vector<ArmClearer*> arms_;
  State now_, next_;
  std::array<std::vector<Row12>, 2> slopes_;
  std::array<std::vector<char>, 2> active_, sloped_;  // rows that act; those whose slopes are known
  std::array<std::array<ArmClearer::Carry, ArmChange::size>, 2> beside_;  // a small step of each parameter on,
  std::array<std::array<double, ArmChange::size>, 2> steps_{};            // which is that long
  struct Left {
    double first = -1, rest = -1;  // metres; of the torso and what is touched, and of all else
  };
  Left left_, before_;
};

}  // namespace understudy
