// The message bar and the progress bar: both stay out of the way and block nothing.
#pragma once

#include <QFrame>
#include <QTimer>
#include <deque>

#include "app/editor/document/job_lane.h"
#include "core/base/result.h"

class QLabel;
class QProgressBar;
class QPushButton;
class QToolButton;

namespace understudy::editor {

/// What went wrong, where, and what to do; one message at a time, the rest counted. Lies over the lower edge of another widget, so
/// that nothing is pushed aside when it comes and goes.
class MessageBar : public QFrame {
  Q_OBJECT
 public:
  explicit MessageBar(QWidget& over);
  void show(const Issue& issue);
  /// A message with something to do about it.
  void offer(const QString& text, const QString& action, std::function<void()> accept, std::function<void()> decline);
  [[nodiscard]] QString text() const;
  /// Leaves the shown message; an offer counts as declined.
  void dismiss();

 Q_SIGNALS:
  /// How many pixels of the widget's lower edge are covered now.
  void covers(int height);

 protected:
  bool event(QEvent* event) override;
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void next();
  void place();
  struct Entry {
    Issue issue;
    QString action;
    std::function<void()> accept, decline;
  };
  QWidget& over_;
  std::deque<Entry> waiting_;
  QLabel *icon_, *text_, *more_;
  QPushButton* action_;
  QToolButton* close_;
};

/// Shows a lane's job after 0.3 s, with its progress and a way to stop it: over the top of another widget, so that nothing
/// is pushed aside when it comes and goes. Several stand below one another by their row.
class BusyBar : public QFrame {
  Q_OBJECT
 public:
  BusyBar(JobLane& lane, QWidget& over, int row);

 protected:
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void place();
  QWidget& over_;
  int row_;
  QLabel* text_;
  QProgressBar* bar_;
  QTimer delay_;
  QString name_;
};

}  // namespace understudy::editor
