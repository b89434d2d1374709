// The window's commands for repairs: names, keys, and what they do.
#include <QPlainTextEdit>

#include "app/editor/document/props_keeper.h"
#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"
#include "app/editor/panels/findings_panel.h"
#include "app/editor/panels/notes_panel.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/panels/repairs_model.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

void setEdge(Document& document, const Session& session, SpanPart edge) {
  const auto evaluated = document.evaluated();
  const Repair* repair = findRepair(document.take(), session.repair());
  if (!evaluated || !repair) return;
  changeItem(document, withEdge(*repair, edge, session.frame() + evaluated->trimFirst, evaluated->rate, evaluated->clipFrames),
             Document::tr("Change %1").arg(kindText(*repair)));
}

/// The next repair of the list, or the one before.
void stepRepair(Session& session, const RepairsModel& model, int by) {
  const int row = model.rowOf(session.repair());
  const int next = row < 0 ? (by > 0 ? 0 : model.rowCount() - 1) : row + by;
  if (const auto id = model.idAt(next)) session.setRepair(id);
}

}  // namespace

void MainWindow::buildRepairActions() {
  Actions& a = *actions_;
  const QString menu = tr("&Repair");
  a.add(menu, tr("Finish"), QKeySequence(tr("Ctrl+F")), [this] { found_->finish(); }, "accept");
  a.add(menu, tr("Next finding"), QKeySequence(tr("E")), [this] { found_->step(1); }, "finding");
  a.add(menu, tr("Finding before"), QKeySequence(tr("Shift+E")), [this] { found_->step(-1); });
  a.add(menu, tr("Accept what is offered"), QKeySequence(tr("X")), [this] { found_->acceptChosen(); });
  a.add(menu, tr("Accept all of its kind"), QKeySequence(tr("Shift+X")), [this] { found_->acceptKind(); });
  a.add(menu, tr("Preview what is offered"), QKeySequence(tr("Y")), [this] { found_->togglePreview(); });
  a.add(menu, tr("Wave the finding off"), QKeySequence(tr("W")), [this] { found_->waveOff(); }, "wave-off");
  a.separator(menu);
  a.add(menu, tr("Nudge the selected bone here"), QKeySequence(tr("N")), [this] { stage_->nudgeSelected(); }, "pin");
  a.add(menu, tr("Add a repair…"), QKeySequence(tr("A")), [this] {
    showRepairs();
    repairs_->openAddMenu();
  }, "add");
  a.separator(menu);
  a.add(menu, tr("Mute"), QKeySequence(tr("M")), [this] { repairs_->muteSelected(); }, "muted");
  a.add(menu, tr("Play alone"), QKeySequence(tr("O")), [this] { repairs_->soloSelected(); }, "solo");
  a.add(menu, tr("Duplicate"), QKeySequence(tr("D")), [this] { repairs_->duplicateSelected(); }, "duplicate");
  a.add(menu, tr("Mirror to the other side"), QKeySequence(tr("Shift+D")), [this] { repairs_->mirrorSelected(); }, "mirror");
  a.add(menu, tr("Split at this frame"), QKeySequence(tr("S")), [this] { repairs_->splitSelected(); }, "split");
  a.add(menu, tr("Remove"), QKeySequence(Qt::Key_Delete), [this] { repairs_->removeSelected(); }, "remove");
  a.add(menu, tr("Merge with the next of its kind"), QKeySequence(tr("Shift+S")), [this] { mergeItem(document_, session_.repair()); });
  a.separator(menu);
  a.add(menu, tr("Repair before"), QKeySequence(tr("Ctrl+Up")), [this] { stepRepair(session_, repairs_->model(), -1); });
  a.add(menu, tr("Repair after"), QKeySequence(tr("Ctrl+Down")), [this] { stepRepair(session_, repairs_->model(), 1); });
  const QString span = menu + Actions::within() + tr("Span and eases"), kinds = menu + Actions::within() + tr("Add one of a kind"), props = menu + Actions::within() + tr("Props");
  a.add(span, tr("Move one frame earlier"), QKeySequence(tr("Ctrl+Left")), [this] { moveItem(document_, session_.repair(), -1, QStringLiteral("move-by-key")); });
  a.add(span, tr("Move one frame later"), QKeySequence(tr("Ctrl+Right")), [this] { moveItem(document_, session_.repair(), 1, QStringLiteral("move-by-key")); });
  a.add(span, tr("Starts at this frame"), QKeySequence(tr("Ctrl+[")), [this] { setEdge(document_, session_, SpanPart::first); });
  a.add(span, tr("Ends at this frame"), QKeySequence(tr("Ctrl+]")), [this] { setEdge(document_, session_, SpanPart::last); });
  a.separator(span);
  buildTimelineActions(menu, span);
  for (std::size_t kind = 0; kind < repairKinds().size(); ++kind)
    a.add(kinds, tr("Add %1").arg(kindText(kind)), QKeySequence(), [this, kind] { repairs_->add(kind); });
  a.add(props, tr("Add a prop…"), QKeySequence(), [this] { files_->askProp(); });
  a.add(props, tr("Add a plain shaft as prop"), QKeySequence(), [this] { document_.props().add({}); });
  const QString reelMenu = tr("&File") + Actions::within() + tr("Takes");
  a.add(reelMenu, tr("New take like this one"), QKeySequence(), [this] { addTakeLike(document_, false); });
  a.add(reelMenu, tr("Next take"), QKeySequence(tr("Ctrl+Tab")), [this] {
    const Reel& reel = document_.reel();
    document_.editReel(tr("Next take"), selectTake(reel, (reel.current + 1) % std::max(1, static_cast<int>(reel.takes.size()))));
  });
  const QString review = tr("Re&view");
  a.add(review, tr("Write a note here"), QKeySequence(tr("Ctrl+M")), [this] {
    right_->setCurrentWidget(notes_);
    notes_->text().setFocus();
  }, "note");
  a.add(review, tr("Beside the next other take"), QKeySequence(tr("Ctrl+Shift+Tab")), [this] {
    OtherTake& other = stage_->otherTake();
    const int takes = static_cast<int>(document_.reel().takes.size());
    if (session_.layout() == StageLayout::twoTakes && takes > 2) {
      int next = (other.index() + 1) % takes;
      if (next == document_.reel().current) next = (next + 1) % takes;
      other.choose(next);
    }
    session_.setLayout(StageLayout::twoTakes);
  });
  a.add(review, tr("Write a preview…"), QKeySequence(tr("Ctrl+Shift+E")), [this] { files_->askPreview(); });
  a.add(review, tr("Next note"), QKeySequence(tr("J")), [this] { notes_->step(1); });
  a.add(review, tr("Note before"), QKeySequence(tr("Shift+J")), [this] { notes_->step(-1); });
}

}  // namespace understudy::editor
