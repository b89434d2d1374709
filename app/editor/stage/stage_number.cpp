#include "app/editor/stage/stage_number.h"

#include <QDoubleValidator>
#include <QKeyEvent>

namespace understudy::editor {

StageNumber::StageNumber(QWidget* stage) : QLineEdit(stage) {
  setObjectName(QStringLiteral("stageNumber"));
  setFocusPolicy(Qt::ClickFocus);
  auto* numbers = new QDoubleValidator(-100000, 100000, 3, this);
  numbers->setNotation(QDoubleValidator::StandardNotation);
  setValidator(numbers);
  hide();
  connect(this, &QLineEdit::returnPressed, this, [this] {
    bool number = false;
    const double value = locale().toDouble(text(), &number);
    hide();
    if (number) Q_EMIT entered(value);
    Q_EMIT closed();
  });
}

void StageNumber::ask(QPoint at, const QString& first, const QString& what) {
  setAccessibleName(what);
  setToolTip(what);
  setPlaceholderText(what);
  setText(first);
  const int wide = std::max(110, fontMetrics().horizontalAdvance(what) + 24);
  resize(wide, 30);
  move(std::clamp(at.x(), 4, std::max(4, parentWidget()->width() - wide - 4)), std::clamp(at.y(), 4, std::max(4, parentWidget()->height() - 34)));
  show();
  setFocus();
  end(false);
}

void StageNumber::keyPressEvent(QKeyEvent* event) {
  if (event->key() != Qt::Key_Escape) return QLineEdit::keyPressEvent(event);
  hide();
  Q_EMIT closed();
}

void StageNumber::focusOutEvent(QFocusEvent* event) {
  QLineEdit::focusOutEvent(event);
  hide();
}

}  // namespace understudy::editor
