// Commands of the timeline that have no button: spans, eases and phases by keys, locks and the set.
#include <QFileDialog>
#include <QMenu>

#include "app/editor/document/repairing.h"
#include "app/editor/document/set_and_locks.h"
#include "app/editor/document/spans.h"
#include "app/editor/panels/bars.h"
#include "app/editor/timeline/markers_row.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/main_window.h"
#include "core/take/edits.h"

namespace understudy::editor {

void MainWindow::buildPlayActions(const QString& play) {
  Actions& a = *actions_;
  a.separator(play);
  a.add(play, tr("Type the frame"), QKeySequence(tr("G")), [this] { timeline_->editFrame(); });
  a.add(play, tr("Timecode or frame numbers"), QKeySequence(tr("Shift+G")), [this] { timeline_->setTimecode(!timeline_->scale().timecode()); }, "timecode");
  a.add(play, tr("Timeline: closer"), QKeySequence(tr("Ctrl+=")), [this] { timeline_->scale().zoom(0.7, timeline_->scale().x(session_.frame())); });
  a.add(play, tr("Timeline: further"), QKeySequence(tr("Ctrl+-")), [this] { timeline_->scale().zoom(1 / 0.7, timeline_->scale().x(session_.frame())); });
  a.add(play, tr("Timeline: all frames"), QKeySequence(tr("Ctrl+0")), [this] { timeline_->scale().showAll(); });

  a.separator(play);
  a.add(play, tr("Marker here"), QKeySequence(tr("Z")), [this] { timeline_->markers().markHere(); }, "marker");
  a.add(play, tr("Marker before"), QKeySequence(tr("Ctrl+Shift+Left")), [this] { timeline_->markers().step(-1); });
  a.add(play, tr("Marker after"), QKeySequence(tr("Ctrl+Shift+Right")), [this] { timeline_->markers().step(1); });
  a.add(play, tr("Marker here: one frame earlier"), QKeySequence(), [this] { timeline_->markers().moveHere(-1); });
  a.add(play, tr("Marker here: one frame later"), QKeySequence(), [this] { timeline_->markers().moveHere(1); });
  a.add(play, tr("Remove the marker here"), QKeySequence(tr("Shift+Z")), [this] { timeline_->markers().removeHere(); });

}

void MainWindow::buildTimelineActions(const QString& repairs, const QString& span) {
  Actions& a = *actions_;
  const QString phase = repairs + Actions::within() + tr("Phases of a plant"), locks = repairs + Actions::within() + tr("Set and locks");
  const auto ease = [&](const QString& text, const QString& key, bool before, int by) {
    a.add(span, text, QKeySequence(key), [this, before, by] { easeItem(document_, session_.repair(), before, by); });
  };
  ease(tr("Longer ease before"), tr("Alt+["), true, 1);
  ease(tr("Shorter ease before"), tr("Alt+Shift+["), true, -1);
  ease(tr("Longer ease after"), tr("Alt+]"), false, 1);
  ease(tr("Shorter ease after"), tr("Alt+Shift+]"), false, -1);
  const auto onPlant = [this](const QString& label, const std::function<Repair(const Repair&, int, const Evaluated&)>& by) {
    const auto evaluated = document_.evaluated();
    const Repair* repair = findRepair(document_.take(), session_.repair());
    if (evaluated && repair && std::holds_alternative<PlantRepair>(repair->action)) changeItem(document_, by(*repair, session_.frame() + evaluated->trimFirst, *evaluated), label);
    else document_.tell(makeNote(tr("No plant is selected").toStdString(), {}, tr("Select one on its lane or in the list of repairs").toStdString()));
  };
  const std::pair<QString, PlantPhase> phases[] = {{tr("Phase from here: heel"), PlantPhase::heel}, {tr("Phase from here: flat"), PlantPhase::flat}, {tr("Phase from here: ball"), PlantPhase::ball},
                                                   {tr("Phase from here: toe"), PlantPhase::toe}, {tr("Phase from here: spin"), PlantPhase::spin}};
  for (const auto& [text, kind] : phases)
    a.add(phase, text, QKeySequence(), [onPlant, phase = kind, text = text] { onPlant(text, [phase](const Repair& r, int frame, const Evaluated& e) { return withPhase(r, phase, frame, e.rate); }); });
  a.add(phase, tr("Released from here"), QKeySequence(),
        [onPlant] { onPlant(tr("Release a plant"), [](const Repair& r, int frame, const Evaluated& e) { return withRelease(r, frame, e.rate, e.clipFrames); }); });
  a.add(locks, tr("Lock the selected bones over the range"), QKeySequence(tr("Ctrl+J")), [this] { lockSelection(document_, session_); });
  a.add(locks, tr("Unlock here"), QKeySequence(tr("Ctrl+Shift+J")), [this] {
    if (!unlockHere(document_, session_))
      document_.tell(makeNote(tr("Nothing is locked here").toStdString(), {}, tr("Go to a frame inside a lock; with bones selected only theirs are taken away").toStdString()));
  });
  a.separator(locks);
  for (const SetKind kind : {SetKind::plane, SetKind::box, SetKind::ball, SetKind::steps})
    a.add(locks, tr("Set: add %1").arg(setKindText(kind)), QKeySequence(), [this, kind] {
      addToSet(document_, session_, kind);
      showSet();
    });
  a.add(locks, tr("Set: add a mesh…"), QKeySequence(), [this] {
    const QString path = QFileDialog::getOpenFileName(this, tr("A mesh for the set"), QString(), tr("Meshes (*.glb *.gltf *.fbx *.dae *.obj)"));
    if (path.isEmpty()) return;
    addToSet(document_, session_, SetKind::mesh, path);
    showSet();
  });
  a.add(locks, tr("Show set and locks"), QKeySequence(tr("Ctrl+6")), [this] { showSet(); });
}

}  // namespace understudy::editor
