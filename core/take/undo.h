// Undo: a list of values with the names of the edits between them.
#pragma once

#include <string>
#include <vector>

namespace understudy {

/// Holds the current value and those before and after it. `T` is cheap to copy and can be compared.
template <class T>
class UndoStack {
 public:
  explicit UndoStack(T initial = {}) : values_{{std::move(initial), {}, {}}} {}

  [[nodiscard]] const T& current() const { return values_[at_].value; }
  /// Makes `value` current under a label people read ("Nudge left hand"). An equal value is no edit and returns false.
  /// Successive edits with the same non-empty `mergeKey` (one drag) become one step; where they add up to nothing, none.
  bool push(std::string label, T value, const std::string& mergeKey = {}) {
    if (value == current()) return false;
    const bool merge = !mergeKey.empty() && at_ > 0 && at_ != saved_ && values_[at_].mergeKey == mergeKey;
    if (saved_ != none && saved_ > at_) saved_ = none;
    values_.resize(at_ + 1);
    if (merge) {
      if (value == values_[at_ - 1].value) {
        values_.pop_back();
        --at_;
      } else {
        values_[at_].value = std::move(value);
        values_[at_].label = std::move(label);
      }
      return true;
    }
    values_.push_back({std::move(value), std::move(label), mergeKey});
    ++at_;
    if (limit_ > 0 && values_.size() > limit_ + 1) {
      values_.erase(values_.begin());
      --at_;
      saved_ = saved_ == none || saved_ == 0 ? none : saved_ - 1;
    }
    return true;
  }
  /// Replaces the current value by what follows from it by itself (places read off a motion): no step of its own.
  void amend(T value) {
    if (saved_ == at_) saved_ = none;
    values_[at_].value = std::move(value);
  }
  /// Ends a run of merging edits: the next one starts a new step.
  void seal() { values_[at_].mergeKey.clear(); }

  [[nodiscard]] bool canUndo() const { return at_ > 0; }
  [[nodiscard]] bool canRedo() const { return at_ + 1 < values_.size(); }
  [[nodiscard]] std::string undoLabel() const { return canUndo() ? values_[at_].label : std::string(); }
  [[nodiscard]] std::string redoLabel() const { return canRedo() ? values_[at_ + 1].label : std::string(); }
  bool undo() { return canUndo() ? (seal(), --at_, true) : false; }
  /// Goes back to the newest earlier value that `wanted` says yes to; without one all stays. True where it went.
  template <class Wanted>
  bool undoTo(const Wanted& wanted) {
    for (std::size_t i = at_; i-- > 0;)
      if (wanted(values_[i].value)) return seal(), at_ = i, true;
    return false;
  }
  bool redo() { return canRedo() ? (++at_, seal(), true) : false; }

  /// Labels of all steps, oldest first, and how many of them are done.
  [[nodiscard]] std::vector<std::string> labels() const {
    std::vector<std::string> all;
    for (std::size_t i = 1; i < values_.size(); ++i) all.push_back(values_[i].label);
    return all;
  }
  [[nodiscard]] std::size_t done() const { return at_; }

  /// The current value is what the file holds.
  void markSaved() { saved_ = at_; }
  [[nodiscard]] bool isSaved() const { return saved_ != none && (saved_ == at_ || values_[saved_].value == current()); }
  /// Forgets everything and starts from `value`.
  void reset(T value) {
    values_.assign(1, Step{std::move(value), {}, {}});
    at_ = 0;
    saved_ = 0;
  }
  /// Keeps at most this many steps; 0: no limit.
  void setLimit(std::size_t steps) { limit_ = steps; }

 private:
  struct Step {
    T value;
    std::string label;
    std::string mergeKey;
  };
  static constexpr std::size_t none = static_cast<std::size_t>(-1);
  std::vector<Step> values_;
  std::size_t at_ = 0;
  std::size_t saved_ = 0;
  std::size_t limit_ = 0;
};

}  // namespace understudy
