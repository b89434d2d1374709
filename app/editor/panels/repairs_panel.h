// Repairs in the order they apply, what can be done with the selected one, and its numbers.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QLabel;
class QListView;
class QMenu;
class QScrollArea;
class QSplitter;
class QToolButton;

namespace understudy::editor {

class NudgeForm;
class RepairForm;
class RepairsModel;

class RepairsPanel : public QWidget {
  Q_OBJECT
 public:
  RepairsPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QListView& list() { return *list_; }
  [[nodiscard]] RepairsModel& model() { return *model_; }
  [[nodiscard]] RepairForm& form() { return *form_; }
  /// The menu of kinds that can be added.
  [[nodiscard]] QMenu& addMenu() { return *menu_; }

 public Q_SLOTS:
  void add(std::size_t kind);
  void removeSelected();
  void muteSelected();
  void soloSelected();
  void duplicateSelected();
  void mirrorSelected();
  void splitSelected();
  void openAddMenu();

 Q_SIGNALS:
  void nudgeAsked();

 protected:
  void resizeEvent(QResizeEvent* event) override;

 private:
  QToolButton* button(const char* iconName, const QString& tip, void (RepairsPanel::*run)());
  void fillCopyMenu();
  void refresh();
  void choose(int row);
  void share();
  Document& document_;
  Session& session_;
  RepairsModel* model_;
  QListView* list_;
  QLabel* empty_;
  QMenu *menu_, *copyMenu_;
  QToolButton *add_, *copy_;
  std::vector<QToolButton*> tools_;
  QScrollArea* scroll_;
  NudgeForm* nudgeForm_;
  RepairForm* form_;
  QSplitter* halves_;
  bool filling_ = false, shared_ = true;  ///< until the artist moves what lies between list and form
};

}  // namespace understudy::editor
