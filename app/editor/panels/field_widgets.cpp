#include "app/editor/panels/field_widgets.h"

#include <QMouseEvent>
#include <QWheelEvent>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <string_view>

namespace understudy::editor {

Shown shownAs(const FieldInfo& info) {
  const std::string_view unit = info.unit;
  if (unit == "m") return Shown::millimetres;
  if (unit == "rad") return Shown::degrees;
  if (unit == "Hz") return Shown::hertz;
  if (unit == "s") return info.least == 0 ? Shown::frames : Shown::frame;
  return info.least == 0 && info.most == 1 ? Shown::percent : Shown::plain;
}

double Units::toShown(Shown shown, double stored) const {
  switch (shown) {
    case Shown::millimetres: return stored * 1000;
    case Shown::degrees: return stored * 180 / std::numbers::pi;
    case Shown::percent: return stored * 100;
    case Shown::frames: return std::round(stored * rate.hertz());
    case Shown::frame: return std::round(stored * rate.hertz()) + frameBase;
    default: return stored;
  }
}

double Units::toStored(Shown shown, double value) const {
  switch (shown) {
    case Shown::millimetres: return value / 1000;
    case Shown::degrees: return value * std::numbers::pi / 180;
    case Shown::percent: return value / 100;
    case Shown::frames: return rate.seconds(static_cast<std::int64_t>(std::llround(value)));
    case Shown::frame: return rate.seconds(static_cast<std::int64_t>(std::llround(value)) - frameBase);
    default: return value;
  }
}

NumberField::NumberField(Shown shown, const Units& units, double least, double most, const QString& name, QWidget* parent)
    : QDoubleSpinBox(parent), shown_(shown), units_(units) {
  setKeyboardTracking(false);
  setAccessibleName(name);
  setFocusPolicy(Qt::StrongFocus);
  setMinimumWidth(54);
  const bool whole = shown == Shown::frame || shown == Shown::frames;
  setDecimals(whole || shown == Shown::percent ? 0 : shown == Shown::plain ? 3 : 1);
  setSingleStep(shown == Shown::plain ? 0.05 : shown == Shown::percent ? 5 : 1);
  const double low = std::isfinite(least) && !(whole && shown == Shown::frame) ? units.toShown(shown, least) : -1e7;
  const double high = std::isfinite(most) && !(whole && shown == Shown::frame) ? units.toShown(shown, most) : 1e7;
  setRange(std::max(low, -1e7), std::min(high, 1e7));
  switch (shown) {
    case Shown::millimetres: setSuffix(tr(" mm")); break;
    case Shown::degrees: setSuffix(QStringLiteral("°")); break;
    case Shown::percent: setSuffix(tr(" %")); break;
    case Shown::hertz: setSuffix(tr(" Hz")); break;
    case Shown::frames: setSuffix(tr(" f")); break;
    default: break;
  }
  connect(this, &QDoubleSpinBox::valueChanged, this, [this] {
    if (!filling_) Q_EMIT written(stored(), dragging_ || stepping_);
  });
  connect(this, &QDoubleSpinBox::editingFinished, this, &NumberField::settled);
}

QString NumberField::textFromValue(double value) const {
  // "12" rather than "12.0": narrow fields have room for what matters.
  QString text = QDoubleSpinBox::textFromValue(value);
  const QString point = locale().decimalPoint();
  if (!text.contains(point)) return text;
  while (text.endsWith(QLatin1Char('0'))) text.chop(1);
  if (text.endsWith(point)) text.chop(point.size());
  return text == QStringLiteral("-0") ? QStringLiteral("0") : text;
}

void NumberField::limit(double least, double most) {
  filling_ = true;
  setRange(least, most);
  filling_ = false;
}

void NumberField::tell(double stored) {
  filling_ = true;
  setValue(units_.toShown(shown_, stored));
  filling_ = false;
}

void NumberField::setDragging(bool dragging) {
  dragging_ = dragging;
  if (!dragging) Q_EMIT settled();
}

void NumberField::stepBy(int steps) {
  stepping_ = true;
  QDoubleSpinBox::stepBy(steps);
  stepping_ = false;
}

void NumberField::wheelEvent(QWheelEvent* event) {
  // A form is scrolled over its fields; only the one being edited turns with the wheel.
  if (hasFocus())
    QDoubleSpinBox::wheelEvent(event);
  else
    event->ignore();
}

ScrubLabel::ScrubLabel(const QString& text, NumberField* field, QWidget* parent) : QLabel(text, parent), field_(field) {
  setProperty("quiet", true);
  setCursor(Qt::SizeHorCursor);
  setBuddy(field);
}

void ScrubLabel::mousePressEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton || !field_->isEnabled()) return;
  startX_ = event->globalPosition().x();
  from_ = field_->value();
  field_->setDragging(true);
}

void ScrubLabel::mouseMoveEvent(QMouseEvent* event) {
  if (!field_->dragging()) return;
  const double step = field_->singleStep() * (event->modifiers() & Qt::ShiftModifier ? 0.1 : 0.5);
  field_->setValue(from_ + std::round(event->globalPosition().x() - startX_) * step);
}

void ScrubLabel::mouseReleaseEvent(QMouseEvent*) {
  if (field_->dragging()) field_->setDragging(false);
}

}  // namespace understudy::editor
