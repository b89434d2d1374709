#include "app/editor/panels/bars.h"

#include <QEvent>
#include <QHBoxLayout>
#include <QLabel>
#include <QProgressBar>
#include <QPushButton>
#include <QStyle>
#include <QToolButton>
#include <algorithm>

#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"

namespace understudy::editor {

MessageBar::MessageBar(QWidget& over) : QFrame(&over), over_(over) {
  setObjectName(QStringLiteral("messageBar"));
  setAttribute(Qt::WA_StyledBackground);
  over.installEventFilter(this);
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(10, 6, 8, 6);
  icon_ = new QLabel(this);
  text_ = new QLabel(this);
  text_->setObjectName(QStringLiteral("messageText"));
  text_->setWordWrap(true);
  text_->setTextInteractionFlags(Qt::TextSelectableByMouse);
  more_ = new QLabel(this);
  more_->setProperty("quiet", true);
  action_ = new QPushButton(this);
  action_->setObjectName(QStringLiteral("messageAction"));
  action_->setProperty("next", true);
  close_ = new QToolButton(this);
  close_->setIcon(icon(QStringLiteral("remove")));
  close_->setProperty("flat", true);
  close_->setToolTip(tr("Dismiss  (Esc)"));
  close_->setAccessibleName(tr("Dismiss message"));
  row->addWidget(icon_, 0, Qt::AlignTop);
  row->addWidget(text_, 1);
  row->addWidget(more_);
  row->addWidget(action_);
  row->addWidget(close_, 0, Qt::AlignTop);
  connect(action_, &QPushButton::clicked, this, [this] {
    if (waiting_.empty()) return;
    const auto accept = waiting_.front().accept;
    waiting_.pop_front();
    next();
    if (accept) accept();
  });
  connect(close_, &QToolButton::clicked, this, &MessageBar::dismiss);
  hide();
}

void MessageBar::dismiss() {
  if (waiting_.empty()) return;
  const auto decline = waiting_.front().decline;
  waiting_.pop_front();
  next();
  if (decline) decline();
}

void MessageBar::show(const Issue& issue) {
  if (issue.fault == Fault::cancelled) return;
  const QString text = QString::fromStdString(issue.text());
  std::erase_if(waiting_, [&](const Entry& entry) { return entry.action.isEmpty() && QString::fromStdString(entry.issue.text()) == text; });
  // The last thing that was done is answered first; but what is offered stays until it is answered.
  const auto place = std::find_if(waiting_.begin(), waiting_.end(), [](const Entry& entry) { return entry.action.isEmpty(); });
  waiting_.insert(place, {issue, {}, {}, {}});
  next();
}

void MessageBar::offer(const QString& text, const QString& action, std::function<void()> accept, std::function<void()> decline) {
  waiting_.push_front({makeNote(text.toStdString()), action, std::move(accept), std::move(decline)});
  next();
}

QString MessageBar::text() const { return isHidden() ? QString() : text_->text(); }

void MessageBar::place() {
  const int w = std::min(820, over_.width() - 24), h = std::max(minimumSizeHint().height(), heightForWidth(w));
  setGeometry((over_.width() - w) / 2, over_.height() - h - 10, w, h);
  Q_EMIT covers(isHidden() ? 0 : h + 20);
}

bool MessageBar::event(QEvent* event) {
  if (event->type() == QEvent::LayoutRequest || event->type() == QEvent::ShowToParent || event->type() == QEvent::HideToParent) place();
  return QFrame::event(event);
}

bool MessageBar::eventFilter(QObject* watched, QEvent* event) {
  if (watched == &over_ && event->type() == QEvent::Resize) place();
  return QFrame::eventFilter(watched, event);
}

void MessageBar::next() {
  if (waiting_.empty()) return hide();
  const Entry& entry = waiting_.front();
  const bool error = entry.issue.severity == Severity::error, warning = entry.issue.severity == Severity::warning;
  const Colours& c = colours();
  icon_->setPixmap(iconPixmap(error ? QStringLiteral("error") : warning ? QStringLiteral("warn") : QStringLiteral("note"),
                              error ? c.flaw : warning ? c.warning : c.performer, 20, devicePixelRatioF()));
  setProperty("severity", error ? "error" : warning ? "warning" : "note");
  style()->unpolish(this);
  style()->polish(this);
  text_->setText(QString::fromStdString(entry.issue.text()));
  setAccessibleName(text_->text());
  more_->setText(waiting_.size() > 1 ? tr("%1 more").arg(waiting_.size() - 1) : QString());
  action_->setText(entry.action);
  action_->setVisible(!entry.action.isEmpty());
  QFrame::show();
  place();
  raise();
}

BusyBar::BusyBar(JobLane& lane, QWidget& over, int row) : QFrame(&over), over_(over), row_(row) {
  setObjectName(QStringLiteral("busyBar"));
  setAttribute(Qt::WA_StyledBackground);
  over.installEventFilter(this);
  auto* parts = new QHBoxLayout(this);
  parts->setContentsMargins(12, 4, 8, 4);
  text_ = new QLabel(this);
  bar_ = new QProgressBar(this);
  bar_->setTextVisible(false);
  bar_->setRange(0, 1000);
  auto* stop = new QPushButton(tr("Stop"), this);
  stop->setToolTip(tr("Stop; nothing is changed"));
  parts->addWidget(text_);
  parts->addWidget(bar_, 1);
  parts->addWidget(stop);
  hide();
  delay_.setSingleShot(true);
  delay_.setInterval(300);
  connect(&delay_, &QTimer::timeout, this, [this] {
    place();
    show();
    raise();
  });
  connect(stop, &QPushButton::clicked, this, [this, &lane] {
    lane.cancel();
    text_->setText(tr("Stopping…"));
  });
  connect(&lane, &JobLane::started, this, [this](const QString& name) {
    name_ = name;
    text_->setText(name);
    bar_->setRange(0, 0);
    if (!isVisible()) delay_.start();  // a row of short jobs is no long one
  });
  connect(&lane, &JobLane::progressed, this, [this](double fraction, const QString& step) {
    bar_->setRange(0, 1000);
    bar_->setValue(static_cast<int>(fraction * 1000));
    if (!step.isEmpty()) text_->setText(name_ + QStringLiteral(" · ") + step);
  });
  connect(&lane, &JobLane::idle, this, [this] {
    delay_.stop();
    hide();
  });
}

void BusyBar::place() {
  const int w = std::min(620, over_.width() - 24), h = sizeHint().height();
  setGeometry((over_.width() - w) / 2, 8 + row_ * (h + 6), w, h);
}

bool BusyBar::eventFilter(QObject* watched, QEvent* event) {
  if (watched == &over_ && event->type() == QEvent::Resize) place();
  return QFrame::eventFilter(watched, event);
}

}  // namespace understudy::editor
