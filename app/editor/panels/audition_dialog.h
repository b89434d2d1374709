// A folder of clips as a grid of looping pictures on the character, to pick from.
#pragma once

#include <QAbstractListModel>
#include <QDialog>
#include <QElapsedTimer>
#include <QStyledItemDelegate>
#include <QTimer>

#include "app/editor/document/audition.h"

class QLabel;
class QLineEdit;
class QListView;
class QPushButton;

namespace understudy::editor {

class AuditionModel : public QAbstractListModel {
  Q_OBJECT
 public:
  explicit AuditionModel(Audition& audition, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  /// Display: the clip's name. Tooltip and accessible text: all that is known of it.
  QVariant data(const QModelIndex& index, int role) const override;
  Qt::ItemFlags flags(const QModelIndex& index) const override;
  [[nodiscard]] const AuditionClip& clip(int row) const { return audition_.clips()[static_cast<std::size_t>(row)]; }
  /// "4.2 s · arms 97 %, legs 99 %" (of their length), "8 contacts · ≈ 3 findings".
  [[nodiscard]] static QStringList lines(const AuditionClip& clip);

 private:
  Audition& audition_;
};

class AuditionDelegate : public QStyledItemDelegate {
  Q_OBJECT
 public:
  explicit AuditionDelegate(const AuditionModel& model, QObject* parent) : QStyledItemDelegate(parent), model_(model) { clock_.start(); }
  QSize sizeHint(const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  void paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const override;
  /// Which picture of a loop is shown.
  [[nodiscard]] int pictureAt(const AuditionClip& clip) const;

 private:
  const AuditionModel& model_;
  QElapsedTimer clock_;
};

class AuditionDialog : public QDialog {
  Q_OBJECT
 public:
  explicit AuditionDialog(Document& document, QWidget* parent = nullptr);
  void open() override;
  [[nodiscard]] Audition& audition() { return audition_; }
  [[nodiscard]] QListView& grid() { return *grid_; }
  [[nodiscard]] QLineEdit& folder() { return *folder_; }
  [[nodiscard]] QPushButton& takeUpButton() { return *take_; }
  void look(const QString& folder);

 protected:
  void hideEvent(QHideEvent* event) override;

 private:
  void browse();
  void refresh();
  void takeUp();

  Audition audition_;
  AuditionModel* model_;
  QListView* grid_;
  QLineEdit* folder_;
  QLabel* state_;
  QPushButton* take_;
  QTimer loop_;
};

}  // namespace understudy::editor
