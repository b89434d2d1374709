// What the program found, what it offers, and the one button that does it all.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/session.h"

class QCheckBox;
class QLabel;
class QListView;
class QPushButton;
class QSlider;

namespace understudy::editor {

class FindingsModel;

class FindingsPanel : public QWidget {
  Q_OBJECT
 public:
  FindingsPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QListView& list() { return *list_; }
  [[nodiscard]] FindingsModel& model() { return *model_; }
  [[nodiscard]] QPushButton& finishButton() { return *finish_; }

 public Q_SLOTS:
  /// Chooses the next (1) or the one before (−1): frame, bone and list follow.
  void step(int direction);
  /// Goes to a finding: frame and bone follow.
  void choose(const std::string& key);
  void acceptChosen();
  void acceptKind();
  void waveOff();
  void finish();
  /// Shows what the chosen one's proposal would do, or the take as it is again.
  void togglePreview();

 protected:
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void refresh();
  /// Plays what is offered at a row; −1: as it was before.
  /// Row of the offer at a place of the list's view, −1 for none.
  [[nodiscard]] int offerAt(const QPoint& at) const;
  void hover(int row);
  void pictureOf(const Finding& finding);
  void showPair();

  Document& document_;
  Session& session_;
  FindingsModel* model_;
  QListView* list_;
  QLabel *state_, *sentence_, *beforePicture_, *afterPicture_, *afterWords_;
  QWidget* pair_;
  QPushButton *finish_, *accept_, *kind_, *wave_;
  QSlider* strength_;
  QLabel* strengthText_;
  QCheckBox* all_;
  int hovered_ = -1;
  struct Before {
    int frame, first, last;
    bool playing;
  };
  std::optional<Before> before_;
  bool filling_ = false;
};

}  // namespace understudy::editor
