// Findings as a list in order of time.
#pragma once

#include <QAbstractListModel>
#include <QStyledItemDelegate>

#include "app/editor/document/document.h"
#include "app/editor/document/finding_pictures.h"
#include "app/editor/document/findings_keeper.h"

namespace understudy::editor {

class FindingsModel : public QAbstractListModel {
  Q_OBJECT
 public:
  enum DataRole { iconRole = Qt::UserRole + 1, noteRole, graveRole, hintRole, wavedRole, proposalRole, causeRole, previewedRole, pictureRole };
  FindingsModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;
  [[nodiscard]] std::string keyAt(int row) const;
  [[nodiscard]] int rowOf(const std::string& key) const;
  /// Shows those waved off as well.
  void setAll(bool all);
  [[nodiscard]] FindingPictures& pictures() { return *pictures_; }

 private:
  void refresh();
  Document& document_;
  FindingPictures* pictures_;
  std::vector<std::string> keys_;
  bool all_ = false;
};

/// A finding as a card: how bad it is by shape and colour, what, how much, when; at its right the repair that is offered.
class FindingDelegate : public QStyledItemDelegate {
  Q_OBJECT
 public:
  using QStyledItemDelegate::QStyledItemDelegate;
  QSize sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const override;
  void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  bool editorEvent(QEvent* event, QAbstractItemModel* model, const QStyleOptionViewItem& option, const QModelIndex& index) override;
  /// Where the offer is, in the list's coordinates.
  [[nodiscard]] static QRectF offerRect(const QRect& row, const QString& text);

 Q_SIGNALS:
  void acceptAsked(int row);
};

}  // namespace understudy::editor
