// Above the stage: from where, who, and what is drawn. Where it gets narrow, rows of buttons become menus.
#pragma once

#include <QWidget>
#include <functional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/stage/stage_options.h"

class QAction;
class QMenu;
class QToolButton;

namespace understudy::editor {

class StageWidget;

class StageBar : public QWidget {
  Q_OBJECT
 public:
  StageBar(Document& document, Session& session, StageWidget& stage, QWidget* parent = nullptr);
  /// The window's commands behind the bar: its menus show them with their keys, and their marks follow the stage.
  struct Commands {
    std::vector<QAction*> views, layouts;     ///< in the order of View and StageLayout
    std::vector<std::pair<QAction*, bool StageOptions::*>> shown;
    QAction *bare = nullptr, *allMeshes = nullptr;
  };
  void setCommands(Commands commands);
  [[nodiscard]] QMenu& showMenu() { return *show_; }
  QSize minimumSizeHint() const override;

 protected:
  void resizeEvent(QResizeEvent* event) override;

 private:
  /// Choices of which one holds: as buttons in a row, or as a menu of one button.
  struct Group {
    QString name;
    std::vector<QToolButton*> buttons;
    QToolButton* folded = nullptr;
  };
  QToolButton* pill(const QString& text, const QString& tip);
  QToolButton* menuPill(const QString& tip, QMenu* menu);
  Group group(const QString& name, const std::vector<std::pair<QString, QString>>& choices, std::function<void(int)> choose);
  void fillBeside();
  void fillMeshes();
  void fillShow();
  void fillAxes();
  void fillFollow();
  void refresh();
  void fold();

  Document& document_;
  Session& session_;
  StageWidget& stage_;
  Group views_, layouts_;
  Commands commands_;
  QMenu *show_, *axes_, *follow_;
  QToolButton *showButton_, *axesButton_, *followButton_;
};

/// Names of what the camera can follow and of the axes handles can have, as menus and the finder list them.
[[nodiscard]] QStringList followNames();
[[nodiscard]] QStringList axesNames();

}  // namespace understudy::editor
