// Handing over: where to, in which format and numbering, and how true the written file is.
#pragma once

#include <QDialog>

#include "app/editor/document/document.h"

class QCheckBox;
class QComboBox;
class QDoubleSpinBox;
class QLabel;
class QLineEdit;
class QPushButton;
class QSpinBox;

namespace understudy::editor {

class HandOverDialog : public QDialog {
  Q_OBJECT
 public:
  explicit HandOverDialog(Document& document, QWidget* parent = nullptr);
  /// Fills in the take's settings and shows the window; it blocks nothing.
  void open() override;

 private:
  void browse();
  /// Something was set by hand: what was written is no longer what is shown.
  void change();
  void check();
  void write();
  [[nodiscard]] QString suggestion() const;

  Document& document_;
  QLineEdit *path_, *name_;
  QComboBox *format_, *rate_, *curves_;
  QDoubleSpinBox* tolerance_;
  QCheckBox* only_;
  QSpinBox* first_;
  QLabel *hint_, *report_;
  QPushButton *go_, *close_, *folder_;
  QString written_;
  bool filling_ = false;
};

}  // namespace understudy::editor
