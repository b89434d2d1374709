// Notes of a review: pinned to a frame and a bone, with author and state.
#pragma once

#include <QAbstractListModel>
#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QCheckBox;
class QLabel;
class QListView;
class QPlainTextEdit;
class QPushButton;

namespace understudy::editor {

class NotesModel : public QAbstractListModel {
  Q_OBJECT
 public:
  explicit NotesModel(Document& document, QObject* parent = nullptr);
  int rowCount(const QModelIndex& parent = {}) const override;
  QVariant data(const QModelIndex& index, int role) const override;
  [[nodiscard]] const Note* at(int row) const;
  /// Shows notes that are done as well.
  void setAll(bool all);
  [[nodiscard]] int open() const;

 private:
  void refresh();
  Document& document_;
  std::vector<std::uint64_t> ids_;
  bool all_ = true;
};

/// The note's frame counted from 0 in the evaluated take.
[[nodiscard]] int frameOf(const Evaluated& evaluated, const Note& note);
/// Who writes notes here: the preference, else the system's user.
[[nodiscard]] QString noteAuthor();

class NotesPanel : public QWidget {
  Q_OBJECT
 public:
  NotesPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QListView& list() { return *list_; }
  [[nodiscard]] NotesModel& model() { return *model_; }
  [[nodiscard]] QPlainTextEdit& text() { return *text_; }
  [[nodiscard]] QPushButton& addButton() { return *add_; }

 public Q_SLOTS:
  /// A note of the text that is written, at the current frame and selected bone.
  void add();
  void toggleDone();
  void remove();
  /// Goes to the next note (1) or the one before (−1) in time.
  void step(int direction);

 protected:
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void refresh();
  void show(int row);
  Document& document_;
  Session& session_;
  NotesModel* model_;
  QListView* list_;
  QPlainTextEdit* text_;
  QLabel* where_;
  QPushButton *add_, *done_, *remove_;
};

}  // namespace understudy::editor
