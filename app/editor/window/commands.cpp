// The window's commands: names, keys, and what they do.
#include <QMenu>
#include <algorithm>
#include <cmath>

#include "app/editor/look/appearance.h"
#include "app/editor/panels/audition_dialog.h"
#include "app/editor/panels/bars.h"
#include "app/editor/panels/hand_over_dialog.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/curves_page.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/command_finder.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "core/take/edits.h"

namespace understudy::editor {

void MainWindow::buildActions() {
  Actions& a = *actions_;
  const QString file = tr("&File"), edit = tr("&Edit"), pose = tr("&Pose"), play = tr("P&lay"), view = tr("&View");
  a.add(file, tr("New reel"), QKeySequence::New, [this] { files_->newReel(); });
  a.add(file, tr("Open…"), QKeySequence::Open, [this] { files_->askOpen(); }, "open");
  QMenu* recent = a.menu(file)->addMenu(tr("Recent files"));
  connect(recent, &QMenu::aboutToShow, this, [this, recent] { files_->fillRecent(*recent); });
  a.separator(file);
  a.add(file, tr("Choose performer…"), QKeySequence(tr("Ctrl+Shift+P")), [this] { files_->askOpen(Cast::performer); }, "performer");
  a.add(file, tr("Choose character…"), QKeySequence(tr("Ctrl+Shift+C")), [this] { files_->askOpen(Cast::character); }, "character");
  a.add(file, tr("Audition clips…"), QKeySequence(tr("Ctrl+Shift+A")), [this] { audition_->open(); });
  a.separator(file);
  a.add(file, tr("Save"), QKeySequence::Save, [this] { files_->save(); }, "save");
  a.add(file, tr("Save as…"), QKeySequence::SaveAs, [this] { files_->saveAs(); });
  a.add(file, tr("Hand over…"), QKeySequence(tr("Ctrl+E")), [this] { handOver_->open(); }, "hand-over");
  a.add(file, tr("Save the character's profile"), QKeySequence(tr("Ctrl+Alt+S")), [this] { document_.saveProfile(); });
  a.separator(file);
  a.add(file, tr("Quit"), QKeySequence::Quit, [this] { close(); });
  undo_ = a.add(edit, tr("Undo"), QKeySequence::Undo, [this] { document_.undo(); }, "undo");
  redo_ = a.add(edit, tr("Redo"), QKeySequence::Redo, [this] { document_.redo(); }, "redo");
  a.separator(edit);
  a.add(edit, tr("Find a command or a frame"), QKeySequence(tr("Ctrl+K")), [this] { finder_->ask(); }, "find");
  const QString steps[] = {tr("Step 1: load"), tr("Step 2: map"), tr("Step 3: match"), tr("Step 4: repair"), tr("Step 5: hand over")};
  for (int i = 0; i < stepCount; ++i)
    a.add(edit, steps[i], QKeySequence(QStringLiteral("Ctrl+%1").arg(i + 1)), [this, i] { showStep(static_cast<Step>(i)); });
  a.add(pose, tr("Pick bones for the map's row"), QKeySequence(tr("P")), [this] { session_.setPicking(!session_.picking()); }, "pick");
  a.add(pose, tr("Select nothing"), QKeySequence(Qt::Key_Escape), [this] {
    if (session_.picking()) session_.setPicking(false);
    else if (!messages_->text().isEmpty()) messages_->dismiss();
    else session_.select({});
  });
  a.add(pose, tr("Key the bone's curve here"), QKeySequence(tr("K")), [this] {
    timeline_->showCurves(true);
    timeline_->curves().view().keyHere();
  });
  buildRepairActions();
  a.add(play, tr("Play or pause"), QKeySequence(Qt::Key_Space), [this] { session_.setPlaying(!session_.playing()); }, "play");
  a.add(play, tr("One frame back"), QKeySequence(Qt::Key_Left), [this] { session_.step(-1); });
  a.add(play, tr("One frame on"), QKeySequence(Qt::Key_Right), [this] { session_.step(1); });
  a.add(play, tr("Ten frames back"), QKeySequence(tr("Shift+Left")), [this] { session_.step(-10); });
  a.add(play, tr("Ten frames on"), QKeySequence(tr("Shift+Right")), [this] { session_.step(10); });
  a.add(play, tr("First frame of the range"), QKeySequence(Qt::Key_Home), [this] { session_.setFrame(session_.rangeFirst()); });
  a.add(play, tr("Last frame of the range"), QKeySequence(Qt::Key_End), [this] { session_.setFrame(session_.rangeLast()); });
  a.add(play, tr("Key before"), QKeySequence(tr("Ctrl+PgUp")), [this] { stepToKey(-1); });
  a.add(play, tr("Key after"), QKeySequence(tr("Ctrl+PgDown")), [this] { stepToKey(1); });
  a.separator(play);
  a.add(play, tr("Loop"), QKeySequence(tr("L")), [this] { session_.setLooping(!session_.looping()); }, "loop");
  a.add(play, tr("Range starts here"), QKeySequence(tr("[")), [this] { session_.setRange(session_.frame(), std::max(session_.frame(), session_.rangeLast())); }, "range");
  a.add(play, tr("Range ends here"), QKeySequence(tr("]")), [this] { session_.setRange(std::min(session_.frame(), session_.rangeFirst()), session_.frame()); });
  a.add(play, tr("Whole range"), QKeySequence(tr("Backspace")), [this] { session_.setRange(0, session_.frames() - 1); });
  a.separator(play);
  a.add(play, tr("Trim the clip to the range"), QKeySequence(tr("Ctrl+T")), [this] { trimToRange(); });
  a.add(play, tr("Take the whole clip"), QKeySequence(tr("Ctrl+Shift+T")), [this] { document_.edit(tr("Take the whole clip"), setTrimSeconds(document_.take(), {})); });
  buildPlayActions(play);
  buildStageActions(view);
  a.add(view, tr("Lanes or curves"), QKeySequence(tr("C")), [this] { timeline_->toggleCurves(); });
  a.separator(view);
  a.add(view, tr("Light or dark"), QKeySequence(tr("Ctrl+L")), [this] { setAppearance(Appearance::instance().kind() == Appearance::Kind::dark); }, "theme");
  buildHelp();
  a.refreshIcons();
}

void MainWindow::stepToKey(int direction) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  int best = -1;
  for (const auto& nudge : *document_.take().nudges) {
    const int frame = frameOf(*evaluated, *nudge);
    if ((frame - session_.frame()) * direction <= 0) continue;
    if (best < 0 || std::abs(frame - session_.frame()) < std::abs(best - session_.frame())) best = frame;
  }
  if (best >= 0) session_.setFrame(best);
}

void MainWindow::trimToRange() {
  const auto evaluated = document_.evaluated();
  if (!evaluated || session_.frames() == 0) return;
  // The range counts in what is shown; a trim in the whole clip.
  const FrameRange range{evaluated->trimFirst + session_.rangeFirst() + 1, evaluated->trimFirst + session_.rangeLast() + 1};
  document_.edit(tr("Trim the clip"), setTrim(document_.take(), range, evaluated->rate));
}

}  // namespace understudy::editor
