// Repairs in the order they apply, and the numbers of the selected one.
#pragma once

#include <QAbstractListModel>
#include <QStyledItemDelegate>
#include <QWidget>
#include <array>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QCheckBox;
class QDoubleSpinBox;
class QLabel;
class QListView;
class QPushButton;
class QSpinBox;

namespace understudy::editor {

class RepairsModel : public QAbstractListModel {
  Q_OBJECT
 public:
  enum DataRole { spanRole = Qt::UserRole + 1, mutedRole };
  explicit RepairsModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;

 private:
  void refresh();
  Document& document_;
  int rows_ = 0;
};

class RepairsPanel : public QWidget {
  Q_OBJECT
 public:
  RepairsPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QListView& list() { return *list_; }

 public Q_SLOTS:
  void removeSelected();
  void muteSelected();

 Q_SIGNALS:
  void nudgeAsked();

 private:
  void refresh();
  void write();
  Document& document_;
  Session& session_;
  RepairsModel* model_;
  QListView* list_;
  QLabel *empty_, *title_;
  QWidget* form_;
  QPushButton* add_;
  QSpinBox *frame_, *before_, *after_;
  QDoubleSpinBox* weight_;
  std::array<QDoubleSpinBox*, 3> turn_{};
  QCheckBox* muted_;
  bool filling_ = false;
};

}  // namespace understudy::editor
