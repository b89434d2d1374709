// Another take of the reel beside the one that is worked on: which one, its figures, and what it evaluates to.
#pragma once

#include <QObject>
#include <memory>

#include "app/editor/document/document.h"

namespace understudy::editor {

/// Follows the reel. Nothing is read or evaluated while it is not wanted.
class OtherTake : public QObject {
  Q_OBJECT
 public:
  explicit OtherTake(Document& document, QObject* parent = nullptr);

  /// Whether it is shown now.
  void want(bool wanted);
  [[nodiscard]] bool wanted() const { return wanted_; }
  /// Index of the take; −1 where the reel has one take only. Follows the choice: taking up the other one swaps the two.
  [[nodiscard]] int index() const { return index_; }
  void choose(int index);
  [[nodiscard]] const Take* take() const;
  /// Null until it is evaluated.
  [[nodiscard]] std::shared_ptr<const Evaluated> evaluated() const { return evaluated_; }
  [[nodiscard]] const LoadedFigure* character() const { return evaluated_ ? &character_ : nullptr; }
  /// Its frame at the time of a frame of the current take; both counted from 0 and kept within the clip.
  [[nodiscard]] int frameAt(int frame, double hertz) const;
  [[nodiscard]] JobLane& lane() { return lane_; }

 Q_SIGNALS:
  void changed();

 private:
  void follow();

  Document& document_;
  JobLane lane_;
  bool wanted_ = false;
  int index_ = -1, current_ = 0;
  Take shown_;                      ///< what evaluated() is of, or will be
  LoadedFigure character_;
  std::shared_ptr<const Evaluated> evaluated_;
  std::shared_ptr<EvaluationCache> cache_;
};

}  // namespace understudy::editor
