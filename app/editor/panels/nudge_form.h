// The numbers of a nudge.
#pragma once

#include <QWidget>
#include <array>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QCheckBox;
class QDoubleSpinBox;
class QLabel;
class QSpinBox;

namespace understudy::editor {

class NudgeForm : public QWidget {
  Q_OBJECT
 public:
  NudgeForm(Document& document, Session& session, QWidget* parent = nullptr);
  void show(const Nudge& nudge);

 private:
  void write();
  Document& document_;
  Session& session_;
  QLabel* title_;
  QSpinBox *frame_, *before_, *after_;
  QDoubleSpinBox* weight_;
  std::array<QDoubleSpinBox*, 3> turn_{};
  QCheckBox *muted_, *late_;
  bool filling_ = false;
};

}  // namespace understudy::editor
