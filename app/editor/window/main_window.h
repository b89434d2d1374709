// The window: puts the parts together and wires them; knows nothing else.
#pragma once

#include <QMainWindow>
#include <array>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/panels/step_strip.h"

class QSplitter;
class QTabWidget;

namespace understudy::editor {

class Actions;
class AuditionDialog;
class CommandFinder;
class FileKeeper;
class FindingsPanel;
class HelpDialog;
class HandOverDialog;
class MapPanel;
class MessageBar;
class NotesPanel;
class PreferencesDialog;
class RepairsPanel;
class SetPanel;
class StageBar;
class StageWidget;
class TimelinePanel;
class Tour;
class Welcome;

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
  [[nodiscard]] NotesPanel& notes() { return *notes_; }
  [[nodiscard]] MessageBar& messages() { return *messages_; }
  [[nodiscard]] FileKeeper& files() { return *files_; }
  [[nodiscard]] HandOverDialog& handOverDialog() { return *handOver_; }
  [[nodiscard]] AuditionDialog& audition() { return *audition_; }
  [[nodiscard]] PreferencesDialog& preferences() { return *preferences_; }
  [[nodiscard]] HelpDialog& help() { return *help_; }
  [[nodiscard]] Tour& tour() { return *tour_; }
  [[nodiscard]] Welcome& welcome() { return *welcome_; }
  [[nodiscard]] CommandFinder& finder() { return *finder_; }
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
  void buildHelp();
  void buildStageActions(const QString& menu);
  void buildPlayActions(const QString& play);
  void buildTimelineActions(const QString& repairs, const QString& span);
  void showSet();
  void wire();
  void setAppearance(bool light);
  [[nodiscard]] std::array<std::pair<QString, QSplitter*>, 3> splitters() const;
  void restoreLayout();
  void saveLayout();
  void refreshTitle();
  void stepToKey(int direction);
  void trimToRange();

  Document document_;
  Session session_;
  Actions* actions_;
  StepStrip* strip_;
  CommandFinder* finder_;
  MessageBar* messages_;
  QTabWidget *left_, *right_;
  MapPanel* map_;
  SetPanel* set_;
  StageWidget* stage_;
  StageBar* stageBar_;
  RepairsPanel* repairs_;
  FindingsPanel* found_;
  NotesPanel* notes_;
  TimelinePanel* timeline_;
  HandOverDialog* handOver_;
  AuditionDialog* audition_;
  PreferencesDialog* preferences_;
  HelpDialog* help_;
  Tour* tour_;
  Welcome* welcome_;
  FileKeeper* files_;
  QSplitter *across_, *upper_, *down_;
  QAction *undo_, *redo_;
  bool closing_ = false;
};

}  // namespace understudy::editor
