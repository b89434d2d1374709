#include "app/editor/window/main_window.h"

#include <QCloseEvent>
#include <QDragEnterEvent>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QLabel>
#include <QListView>
#include <QMimeData>
#include <QScreen>
#include <QScrollArea>
#include <QSettings>
#include <QSplitter>
#include <QTabBar>
#include <QTabWidget>
#include <QUrl>
#include <QVBoxLayout>
#include <algorithm>
#include <utility>

#include "app/editor/look/appearance.h"
#include "app/editor/panels/audition_dialog.h"
#include "app/editor/panels/bars.h"
#include "app/editor/panels/cast_panel.h"
#include "app/editor/panels/findings_panel.h"
#include "app/editor/panels/hand_over_dialog.h"
#include "app/editor/panels/map_panel.h"
#include "app/editor/panels/match_panel.h"
#include "app/editor/panels/notes_panel.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/panels/set_panel.h"
#include "app/editor/panels/stage_bar.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/lanes_view.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/command_finder.h"
#include "app/editor/window/file_keeper.h"

namespace understudy::editor {

MainWindow::MainWindow() {
  setAcceptDrops(true);
  setMinimumSize(960, 600);
  actions_ = new Actions(this);
  buildParts();
  files_ = new FileKeeper(document_, *messages_, this);
  handOver_ = new HandOverDialog(document_, this);
  audition_ = new AuditionDialog(document_, this);
  buildActions();
  wire();
  restoreLayout();
  refreshTitle();
  stage_->setFocus();
}

MainWindow::~MainWindow() { saveLayout(); }

void MainWindow::buildParts() {
  auto* centre = new QWidget(this);
  auto* rows = new QVBoxLayout(centre);
  rows->setContentsMargins(0, 0, 0, 0);
  rows->setSpacing(0);
  strip_ = new StepStrip(document_, centre);
  finder_ = new CommandFinder(*actions_, strip_);
  connect(finder_, &CommandFinder::frameAsked, this, [this](int number) { session_.setFrame(number - document_.take().firstFrame); });
  connect(finder_, &CommandFinder::done, this, [this] { stage_->setFocus(); });
  strip_->layout()->addWidget(finder_);
  rows->addWidget(strip_);

  // The left side has the window's whole height: bone map and forms need it more than the timeline needs the width.
  across_ = new QSplitter(Qt::Horizontal, centre);
  down_ = new QSplitter(Qt::Vertical, across_);
  upper_ = new QSplitter(Qt::Horizontal, down_);
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
  auto* set = new QScrollArea(left_);
  set->setWidgetResizable(true);
  set->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  set_ = new SetPanel(document_, session_, set);
  set->setWidget(set_);
  left_->addTab(set, tr("Set"));
  column->addWidget(left_, 1);
  auto* middle = new QWidget(upper_);
  auto* stack = new QVBoxLayout(middle);
  stack->setContentsMargins(0, 0, 0, 0);
  stack->setSpacing(0);
  stage_ = new StageWidget(document_, session_, middle);
  stageBar_ = new StageBar(document_, session_, *stage_, middle);
  stack->addWidget(stageBar_);
  stack->addWidget(stage_, 1);
  messages_ = new MessageBar(*stage_);
  new BusyBar(document_.evaluations(), *stage_, 0);
  new BusyBar(document_.files(), *stage_, 1);
  auto* rightSide = new QWidget(upper_);
  rightSide->setObjectName(QStringLiteral("panel"));
  rightSide->setAttribute(Qt::WA_StyledBackground);
  auto* rightColumn = new QVBoxLayout(rightSide);
  rightColumn->setContentsMargins(10, 6, 10, 6);
  right_ = new QTabWidget(rightSide);
  right_->setDocumentMode(true);
  right_->tabBar()->setExpanding(false);
  right_->tabBar()->setDrawBase(false);
  found_ = new FindingsPanel(document_, session_, right_);
  right_->addTab(found_, tr("Findings"));
  repairs_ = new RepairsPanel(document_, session_, right_);
  right_->addTab(repairs_, tr("Repairs"));
  notes_ = new NotesPanel(document_, session_, right_);
  right_->addTab(notes_, tr("Notes"));
  rightColumn->addWidget(right_);
  leftSide->setMinimumWidth(std::max(250, leftSide->minimumSizeHint().width()));
  middle->setMinimumWidth(380);
  rightSide->setMinimumWidth(std::max(270, rightSide->minimumSizeHint().width()));
  timeline_ = new TimelinePanel(document_, session_, down_);
  for (QWidget* part : {middle, rightSide}) upper_->addWidget(part);
  for (QWidget* part : {static_cast<QWidget*>(upper_), static_cast<QWidget*>(timeline_)}) down_->addWidget(part);
  for (QWidget* part : {leftSide, static_cast<QWidget*>(down_)}) across_->addWidget(part);
  for (QSplitter* splitter : {across_, down_, upper_}) {
    splitter->setHandleWidth(4);
    splitter->setChildrenCollapsible(false);
    splitter->setStretchFactor(splitter == across_ ? 1 : 0, 1);
  }
  across_->setSizes({320, 1104});
  upper_->setSizes({800, 304});
  down_->setSizes({700, 170});  // lanes that come up take more
  rows->addWidget(across_, 1);
  setCentralWidget(centre);
}

void MainWindow::wire() {
  connect(strip_, &StepStrip::opened, this, &MainWindow::showStep);
  connect(&document_, &Document::message, messages_, &MessageBar::show);
  connect(stage_, &StageWidget::failed, messages_, &MessageBar::show, Qt::QueuedConnection);
  connect(repairs_, &RepairsPanel::nudgeAsked, stage_, &StageWidget::nudgeSelected);
  connect(&document_.findings(), &FindingsKeeper::changed, this, [this] {
    const int open = document_.findings().open();
    right_->setTabText(right_->indexOf(found_), open > 0 ? tr("Findings  %1").arg(open) : tr("Findings"));
  });
  connect(&timeline_->lanes(), &LanesView::findingAsked, this, [this](const QString& key) {
    right_->setCurrentWidget(found_);
    found_->choose(key.toStdString());
  });
  connect(&timeline_->lanes(), &LanesView::lanesChanged, this, [this, known = std::size_t{0}, lent = 0]() mutable {
    // Lanes that come up get their room from the stage, as far as it can spare some, and give it back when they go.
    const std::size_t count = timeline_->lanes().laneCount();
    if (count == std::exchange(known, count)) return;
    const QList<int> sizes = down_->sizes();
    const int missing = timeline_->lanes().wantedHeight() - timeline_->lanes().height();
    const int give = missing > 0 ? std::clamp(sizes[0] - 340, 0, missing) : -std::min(lent, -missing);
    lent += give;
    if (give != 0) down_->setSizes({sizes[0] - give, sizes[1] + give});
  });
  connect(&session_, &Session::repairChanged, this, [this] {
    if (session_.repair() != 0) right_->setCurrentWidget(repairs_);
  });
  connect(&session_, &Session::frameChanged, this, [this] { document_.setShownFrame(session_.frame()); });
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
    case Step::repair: right_->setCurrentWidget(found_), found_->list().setFocus(), timeline_->showCurves(false); break;
    case Step::handOver: handOver_->open(); break;
  }
}

void MainWindow::showSet() { left_->setCurrentIndex(2), set_->setFocus(); }

void MainWindow::showRepairs() { right_->setCurrentWidget(repairs_), repairs_->list().setFocus(); }

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
  undo_->setText(document_.canUndo() ? tr("Undo “%1”").arg(document_.undoLabel()) : tr("Undo"));
  redo_->setText(document_.canRedo() ? tr("Redo “%1”").arg(document_.redoLabel()) : tr("Redo"));
}

std::array<std::pair<QString, QSplitter*>, 3> MainWindow::splitters() const {
  return {{{QStringLiteral("layout/across"), across_}, {QStringLiteral("layout/upper"), upper_}, {QStringLiteral("layout/down"), down_}}};
}

void MainWindow::restoreLayout() {
  QSettings settings;
  // The first time: most of the screen, which the stage can use.
  const QSize room = screen()->availableSize();
  resize(QSize(1440, 900).expandedTo(room * 0.92).boundedTo(room));
  restoreGeometry(settings.value(QStringLiteral("window")).toByteArray());
  for (const auto& [name, splitter] : splitters()) splitter->restoreState(settings.value(name).toByteArray());
}

void MainWindow::saveLayout() {
  QSettings settings;
  settings.setValue(QStringLiteral("window"), saveGeometry());
  for (const auto& [name, splitter] : splitters()) settings.setValue(name, splitter->saveState());
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
