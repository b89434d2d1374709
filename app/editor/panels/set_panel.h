// The set around the character: its things and their places; and what is locked.
#pragma once

#include <QWidget>
#include <array>
#include <vector>

#include "app/editor/document/document.h"

class QComboBox;
class QDoubleSpinBox;
class QLabel;
class QLineEdit;
class QListWidget;
class QSpinBox;
class QToolButton;

namespace understudy::editor {

class SetPanel : public QWidget {
  Q_OBJECT
 public:
  SetPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QListWidget& list() { return *list_; }
  void select(std::uint64_t id);

 private:
  void refresh();
  void write();
  void refreshLocks();
  [[nodiscard]] const SetItem* chosen() const;

  Document& document_;
  Session& session_;
  QListWidget *list_, *locks_;
  QLabel *empty_, *emptyLocks_;
  QWidget* form_;
  QLineEdit* name_;
  QComboBox* kind_;
  std::array<QDoubleSpinBox*, 3> place_, size_;
  QDoubleSpinBox* turn_;
  QSpinBox* count_;
  std::vector<QWidget*> ofSteps_;
  QToolButton *remove_, *unlock_;
  bool filling_ = false;
};

}  // namespace understudy::editor
