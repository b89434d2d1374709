// Repairs and nudges as a list, in the order they apply.
#pragma once

#include <QAbstractListModel>
#include <QStyledItemDelegate>

#include "app/editor/document/repairing.h"

namespace understudy::editor {

class RepairsModel : public QAbstractListModel {
  Q_OBJECT
 public:
  enum DataRole { kindRole = Qt::UserRole + 1, iconRole, spanRole, missRole, offRole, mutedRole, soloRole, headRole, complaintRole, weightRole };
  explicit RepairsModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;

  [[nodiscard]] std::uint64_t idAt(int row) const;
  /// −1 where it is not in the list.
  [[nodiscard]] int rowOf(std::uint64_t id) const;

 private:
  void refresh();
  Document& document_;
  std::vector<RepairItem> items_;
  bool anySolo_ = false;
};

/// A repair as a card: icon, what it is, when, how far it misses; two small buttons mute it and play it alone.
class RepairDelegate : public QStyledItemDelegate {
  Q_OBJECT
 public:
  using QStyledItemDelegate::QStyledItemDelegate;
  QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  bool editorEvent(QEvent* event, QAbstractItemModel* model, const QStyleOptionViewItem& option, const QModelIndex& index) override;

  /// Where the buttons of a card are.
  [[nodiscard]] static QRectF muteRect(const QRect& row);
  [[nodiscard]] static QRectF soloRect(const QRect& row);

 Q_SIGNALS:
  void muteAsked(int row);
  void soloAsked(int row);
};

}  // namespace understudy::editor
