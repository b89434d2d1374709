// The match: how each role is carried over, reference poses, travel and ground.
#pragma once

#include <QAbstractTableModel>
#include <QWidget>
#include <array>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QCheckBox;
class QComboBox;
class QDoubleSpinBox;
class QLabel;
class QSpinBox;
class QTableView;

namespace understudy::editor {

/// Roles filled on both sides, with the way they are matched and their extra turn.
class MatchModel : public QAbstractTableModel {
  Q_OBJECT
 public:
  explicit MatchModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  int columnCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;
  QVariant headerData(int section, Qt::Orientation orientation, int role) const override;
  [[nodiscard]] Role roleOfRow(int row) const { return rows_[static_cast<std::size_t>(row)]; }
  [[nodiscard]] int rowOf(Role role) const;

 private:
  void refresh();
  Document& document_;
  std::vector<Role> rows_;
};

class MatchPanel : public QWidget {
  Q_OBJECT
 public:
  MatchPanel(Document& document, Session& session, QWidget* parent = nullptr);

 private:
  void refresh();
  void writeTurn();
  void writeReference(Cast cast);

  Document& document_;
  Session& session_;
  MatchModel* model_;
  QTableView* table_;
  QLabel* heading_;
  QComboBox* choice_;
  std::array<QDoubleSpinBox*, 3> turn_{};
  struct ReferenceRow {
    QLabel* text;
    QSpinBox* frame;
    QDoubleSpinBox* facing;
  };
  std::array<ReferenceRow, 2> references_{};
  QDoubleSpinBox* stride_;
  QCheckBox* ground_;
  bool filling_ = false;
};

}  // namespace understudy::editor
