// A number typed at a handle: degrees for a ring, millimetres for an arrow.
#pragma once

#include <QLineEdit>

namespace understudy::editor {

class StageNumber : public QLineEdit {
  Q_OBJECT
 public:
  explicit StageNumber(QWidget* stage);
  /// Opens beside a point with the first sign typed; `what` says what is asked, "Z, degrees".
  void ask(QPoint at, const QString& first, const QString& what);

 Q_SIGNALS:
  void entered(double value);
  void closed();

 protected:
  void keyPressEvent(QKeyEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;
};

}  // namespace understudy::editor
