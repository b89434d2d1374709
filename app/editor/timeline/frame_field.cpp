#include "app/editor/timeline/frame_field.h"

#include <algorithm>

#include "app/editor/timeline/timecode.h"

namespace understudy::editor {

FrameField::FrameField(QWidget* parent) : QSpinBox(parent) {
  setObjectName(QStringLiteral("frame"));
  setAccessibleName(tr("Frame"));
  setAlignment(Qt::AlignRight);
  setKeyboardTracking(false);
  setTimecode(false, 30);
}

void FrameField::setTimecode(bool timecode, double hertz) {
  timecode_ = timecode;
  hertz_ = hertz;
  setFixedWidth(fontMetrics().horizontalAdvance(timecode ? QStringLiteral("00:00:00:000") : QStringLiteral("0000000")) + 20);
  // Writes the text anew.
  lineEdit()->setText(textFromValue(value()));
}

QString FrameField::textFromValue(int value) const { return timecode_ ? timecode(value, hertz_) : QString::number(value); }

// A plain number is a frame in both.
int FrameField::valueFromText(const QString& text) const { return frameOfTimecode(text, hertz_).value_or(value()); }

QValidator::State FrameField::validate(QString& text, int&) const {
  if (std::any_of(text.begin(), text.end(), [](QChar c) { return !c.isDigit() && c != QLatin1Char(':') && c != QLatin1Char('-') && !c.isSpace(); })) return QValidator::Invalid;
  const auto frame = frameOfTimecode(text, hertz_);
  return frame && *frame >= minimum() && *frame <= maximum() ? QValidator::Acceptable : QValidator::Intermediate;
}

}  // namespace understudy::editor
