// The bone map as a table: roles down, performer and character across.
#pragma once

#include <QAbstractTableModel>
#include <QStyledItemDelegate>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/mapping.h"

namespace understudy::editor {

class MapModel : public QAbstractTableModel {
  Q_OBJECT
 public:
  enum Column { roleColumn, performerColumn, characterColumn };
  enum DataRole { stateRole = Qt::UserRole + 1 };

  explicit MapModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  int columnCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;
  QVariant headerData(int section, Qt::Orientation orientation, int role) const override;
  Qt::ItemFlags flags(const QModelIndex& index) const override;
  /// A joint index (−1 empties the cell).
  bool setData(const QModelIndex& index, const QVariant& value, int role) override;

  [[nodiscard]] Role roleOfRow(int row) const { return rows_[static_cast<std::size_t>(row)]; }
  [[nodiscard]] int rowOf(Role role) const;
  /// Fingers, eyes and jaw are shown only where asked for or filled on both sides.
  void setAll(bool all);
  [[nodiscard]] static Cast castOf(int column) { return column == performerColumn ? Cast::performer : Cast::character; }
  [[nodiscard]] Document& document() const { return document_; }

 private:
  void refresh();
  Document& document_;
  std::vector<Role> rows_;
  bool all_ = false;
};

/// Paints the marks (sure: dot, doubtful: notched with a question mark, missing: a gap) and edits by a list of joints
/// that narrows as one types.
class MapDelegate : public QStyledItemDelegate {
  Q_OBJECT
 public:
  using QStyledItemDelegate::QStyledItemDelegate;
  void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  QWidget* createEditor(QWidget* parent, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  void setEditorData(QWidget* editor, const QModelIndex& index) const override;
  void setModelData(QWidget* editor, QAbstractItemModel* model, const QModelIndex& index) const override;
};

}  // namespace understudy::editor
