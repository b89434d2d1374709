// Commands of the stage: what it shows and what its camera follows.
#include <QMenu>

#include "app/editor/panels/bars.h"
#include "app/editor/panels/stage_bar.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/main_window.h"

namespace understudy::editor {

void MainWindow::buildStageActions(const QString& menu) {
  Actions& a = *actions_;
  StageBar::Commands commands;
  const std::pair<QString, View> views[] = {{tr("Free view"), View::free}, {tr("Front view"), View::front}, {tr("Side view"), View::side}, {tr("Top view"), View::top}};
  int number = 1;
  for (const auto& [text, v] : views) commands.views.push_back(a.add(menu, text, QKeySequence(QString::number(number++)), [this, v = v] { stage_->setView(v); }));
  const QString figures = menu + Actions::within() + tr("Figures"), meshes = menu + Actions::within() + tr("Meshes"), camera = menu + Actions::within() + tr("Camera"),
                handles = menu + Actions::within() + tr("Axes of the handles");
  const std::pair<QString, StageLayout> layouts[] = {{tr("Side by side"), StageLayout::sideBySide}, {tr("Overlaid"), StageLayout::overlaid},
                                                     {tr("Performer alone"), StageLayout::performerAlone}, {tr("Character alone"), StageLayout::characterAlone},
                                                     {tr("Before and after"), StageLayout::beforeAfter}, {tr("Two takes side by side"), StageLayout::twoTakes}};
  for (const auto& [text, l] : layouts) commands.layouts.push_back(a.add(figures, text, QKeySequence(QString::number(number++ % 10)), [this, l = l] { session_.setLayout(l); }));
  commands.layouts.push_back(a.add(figures, tr("Reference poses, to align by eye"), QKeySequence(tr("Shift+R")), [this] { session_.setLayout(StageLayout::references); }));
  a.separator(menu);
  a.add(menu, tr("Fit all"), QKeySequence(tr("V")), [this] { stage_->frameAll(); }, "frame");
  a.add(menu, tr("Fit the selection"), QKeySequence(tr("Shift+V")), [this] { stage_->frameSelection(); });
  const auto toggle = [&](const QString& text, const char* key, bool StageOptions::*what) {
    commands.shown.emplace_back(a.add(menu, text, QKeySequence(QString::fromLatin1(key)), [this, what] { stage_->change([what](StageOptions& o) { o.*what = !(o.*what); }); }), what);
  };
  commands.bare = a.add(menu, tr("Bare stage"), QKeySequence(tr("H")), [this] { session_.setBare(!session_.bare()); }, "bare");
  toggle(tr("Bones"), "B", &StageOptions::bones);
  toggle(tr("Echoes"), "U", &StageOptions::echoes);
  toggle(tr("Path of the selection"), "T", &StageOptions::path);
  toggle(tr("Without repairs, as a ghost"), "Shift+U", &StageOptions::before);
  toggle(tr("How near soles and arms are"), "I", &StageOptions::gaps);
  const auto tell = [this] {
    messages_->show(makeNote(tr("No mesh lies under the mouse").toStdString(), {}, tr("Move the mouse onto the character in the stage first; Show lists all meshes").toStdString()));
  };
  a.add(meshes, tr("Mesh under the mouse: see through, hide, show"), QKeySequence(tr("Q")), [this, tell] {
    if (!stage_->cycleHoveredMesh()) tell();
  });
  a.add(meshes, tr("Nothing but the mesh under the mouse"), QKeySequence(tr("Ctrl+Shift+Q")), [this, tell] {
    if (!stage_->isolateHoveredMesh()) tell();
  });
  commands.allMeshes = a.add(meshes, tr("All meshes"), QKeySequence(tr("Shift+Q")), [this] { stage_->showAllMeshes(); });
  a.add(camera, tr("Camera follows the figures or nothing"), QKeySequence(tr("F")), [this] {
    stage_->change([](StageOptions& o) { o.follow = o.follow == Follow::nothing ? Follow::figures : Follow::nothing; });
  });
  const QStringList follow = followNames();
  for (int i = 2; i < follow.size(); ++i)
    a.add(camera, tr("Camera follows %1").arg(follow[i]), QKeySequence(), [this, i] { stage_->change([i](StageOptions& o) { o.follow = static_cast<Follow>(i); }); });
  a.add(handles, tr("Next axes of the handles"), QKeySequence(tr("R")), [this] {
    stage_->change([](StageOptions& o) { o.axes = static_cast<NudgeSpace>((static_cast<int>(o.axes) + 1) % 6); });
  });
  const QStringList axes = axesNames();
  for (int i = 0; i < axes.size(); ++i)
    a.add(handles, tr("Handles along the axes: %1").arg(axes[i]), QKeySequence(), [this, i] { stage_->change([i](StageOptions& o) { o.axes = static_cast<NudgeSpace>(i); }); });
  a.separator(menu);
  stageBar_->setCommands(std::move(commands));
}

}  // namespace understudy::editor
