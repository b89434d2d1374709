// The five steps: what is done, what comes next. Never blocks: every step can be opened at any time.
#pragma once

#include <QWidget>
#include <array>

#include "app/editor/document/document.h"

namespace understudy::editor {

enum class Step { load, map, match, repair, handOver };
inline constexpr int stepCount = 5;

struct StepState {
  QString title, note;
  bool done = false;
  bool next = false;  ///< the one to do now
};
/// What the strip says about a document.
[[nodiscard]] std::array<StepState, stepCount> stepsOf(const Document& document, bool handedOver);

class StepStrip : public QWidget {
  Q_OBJECT
 public:
  StepStrip(Document& document, QWidget* parent = nullptr);
  [[nodiscard]] QSize sizeHint() const override;

 Q_SIGNALS:
  void opened(understudy::editor::Step step);

 private:
  void refresh();
  std::array<class StepButton*, stepCount> buttons_{};
  Document& document_;
  Take handedOver_;
  bool everHandedOver_ = false;
};

}  // namespace understudy::editor
