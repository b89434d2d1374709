// The window: puts the parts together and wires them; knows nothing else.
#pragma once

#include <QMainWindow>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/panels/step_strip.h"

class QLineEdit;
class QSplitter;
class QTabWidget;

namespace understudy::editor {

class Actions;
class FileKeeper;
class FindingsPanel;
class HandOverDialog;
class MapPanel;
class MessageBar;
class RepairsPanel;
class StageWidget;
class TimelinePanel;

class MainWindow : public QMainWindow {
  Q_OBJECT
 public:
  MainWindow();
  ~MainWindow() override;

  [[nodiscard]] Document& document() { return document_; }
  [[nodiscard]] Session& session() { return session_; }
  [[nodiscard]] StageWidget& stage() { return *stage_; }
  [[nodiscard]] TimelinePanel& timeline() { return *timeline_; }
  [[nodiscard]] MapPanel& map() { return *map_; }
  [[nodiscard]] RepairsPanel& repairs() { return *repairs_; }
  [[nodiscard]] FindingsPanel& findings() { return *found_; }
  [[nodiscard]] MessageBar& messages() { return *messages_; }
  [[nodiscard]] FileKeeper& files() { return *files_; }
  [[nodiscard]] HandOverDialog& handOverDialog() { return *handOver_; }
  [[nodiscard]] Actions& actions() { return *actions_; }
  void showStep(Step step);
  void showRepairs();

 protected:
  void closeEvent(QCloseEvent* event) override;
  void dragEnterEvent(QDragEnterEvent* event) override;
  void dropEvent(QDropEvent* event) override;

 private:
  void buildParts();
  void buildActions();
  void buildRepairActions();
  void wire();
  void setAppearance(bool light);
  void restoreLayout();
  void saveLayout();
  void refreshTitle();
  void find(const QString& text);
  void stepToKey(int direction);
  void trimToRange();

  Document document_;
  Session session_;
  Actions* actions_;
  StepStrip* strip_;
  QLineEdit* finder_;
  MessageBar* messages_;
  QTabWidget *left_, *right_;
  MapPanel* map_;
  StageWidget* stage_;
  RepairsPanel* repairs_;
  FindingsPanel* found_;
  TimelinePanel* timeline_;
  HandOverDialog* handOver_;
  FileKeeper* files_;
  QSplitter *across_, *down_;
  QAction *undo_, *redo_;
  bool closing_ = false;
};

}  // namespace understudy::editor
