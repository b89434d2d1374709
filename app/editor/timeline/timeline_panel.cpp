#include "app/editor/timeline/timeline_panel.h"

#include <QComboBox>
#include <QHBoxLayout>
#include <QLabel>
#include <QPainter>
#include <QSignalBlocker>
#include <QStackedWidget>
#include <QTabBar>
#include <QToolButton>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>

#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/timeline/curves_page.h"
#include "app/editor/timeline/frame_field.h"
#include "app/editor/timeline/lanes_view.h"
#include "app/editor/timeline/markers_row.h"

namespace understudy::editor {
namespace {

/// Names of the lanes, level with them.
class LaneNames : public QWidget {
 public:
  LaneNames(const LanesView& lanes, QWidget* parent) : QWidget(parent), lanes_(lanes) { fit(); }
  /// As wide as the longest name.
  void fit() {
    double w = 56;
    const QFontMetricsF metrics(Appearance::small());
    for (const LanesView::NamedLane& lane : lanes_.names()) w = std::max(w, metrics.horizontalAdvance(lane.name));
    setFixedWidth(static_cast<int>(std::ceil(w)) + 10);
    update();
  }
  void paintEvent(QPaintEvent*) override {
    QPainter painter(this);
    painter.setFont(Appearance::small());
    painter.setPen(colours().dimText);
    for (const LanesView::NamedLane& lane : lanes_.names())
      painter.drawText(QRectF(0, lane.rect.top(), width() - 8, lane.rect.height()), Qt::AlignVCenter | Qt::AlignRight, lane.name);
  }

 private:
  const LanesView& lanes_;
};

}  // namespace

TimelinePanel::TimelinePanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("timeline"));
  setAttribute(Qt::WA_StyledBackground);
  auto* rows = new QVBoxLayout(this);
  rows->setContentsMargins(14, 8, 8, 8);
  rows->setSpacing(4);
  auto* bar = new QHBoxLayout;
  bar->setSpacing(4);
  auto* first = button(QStringLiteral("to-start"), tr("First frame  (Home)"));
  auto* back = button(QStringLiteral("step-back"), tr("One frame back  (Left)"));
  play_ = button(QStringLiteral("play"), tr("Play or pause  (Space)"));
  play_->setObjectName(QStringLiteral("play"));
  auto* forward = button(QStringLiteral("step-forward"), tr("One frame on  (Right)"));
  auto* last = button(QStringLiteral("to-end"), tr("Last frame  (End)"));
  loop_ = button(QStringLiteral("loop"), tr("Play in a loop  (L)"));
  loop_->setCheckable(true);
  loop_->setObjectName(QStringLiteral("loop"));
  for (QToolButton* b : {first, back, play_, forward, last}) bar->addWidget(b);
  bar->addSpacing(10);
  auto* frameLabel = new QLabel(tr("frame"), this);
  frameLabel->setProperty("quiet", true);
  frame_ = new FrameField(this);
  frame_->setToolTip(tr("The frame shown; type a number, or timecode as 1:23:07  (G)"));
  frameLabel->setBuddy(frame_);
  total_ = new QLabel(this);
  total_->setProperty("quiet", true);
  bar->addWidget(frameLabel);
  bar->addWidget(frame_);
  bar->addWidget(total_);
  bar->addSpacing(10);
  bar->addWidget(loop_);
  timecode_ = button(QStringLiteral("timecode"), tr("Timecode instead of frame numbers  (Shift+G)"));
  timecode_->setObjectName(QStringLiteral("timecode"));
  timecode_->setCheckable(true);
  connect(timecode_, &QToolButton::toggled, this, &TimelinePanel::setTimecode);
  bar->addWidget(timecode_);
  speed_ = new QComboBox(this);
  speed_->setAccessibleName(tr("Speed"));
  speed_->setToolTip(tr("Playing speed"));
  for (double s : {0.1, 0.25, 0.5, 1.0, 2.0}) speed_->addItem(tr("%1 ×").arg(s), s);
  speed_->setCurrentIndex(3);
  speed_->setFixedWidth(78);
  bar->addWidget(speed_);
  bar->addStretch(1);
  tabs_ = new QTabBar(this);
  tabs_->setAccessibleName(tr("Pages of the timeline"));
  tabs_->addTab(tr("Lanes"));
  tabs_->addTab(tr("Curves"));
  tabs_->setToolTip(tr("Lanes or curves  (C)"));
  tabs_->setExpanding(false);
  tabs_->setDrawBase(false);
  bar->addWidget(tabs_);
  rows->addLayout(bar);

  auto* body = new QHBoxLayout;
  body->setSpacing(0);
  pages_ = new QStackedWidget(this);
  lanes_ = new LanesView(document, session, scale_, pages_);
  auto* names = new LaneNames(*lanes_, this);
  connect(lanes_, &LanesView::lanesChanged, names, [names] { names->fit(); });
  pages_->addWidget(lanes_);
  curves_ = new CurvesPage(document, session, scale_, pages_);
  pages_->addWidget(curves_);
  markers_ = new MarkersRow(document, session, scale_, this);
  auto* markersName = new QLabel(tr("Markers"), this);
  markersName->setFont(Appearance::small());
  markersName->setProperty("quiet", true);
  markersName->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
  markersName->setContentsMargins(0, 0, 8, 0);
  auto* left = new QVBoxLayout;
  auto* right = new QVBoxLayout;
  for (auto* column : {left, right}) column->setSpacing(0);
  left->addWidget(markersName);
  left->addWidget(names, 1);
  right->addWidget(markers_);
  right->addWidget(pages_, 1);
  body->addLayout(left);
  body->addLayout(right, 1);
  rows->addLayout(body, 1);
  const auto level = [this, markersName] {
    markersName->setFixedHeight(markers_->height());
    markersName->setVisible(!markers_->isHidden() && tabs_->currentIndex() == 0);
  };
  connect(markers_, &MarkersRow::shownChanged, this, level);
  connect(tabs_, &QTabBar::currentChanged, this, level);
  level();
  // The pages say how much they need; curves more than lanes, which scroll.
  lanes_->setMinimumHeight(TrackView::rulerHeight + 100);

  connect(first, &QToolButton::clicked, this, [this] { session_.setFrame(session_.rangeFirst()); });
  connect(last, &QToolButton::clicked, this, [this] { session_.setFrame(session_.rangeLast()); });
  connect(back, &QToolButton::clicked, this, [this] { session_.step(-1); });
  connect(forward, &QToolButton::clicked, this, [this] { session_.step(1); });
  connect(play_, &QToolButton::clicked, this, [this] { session_.setPlaying(!session_.playing()); });
  connect(loop_, &QToolButton::toggled, &session, &Session::setLooping);
  connect(speed_, &QComboBox::currentIndexChanged, this, [this] { session_.setSpeed(speed_->currentData().toDouble()); });
  connect(frame_, &QSpinBox::valueChanged, this, [this](int number) { session_.setFrame(number - document_.take().firstFrame); });
  connect(tabs_, &QTabBar::currentChanged, this, [this, names](int page) {
    pages_->setCurrentIndex(page);
    names->setVisible(page == 0);
  });
  for (auto signal : {&Session::timeChanged, &Session::playbackChanged}) connect(&session, signal, this, &TimelinePanel::refresh);
  connect(&session, &Session::frameChanged, this, [this](int frame) {
    const QSignalBlocker blocker(frame_);
    frame_->setValue(frame + document_.take().firstFrame);
    scale_.reveal(frame);
  });
  connect(&document, &Document::takeChanged, this, &TimelinePanel::refresh);
  connect(&Appearance::instance(), &Appearance::changed, this, &TimelinePanel::refresh);
  refresh();
}

QToolButton* TimelinePanel::button(const QString& iconName, const QString& tip) {
  auto* b = new QToolButton(this);
  b->setIcon(icon(iconName));
  b->setIconSize({18, 18});
  b->setToolTip(tip);
  b->setAccessibleName(tip.section(QStringLiteral("  ("), 0, 0));
  b->setProperty("flat", true);
  return b;
}

void TimelinePanel::showCurves(bool curves) { tabs_->setCurrentIndex(curves ? 1 : 0); }

void TimelinePanel::setTimecode(bool timecode) {
  timecode_->setChecked(timecode);
  scale_.setTimecode(timecode);
  frame_->setTimecode(timecode, session_.rate());
}

void TimelinePanel::editFrame() {
  frame_->setFocus(Qt::ShortcutFocusReason);
  frame_->selectAll();
}

void TimelinePanel::toggleCurves() { showCurves(tabs_->currentIndex() == 0); }

void TimelinePanel::refresh() {
  scale_.setFrames(session_.frames());
  const int first = document_.take().firstFrame;
  const QSignalBlocker blocker(frame_), loopBlocker(loop_);
  frame_->setTimecode(scale_.timecode(), session_.rate());
  frame_->setRange(first, first + std::max(0, session_.frames() - 1));
  frame_->setValue(first + session_.frame());
  frame_->setEnabled(session_.frames() > 0);
  total_->setText(session_.frames() > 0 ? tr("of %1 · %2 fps").arg(first + session_.frames() - 1).arg(session_.rate(), 0, 'g', 5) : tr("no frames"));
  play_->setIcon(icon(session_.playing() ? QStringLiteral("pause") : QStringLiteral("play")));
  play_->setEnabled(session_.frames() > 1);
  loop_->setChecked(session_.looping());
  lanes_->update();
}

}  // namespace understudy::editor
