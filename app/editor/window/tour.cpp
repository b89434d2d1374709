#include "app/editor/window/tour.h"

#include <QEvent>
#include <QHBoxLayout>
#include <QLabel>
#include <QListView>
#include <QPushButton>
#include <QSettings>
#include <QStackedWidget>
#include <QStyle>
#include <QTabWidget>
#include <QVBoxLayout>
#include <QTextDocumentFragment>
#include <algorithm>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/panels/findings_panel.h"
#include "app/editor/panels/map_panel.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/lanes_view.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "app/editor/window/samples.h"

namespace understudy::editor {

Tour::Tour(MainWindow& window) : QFrame(&window), window_(window) {
  setObjectName(QStringLiteral("tour"));
  setAttribute(Qt::WA_StyledBackground);
  setFixedWidth(330);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(16, 14, 16, 12);
  column->setSpacing(8);
  title_ = new QLabel(this);
  title_->setFont(Appearance::title());
  title_->setWordWrap(true);
  text_ = new QLabel(this);
  text_->setWordWrap(true);
  column->addWidget(title_);
  column->addWidget(text_);
  auto* row = new QHBoxLayout;
  count_ = new QLabel(this);
  count_->setProperty("quiet", true);
  end_ = new QPushButton(tr("End the tour"), this);
  end_->setToolTip(tr("The demo stays as it is; the tour can be taken again from the Help menu"));
  next_ = new QPushButton(tr("Next"), this);
  next_->setObjectName(QStringLiteral("tourNext"));
  next_->setToolTip(tr("Go on without doing it  (Shift+F1)"));
  row->addWidget(count_, 1);
  row->addWidget(end_);
  row->addWidget(next_);
  column->addLayout(row);
  frame_ = new QFrame(&window);
  frame_->setObjectName(QStringLiteral("tourFrame"));
  frame_->setAttribute(Qt::WA_TransparentForMouseEvents);
  frame_->hide();
  hide();
  connect(next_, &QPushButton::clicked, this, &Tour::next);
  connect(end_, &QPushButton::clicked, this, &Tour::end);
  makeSteps();
  Document& document = window.document();
  connect(&document, &Document::takeChanged, this, &Tour::watch);
  connect(&document, &Document::evaluatedChanged, this, &Tour::watch);
  connect(&document.findings(), &FindingsKeeper::changed, this, &Tour::watch);
  connect(&document.findings(), &FindingsKeeper::chosenChanged, this, &Tour::watch);
  for (auto signal : {&Session::playbackChanged, &Session::selectionChanged}) connect(&window.session(), signal, this, &Tour::watch);
  connect(&document, &Document::handedOver, this, [this] {
    handedOver_ = true;
    watch();
  });
  window.installEventFilter(this);
  window.stage().installEventFilter(this);
}

void Tour::makeSteps() {
  Document& document = window_.document();
  Session& session = window_.session();
  const auto stage = [this] { return static_cast<QWidget*>(&window_.stage()); };
  const auto lanes = [this] { return static_cast<QWidget*>(&window_.timeline()); };
  const auto findings = [this] { return static_cast<QWidget*>(&window_.findings()); };
  steps_ = {
      {tr("The keeper sweeps the gallery"),
       tr("The demo opens: a capture in thin lines on the left, and the keeper who is to play it. Short legs, a wide coat, big hands: "
          "nothing fits by itself.<br>Press <b>Space</b> to see it play."),
       stage, [&] { return session.playing(); }},
      {tr("Who is who"),
       tr("The bone map says which of the keeper's bones plays which part. Click a limb of the little figure, or a bone in the stage. "
          "What the program is not sure of has notches and a question mark."),
       [this] { return static_cast<QWidget*>(&window_.map()); }, [&] { return session.role().has_value(); }},
      {tr("What is wrong with it"),
       tr("Every flaw that was found is listed by time, with its size. Press <b>E</b> to go to the first one, and again until a foot slides: the frame, the bone and the place follow."),
       findings, [&] { return document.findings().chosen() && document.findings().chosen()->kind == FindingKind::slide; }},
      {tr("Take what is offered"),
       tr("Rest the mouse on the offer at a finding's right: it plays as it would be. Press <b>X</b> to accept it: the foot gets a plant."),
       findings, [&] {
         const Repairs& all = *document.take().repairs;
         return std::any_of(all.begin(), all.end(), [](const auto& repair) { return std::holds_alternative<PlantRepair>(repair->action); });
       }},
      {tr("Change a repair"),
       tr("The repair lies on its lane below. Drag one of its edges: it acts for longer or shorter, and the stage follows at once."),
       lanes, [this, &document] {
         // Places that are read off the motion change a repair too, but not its span.
         const Repairs &now = *document.take().repairs, &then = *before_.repairs;
         return now.size() == then.size() && !std::equal(now.begin(), now.end(), then.begin(), [](const auto& a, const auto& b) { return a->span == b->span; });
       }},
      {tr("Pose by hand"),
       tr("Click a bone and drag it, or take a hand and pull: the whole limb follows. What you do becomes a nudge, a pin on the lowest lane, with an ease on both sides."),
       stage, [&] { return !document.take().nudges->empty(); }},
      {tr("Nothing is lost"), tr("Press <b>Ctrl+Z</b> to take it back. Every change of the reel can be undone, back to the empty window."), nullptr, [&] { return document.canRedo(); }},
      {tr("The rest at once"),
       tr("Press <b>Ctrl+F</b> or the Finish button. Everything that can be mended is accepted, stage by stage, and looked at again; what stays says why."),
       findings, [&] { return !document.take().repairs->empty() && document.findings().current() && !document.findings().finishing() && document.findings().mendable() == 0; }},
      {tr("Hand it over"),
       tr("Press <b>Ctrl+E</b>, then Hand over. Your character's own file is written with the animation added, read back and measured."),
       nullptr, [this] { return handedOver_; }},
      {tr("That is all of it"),
       tr("Now drop your own files. <b>Ctrl+K</b> finds every command by its name, <b>F1</b> opens the help, and every key can be changed in the preferences."), nullptr, nullptr}};
}

void Tour::start() {
  window_.files().whenSafe([this] {
    const QString folder = sampleFolder();
    window_.document().clear();
    for (const char* file : {"/sweep.bvh", "/keeper.glb", "/broom.glb"})
      if (!folder.isEmpty()) window_.files().openPath(folder + QLatin1String(file));
    handedOver_ = false;
    show(0);
    window_.stage().setFocus();  // its keys are the window's
  });
}

void Tour::show(int step) {
  at_ = step;
  if (step < 0 || step >= steps()) {
    at_ = -1;
    hide();
    frame_->hide();
    window_.stage().keepClear({});
    QSettings().setValue(QStringLiteral("tourTaken"), true);
    Q_EMIT stepped(-1);
    return;
  }
  const TourStep& now = steps_[static_cast<std::size_t>(step)];
  before_ = window_.document().take();
  // What a step is about comes to the front of its tabs.
  if (now.where)
    for (QWidget* part = now.where(); part; part = part->parentWidget()) {
      auto* pages = qobject_cast<QStackedWidget*>(part->parentWidget());
      if (auto* tabs = pages ? qobject_cast<QTabWidget*>(pages->parentWidget()) : nullptr) tabs->setCurrentWidget(part);
    }
  title_->setText(now.title);
  const QString text = window_.actions().withKeys(now.text);
  text_->setText(text);
  count_->setText(tr("%1 of %2").arg(step + 1).arg(steps()));
  const bool last = step + 1 == steps();
  next_->setText(last ? tr("Close") : now.done ? tr("Skip") : tr("Next"));
  end_->setVisible(!last);
  setAccessibleName(tr("Tour: %1").arg(now.title));
  setAccessibleDescription(QTextDocumentFragment::fromHtml(text).toPlainText());
  place();
  QFrame::show();
  raise();
  Q_EMIT stepped(step);
}

void Tour::next() {
  if (running()) show(at_ + 1);
}

void Tour::end() { show(-1); }

void Tour::watch() {
  if (!running() || !steps_[static_cast<std::size_t>(at_)].done) return;
  // A step counts only once the demo is there to do it with.
  const auto evaluated = window_.document().evaluated();
  if (!evaluated || !evaluated->complete() || !steps_[static_cast<std::size_t>(at_)].done()) return;
  // After the signal's other receivers have seen what happened.
  QMetaObject::invokeMethod(this, [this, at = at_] {
    if (at == at_) next();
  }, Qt::QueuedConnection);
}

void Tour::place() {
  adjustSize();
  QWidget* target = at_ >= 0 && steps_[static_cast<std::size_t>(at_)].where ? steps_[static_cast<std::size_t>(at_)].where() : nullptr;
  frame_->setVisible(target && target->isVisible());
  if (target) {
    const QRect around(target->mapTo(&window_, QPoint(0, 0)), target->size());
    frame_->setGeometry(around.adjusted(-5, -4, 5, 4) & window_.rect());  // around its words, not through them
    frame_->raise();
  }
  // In a corner of the stage, which every step leaves room in.
  const QWidget& stage = window_.stage();
  const QPoint corner = stage.mapTo(&window_, QPoint(14, stage.height() - height() - 14));
  move(corner.x(), std::max(60, corner.y()));
  window_.stage().keepClear(QRectF(stage.mapFrom(&window_, pos()), QSizeF(size())));
  raise();
}

bool Tour::eventFilter(QObject* watched, QEvent* event) {
  const bool moved = (event->type() == QEvent::Resize && (watched == &window_ || watched == &window_.stage())) || (event->type() == QEvent::Move && watched == &window_.stage());
  if (running() && moved) QMetaObject::invokeMethod(this, &Tour::place, Qt::QueuedConnection);
  return QFrame::eventFilter(watched, event);
}

}  // namespace understudy::editor
