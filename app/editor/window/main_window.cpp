#include "app/editor/window/main_window.h"

#include <QCloseEvent>
#include <QCompleter>
#include <QDragEnterEvent>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QMenu>
#include <QMimeData>
#include <QScrollArea>
#include <QSettings>
#include <QSplitter>
#include <QTabBar>
#include <QTabWidget>
#include <QUrl>
#include <QVBoxLayout>
#include <algorithm>

#include "app/editor/look/appearance.h"
#include "app/editor/panels/bars.h"
#include "app/editor/panels/cast_panel.h"
#include "app/editor/panels/hand_over_dialog.h"
#include "app/editor/panels/map_panel.h"
#include "app/editor/panels/match_panel.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/panels/stage_bar.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/file_keeper.h"

namespace understudy::editor {

MainWindow::MainWindow() {
  setAcceptDrops(true);
  setMinimumSize(960, 600);
  actions_ = new Actions(this);
  buildParts();
  files_ = new FileKeeper(document_, *messages_, this);
  handOver_ = new HandOverDialog(document_, this);
  buildActions();
  wire();
  restoreLayout();
  refreshTitle();
}

MainWindow::~MainWindow() { saveLayout(); }

void MainWindow::buildParts() {
  auto* centre = new QWidget(this);
  auto* rows = new QVBoxLayout(centre);
  rows->setContentsMargins(0, 0, 0, 0);
  rows->setSpacing(0);
  strip_ = new StepStrip(document_, centre);
  finder_ = new QLineEdit(strip_);
  finder_->setObjectName(QStringLiteral("finder"));
  finder_->setPlaceholderText(tr("Find command or frame"));
  finder_->setAccessibleName(tr("Find a command or a frame"));
  finder_->setToolTip(tr("Type a command's name or a frame number  (Ctrl+K)"));
  finder_->setFixedWidth(212);
  strip_->layout()->addWidget(finder_);
  rows->addWidget(strip_);
  messages_ = new MessageBar(centre);
  rows->addWidget(messages_);
  rows->addWidget(new BusyBar(document_.files(), centre));

  across_ = new QSplitter(Qt::Horizontal, centre);
  auto* leftSide = new QWidget(across_);
  leftSide->setObjectName(QStringLiteral("panel"));
  leftSide->setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(leftSide);
  column->setContentsMargins(12, 10, 8, 6);
  column->setSpacing(8);
  auto* cast = new CastPanel(document_, leftSide);
  connect(cast, &CastPanel::fileAsked, this, [this](Cast who) { files_->askOpen(who); });
  column->addWidget(cast);
  left_ = new QTabWidget(leftSide);
  left_->setDocumentMode(true);
  left_->tabBar()->setExpanding(false);
  left_->tabBar()->setDrawBase(false);
  map_ = new MapPanel(document_, session_, left_);
  left_->addTab(map_, tr("Bone map"));
  auto* match = new QScrollArea(left_);
  match->setWidgetResizable(true);
  match->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  match->setWidget(new MatchPanel(document_, session_, match));
  left_->addTab(match, tr("Match"));
  column->addWidget(left_, 1);
  auto* middle = new QWidget(across_);
  auto* stack = new QVBoxLayout(middle);
  stack->setContentsMargins(0, 0, 0, 0);
  stack->setSpacing(0);
  stage_ = new StageWidget(document_, session_, middle);
  stack->addWidget(new StageBar(session_, *stage_, middle));
  stack->addWidget(stage_, 1);
  repairs_ = new RepairsPanel(document_, session_, across_);
  across_->addWidget(leftSide);
  across_->addWidget(middle);
  across_->addWidget(repairs_);
  across_->setStretchFactor(1, 1);
  across_->setSizes({330, 812, 282});
  across_->setChildrenCollapsible(false);
  across_->setHandleWidth(4);
  leftSide->setMinimumWidth(250);
  middle->setMinimumWidth(380);
  repairs_->setMinimumWidth(240);
  down_ = new QSplitter(Qt::Vertical, centre);
  down_->setHandleWidth(4);
  down_->setChildrenCollapsible(false);
  timeline_ = new TimelinePanel(document_, session_, down_);
  down_->addWidget(across_);
  down_->addWidget(timeline_);
  down_->setStretchFactor(0, 1);
  down_->setSizes({640, 190});
  rows->addWidget(down_, 1);
  setCentralWidget(centre);
}

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
  a.separator(file);
  a.add(file, tr("Save"), QKeySequence::Save, [this] { files_->save(); }, "save");
  a.add(file, tr("Save as…"), QKeySequence::SaveAs, [this] { files_->saveAs(); });
  a.add(file, tr("Hand over…"), QKeySequence(tr("Ctrl+E")), [this] { handOver_->open(); }, "hand-over");
  a.separator(file);
  a.add(file, tr("Quit"), QKeySequence::Quit, [this] { close(); });
  undo_ = a.add(edit, tr("Undo"), QKeySequence::Undo, [this] { document_.undo(); }, "undo");
  redo_ = a.add(edit, tr("Redo"), QKeySequence::Redo, [this] { document_.redo(); }, "redo");
  a.separator(edit);
  a.add(edit, tr("Find a command or a frame"), QKeySequence(tr("Ctrl+K")), [this] { finder_->setFocus(), finder_->selectAll(); }, "find");
  const QString steps[] = {tr("Step 1: load"), tr("Step 2: map"), tr("Step 3: match"), tr("Step 4: repair"), tr("Step 5: hand over")};
  for (int i = 0; i < stepCount; ++i)
    a.add(edit, steps[i], QKeySequence(QStringLiteral("Ctrl+%1").arg(i + 1)), [this, i] { showStep(static_cast<Step>(i)); });
  a.add(pose, tr("Nudge the selected bone here"), QKeySequence(tr("N")), [this] { stage_->nudgeSelected(); }, "pin");
  a.add(pose, tr("Mute the selected nudge"), QKeySequence(tr("M")), [this] { repairs_->muteSelected(); }, "muted");
  a.add(pose, tr("Remove the selected nudge"), QKeySequence(Qt::Key_Delete), [this] { repairs_->removeSelected(); }, "remove");
  a.separator(pose);
  a.add(pose, tr("Pick bones for the map's row"), QKeySequence(tr("P")), [this] { session_.setPicking(!session_.picking()); }, "pick");
  a.add(pose, tr("Select nothing"), QKeySequence(Qt::Key_Escape), [this] { session_.picking() ? session_.setPicking(false) : session_.select({}); });
  a.add(play, tr("Play or pause"), QKeySequence(Qt::Key_Space), [this] { session_.setPlaying(!session_.playing()); }, "play");
  a.add(play, tr("One frame back"), QKeySequence(Qt::Key_Left), [this] { session_.step(-1); });
  a.add(play, tr("One frame on"), QKeySequence(Qt::Key_Right), [this] { session_.step(1); });
  a.add(play, tr("Ten frames back"), QKeySequence(tr("Shift+Left")), [this] { session_.step(-10); });
  a.add(play, tr("Ten frames on"), QKeySequence(tr("Shift+Right")), [this] { session_.step(10); });
  a.add(play, tr("First frame of the range"), QKeySequence(Qt::Key_Home), [this] { session_.setFrame(session_.rangeFirst()); });
  a.add(play, tr("Last frame of the range"), QKeySequence(Qt::Key_End), [this] { session_.setFrame(session_.rangeLast()); });
  a.add(play, tr("Key before"), QKeySequence(tr(",")), [this] { stepToKey(-1); });
  a.add(play, tr("Key after"), QKeySequence(tr(".")), [this] { stepToKey(1); });
  a.separator(play);
  a.add(play, tr("Loop"), QKeySequence(tr("L")), [this] { session_.setLooping(!session_.looping()); }, "loop");
  a.add(play, tr("Range starts here"), QKeySequence(tr("[")), [this] { session_.setRange(session_.frame(), std::max(session_.frame(), session_.rangeLast())); }, "range");
  a.add(play, tr("Range ends here"), QKeySequence(tr("]")), [this] { session_.setRange(std::min(session_.frame(), session_.rangeFirst()), session_.frame()); });
  a.add(play, tr("Whole range"), QKeySequence(tr("Shift+[")), [this] { session_.setRange(0, session_.frames() - 1); });
  const std::pair<QString, View> views[] = {{tr("Free view"), View::free}, {tr("Front view"), View::front}, {tr("Side view"), View::side}, {tr("Top view"), View::top}};
  int key = 1;
  for (const auto& [text, v] : views) a.add(view, text, QKeySequence(QString::number(key++)), [this, v = v] { stage_->setView(v); });
  a.separator(view);
  const std::pair<QString, StageLayout> layouts[] = {{tr("Side by side"), StageLayout::sideBySide}, {tr("Overlaid"), StageLayout::overlaid},
                                                     {tr("Performer alone"), StageLayout::performerAlone}, {tr("Character alone"), StageLayout::characterAlone}};
  for (const auto& [text, l] : layouts) a.add(view, text, QKeySequence(QString::number(key++)), [this, l = l] { session_.setLayout(l); });
  a.separator(view);
  a.add(view, tr("Fit all"), QKeySequence(tr("V")), [this] { stage_->frameAll(); }, "frame");
  a.add(view, tr("Fit the selection"), QKeySequence(tr("Shift+V")), [this] { stage_->frameSelection(); });
  a.add(view, tr("Bare stage"), QKeySequence(tr("H")), [this] { session_.setBare(!session_.bare()); }, "bare");
  a.add(view, tr("Bones"), QKeySequence(tr("B")), [this] { stage_->setBones(!stage_->showsBones()); });
  a.add(view, tr("Lanes or curves"), QKeySequence(tr("C")), [this] { timeline_->toggleCurves(); });
  a.separator(view);
  a.add(view, tr("Light or dark"), QKeySequence(tr("Ctrl+L")), [this] { setAppearance(Appearance::instance().kind() == Appearance::Kind::dark); }, "theme");
  a.refreshIcons();
  auto* completer = new QCompleter([&] {
    QStringList names;
    for (QAction* action : a.all()) names << action->text();
    return names;
  }(), finder_);
  completer->setFilterMode(Qt::MatchContains);
  completer->setCaseSensitivity(Qt::CaseInsensitive);
  finder_->setCompleter(completer);
  // After the completer has put the name into the field, which would else stay there.
  connect(completer, qOverload<const QString&>(&QCompleter::activated), this, &MainWindow::find, Qt::QueuedConnection);
  connect(finder_, &QLineEdit::returnPressed, this, [this] { find(finder_->text()); });
}

void MainWindow::find(const QString& text) {
  if (text.isEmpty()) return;
  bool number = false;
  const int frame = text.trimmed().toInt(&number);
  if (QAction* action = actions_->find(text)) action->trigger();
  else if (number) session_.setFrame(frame - document_.take().firstFrame);
  else return;
  finder_->clear();
  stage_->setFocus();
}

void MainWindow::wire() {
  connect(strip_, &StepStrip::opened, this, &MainWindow::showStep);
  connect(&document_, &Document::message, messages_, &MessageBar::show);
  connect(stage_, &StageWidget::failed, messages_, &MessageBar::show, Qt::QueuedConnection);
  connect(repairs_, &RepairsPanel::nudgeAsked, stage_, &StageWidget::nudgeSelected);
  connect(&document_, &Document::stateChanged, this, &MainWindow::refreshTitle);
  connect(&document_, &Document::evaluatedChanged, this, [this] {
    const auto evaluated = document_.evaluated();
    session_.setTime(evaluated ? evaluated->frames : 0, evaluated ? evaluated->rate.hertz() : 30);
  });
  connect(&document_, &Document::filesChanged, this, [this] {
    session_.select({});
    session_.setRole({});
    session_.setHovered({});
  });
}

void MainWindow::showStep(Step step) {
  switch (step) {
    case Step::load:
      if (document_.figure(Cast::performer) && document_.figure(Cast::character)) files_->askOpen();
      else files_->askOpen(document_.figure(Cast::performer) ? std::optional(Cast::character) : std::nullopt);
      break;
    case Step::map: left_->setCurrentIndex(0), map_->setFocus(); break;
    case Step::match: left_->setCurrentIndex(1), left_->currentWidget()->setFocus(); break;
    case Step::repair: repairs_->setFocus(), timeline_->showCurves(false); break;
    case Step::handOver: handOver_->open(); break;
  }
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

void MainWindow::setAppearance(bool light) {
  Appearance::instance().apply(light ? Appearance::Kind::light : Appearance::Kind::dark);
  actions_->refreshIcons();
  QSettings().setValue(QStringLiteral("light"), light);
}

void MainWindow::refreshTitle() {
  const QString name = document_.path().isEmpty() ? tr("untitled reel") : QFileInfo(document_.path()).fileName();
  setWindowTitle(tr("%1[*] – Understudy").arg(name));
  setWindowModified(document_.modified());
  undo_->setEnabled(document_.canUndo());
  redo_->setEnabled(document_.canRedo());
  undo_->setToolTip(tr("Undo: %1").arg(document_.undoLabel()));
  redo_->setToolTip(tr("Redo: %1").arg(document_.redoLabel()));
  undo_->setStatusTip(undo_->toolTip());
}

void MainWindow::restoreLayout() {
  QSettings settings;
  resize(1440, 900);
  restoreGeometry(settings.value(QStringLiteral("window")).toByteArray());
  across_->restoreState(settings.value(QStringLiteral("across")).toByteArray());
  down_->restoreState(settings.value(QStringLiteral("down")).toByteArray());
}

void MainWindow::saveLayout() {
  QSettings settings;
  settings.setValue(QStringLiteral("window"), saveGeometry());
  settings.setValue(QStringLiteral("across"), across_->saveState());
  settings.setValue(QStringLiteral("down"), down_->saveState());
}

void MainWindow::closeEvent(QCloseEvent* event) {
  if (closing_) return event->accept();
  event->ignore();
  files_->whenSafe([this] {
    closing_ = true;
    close();
  });
}

void MainWindow::dragEnterEvent(QDragEnterEvent* event) {
  if (event->mimeData()->hasUrls()) event->acceptProposedAction();
}

void MainWindow::dropEvent(QDropEvent* event) {
  for (const QUrl& url : event->mimeData()->urls())
    if (url.isLocalFile()) files_->openPath(url.toLocalFile());
  event->acceptProposedAction();
}

}  // namespace understudy::editor
