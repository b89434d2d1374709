// What the program says of itself: the empty window, the tour, help, preferences.
#include <QMenu>

#include "app/editor/panels/bars.h"
#include "app/editor/panels/audition_dialog.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/help_dialog.h"
#include "app/editor/window/main_window.h"
#include "app/editor/window/preferences.h"
#include "app/editor/window/samples.h"
#include "app/editor/window/tour.h"
#include "app/editor/window/welcome.h"

namespace understudy::editor {

void MainWindow::buildHelp() {
  tour_ = new Tour(*this);
  const auto openDemo = [this] {
    files_->whenSafe([this] {
      document_.clear();
      for (const char* file : {"/sweep.bvh", "/keeper.glb", "/broom.glb"}) files_->openPath(sampleFolder() + QLatin1String(file));
    });
  };
  Actions& a = *actions_;
  const QString menu = tr("&Help");
  a.add(menu, tr("Help"), QKeySequence(tr("F1")), [this] { help_->show(), help_->raise(); });
  a.add(menu, tr("Take the tour"), QKeySequence(), [this] { tour_->start(); });
  a.add(menu, tr("Next step of the tour"), QKeySequence(tr("Shift+F1")), [this] { tour_->next(); });
  a.add(menu, tr("Open the demo"), QKeySequence(), openDemo);
  a.separator(menu);
  a.add(menu, tr("Preferences…"), QKeySequence(tr("Ctrl+,")), [this] { preferences_->show(), preferences_->raise(); });
  preferences_ = new PreferencesDialog(a, this);
  help_ = new HelpDialog(a, this);
  welcome_ = new Welcome(document_, stage_);
  connect(messages_, &MessageBar::covers, welcome_, &Welcome::setCovered);
  connect(preferences_, &PreferencesDialog::lightAsked, this, &MainWindow::setAppearance);
  connect(welcome_, &Welcome::openAsked, this, [this] { files_->askOpen(); });
  connect(welcome_, &Welcome::auditionAsked, this, [this] { audition_->open(); });
  connect(welcome_, &Welcome::demoAsked, this, openDemo);
  connect(welcome_, &Welcome::tourAsked, tour_, &Tour::start);
  connect(welcome_, &Welcome::fileAsked, this, [this](const QString& file) { files_->openPath(file); });
  // Reels that are saved get their picture in the list of recent ones.
  connect(files_, &FileKeeper::saved, this, [this](const QString& path) { keepThumbnail(path, stage_->grab().toImage()); });
  a.refreshTips();
}

}  // namespace understudy::editor
