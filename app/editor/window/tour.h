// A first tour on the demo: each step says one thing, watches whether it was done, and goes on by itself.
#pragma once

#include <QFrame>
#include <functional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QLabel;
class QPushButton;

namespace understudy::editor {

class MainWindow;

struct TourStep {
  QString title, text;
  std::function<QWidget*()> where;  ///< the part of the window it is about; null: none
  std::function<bool()> done;       ///< null: read and go on
};

class Tour : public QFrame {
  Q_OBJECT
 public:
  explicit Tour(MainWindow& window);
  /// Opens the demo and begins; an unsaved reel is asked about first.
  void start();
  void next();
  void end();
  [[nodiscard]] bool running() const { return at_ >= 0; }
  [[nodiscard]] int step() const { return at_; }
  [[nodiscard]] int steps() const { return static_cast<int>(steps_.size()); }

 Q_SIGNALS:
  void stepped(int step);

 protected:
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void makeSteps();
  void show(int step);
  void watch();
  void place();

  MainWindow& window_;
  std::vector<TourStep> steps_;
  int at_ = -1;
  QLabel *title_, *text_, *count_;
  QPushButton *next_, *end_;
  QFrame* frame_;
  // What the steps compare with: as it was when the step began.
  Take before_;
  bool handedOver_ = false;
};

}  // namespace understudy::editor
