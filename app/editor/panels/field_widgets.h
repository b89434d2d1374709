// Fields of a form: numbers in the units people use, labels that can be dragged to change them.
#pragma once

#include <QDoubleSpinBox>
#include <QLabel>
#include <functional>

#include "core/repair/fields.h"

namespace understudy::editor {

/// How a stored number is shown.
enum class Shown { plain, millimetres, degrees, percent, hertz, frame, frames };
/// The way a described number is shown: metres as mm, radians as degrees, moments as frames, parts of 1 as per cent.
[[nodiscard]] Shown shownAs(const FieldInfo& info);

/// Between stored and shown numbers. Frames need the rate and the number of the clip's first frame.
struct Units {
  FrameRate rate;
  int frameBase = 1;  ///< shown number of the untrimmed clip's frame 0
  [[nodiscard]] double toShown(Shown shown, double stored) const;
  [[nodiscard]] double toStored(Shown shown, double value) const;
};

/// A number field. Told values are rounded for showing; written() comes only where people changed it.
class NumberField : public QDoubleSpinBox {
  Q_OBJECT
 public:
  NumberField(Shown shown, const Units& units, double least, double most, const QString& name, QWidget* parent);
  /// Limits as shown; tells nobody.
  void limit(double least, double most);
  /// Shows a stored number; tells nobody.
  void tell(double stored);
  [[nodiscard]] double stored() const { return units_.toStored(shown_, value()); }
  /// While a label drags it, changes are one step of undo.
  void setDragging(bool dragging);
  [[nodiscard]] bool dragging() const { return dragging_; }
  void wheelEvent(QWheelEvent* event) override;

 Q_SIGNALS:
  /// `merge`: it belongs to the change before (a drag, a run of arrow keys).
  void written(double stored, bool merge);
  void settled();

 protected:
  void stepBy(int steps) override;
  QString textFromValue(double value) const override;

 private:
  Shown shown_;
  Units units_;
  bool filling_ = false, dragging_ = false, stepping_ = false;
};

/// A field's name; dragging it sideways changes the number, with Shift five times finer.
class ScrubLabel : public QLabel {
  Q_OBJECT
 public:
  ScrubLabel(const QString& text, NumberField* field, QWidget* parent);

 protected:
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;

 private:
  NumberField* field_;
  double from_ = 0, startX_ = 0;
};

}  // namespace understudy::editor
