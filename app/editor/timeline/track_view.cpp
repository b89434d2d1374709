#include "app/editor/timeline/track_view.h"

#include <QMouseEvent>
#include <QPainter>
#include <cmath>

#include "app/editor/look/appearance.h"
#include "app/editor/timeline/timecode.h"

namespace understudy::editor {

TrackView::TrackView(Document& document, Session& session, FrameScale& scale, QWidget* parent)
    : QWidget(parent), document_(document), session_(session), scale_(scale) {
  setFocusPolicy(Qt::StrongFocus);
  connect(&session, &Session::frameChanged, this, [this] { update(); });
  connect(&session, &Session::timeChanged, this, [this] { update(); });
  connect(&scale, &FrameScale::changed, this, [this] { update(); });
  connect(&document, &Document::evaluatedChanged, this, [this] { update(); });
  connect(&Appearance::instance(), &Appearance::changed, this, [this] { update(); });
}

QString TrackView::label(int number) const { return scale_.timecode() ? timecode(number, session_.rate()) : QString::number(number); }

int TrackView::shown(int frame) const { return frame + document_.take().firstFrame; }

void TrackView::paintRuler(QPainter& painter) const {
  const Colours& c = colours();
  painter.fillRect(rect(), c.panel);
  if (scale_.frames() <= 0) return;
  const double left = scale_.x(session_.rangeFirst()), right = scale_.x(session_.rangeLast());
  painter.setPen(Qt::NoPen);
  painter.setBrush(c.card);
  painter.drawRoundedRect(QRectF(left - 4, rulerHeight - 5, right - left + 8, 4), 2, 2);
  painter.setFont(Appearance::small());
  const double widest = QFontMetricsF(painter.font()).horizontalAdvance(label(scale_.frames())) + 24;
  const int step = scale_.labelStep(widest), minor = step >= 5 ? step / 5 : 1;
  const int offset = document_.take().firstFrame;
  const int from = static_cast<int>(std::floor(scale_.frame(0))), to = static_cast<int>(std::ceil(scale_.frame(width())));
  // From tick to tick, not from frame to frame: a long clip has few ticks and many frames.
  const int low = std::max(0, from), high = std::min(to, scale_.frames() - 1);
  const int begin = low + offset - (low + offset) % minor + ((low + offset) % minor < 0 ? -minor : 0);
  for (int number = low == 0 ? offset : begin; number - offset <= high; number = (number == offset && low == 0 ? begin : number) + minor) {
    const int f = number - offset;
    if (f < low || (f == 0 && number != offset)) continue;
    const bool labelled = number % step == 0 || f == 0;
    const double x = scale_.x(f);
    painter.setPen(QPen(labelled ? c.dimText : c.line, 1));
    painter.drawLine(QPointF(x, rulerHeight - (labelled ? 11 : 9)), QPointF(x, rulerHeight - 6));
    // The first label gives way to its neighbour where they would touch.
    if (!labelled || (f == 0 && number % step != 0 && (step - number % step) * scale_.perFrame() < widest / 2 + 12)) continue;
    if (std::abs(x - scale_.x(session_.frame())) < widest * 0.5 + 20) continue;  // the playhead's own number stands there
    painter.setPen(c.dimText);
    // The last one keeps inside.
    const double half = QFontMetricsF(painter.font()).horizontalAdvance(label(number)) / 2 + 2;
    painter.drawText(QRectF(std::min(x, width() - half) - 60, 0, 120, rulerHeight - 12), Qt::AlignHCenter | Qt::AlignBottom, label(number));
  }
}

void TrackView::paintPlayhead(QPainter& painter) const {
  if (scale_.frames() <= 0) return;
  const Colours& c = colours();
  const double x = scale_.x(session_.frame());
  painter.setRenderHint(QPainter::Antialiasing);
  if (hasFocus()) {
    painter.setPen(QPen(c.performer, 1));
    painter.setBrush(Qt::NoBrush);
    painter.drawRoundedRect(QRectF(rect()).adjusted(0.5, rulerHeight + 0.5, -0.5, -0.5), 3, 3);
  }
  painter.setPen(QPen(c.selectionGap, 3));
  painter.drawLine(QPointF(x, rulerHeight - 6), QPointF(x, height()));
  painter.setPen(QPen(c.selection, 1.4));
  painter.drawLine(QPointF(x, rulerHeight - 6), QPointF(x, height()));
  QFont font = Appearance::small();
  font.setWeight(QFont::DemiBold);
  painter.setFont(font);
  const QString text = label(shown(session_.frame()));
  const double w = std::max(26.0, QFontMetricsF(font).horizontalAdvance(text) + 14);
  const QRectF pill(std::clamp(x - w / 2, 0.0, width() - w), 2, w, 17);
  painter.setPen(Qt::NoPen);
  painter.setBrush(c.selection);
  painter.drawRoundedRect(pill, 8.5, 8.5);
  painter.setPen(c.selectionGap);
  painter.drawText(pill, Qt::AlignCenter, text);
}

void TrackView::mousePressEvent(QMouseEvent* event) {
  last_ = event->position();
  scrolling_ = event->button() == Qt::MiddleButton || event->button() == Qt::RightButton;
  scrubbing_ = event->button() == Qt::LeftButton;
  // With Shift on the ruler the play range is drawn.
  ranging_ = scrubbing_ && event->modifiers() & Qt::ShiftModifier && event->position().y() < rulerHeight;
  if (ranging_) {
    scrubbing_ = false;
    rangeFrom_ = scale_.nearest(event->position().x());
  }
  if (scrubbing_) session_.setFrame(scale_.nearest(event->position().x()));
}

void TrackView::mouseMoveEvent(QMouseEvent* event) {
  if (ranging_) {
    const int to = scale_.nearest(event->position().x());
    session_.setRange(std::min(rangeFrom_, to), std::max(rangeFrom_, to));
  }
  if (scrubbing_) session_.setFrame(scale_.nearest(event->position().x()));
  if (scrolling_) scale_.scroll(last_.x() - event->position().x());
  last_ = event->position();
}

void TrackView::mouseReleaseEvent(QMouseEvent*) { scrubbing_ = scrolling_ = ranging_ = false; }

void TrackView::wheelEvent(QWheelEvent* event) {
  const QPoint turn = event->angleDelta();
  if (event->modifiers() & Qt::ShiftModifier || std::abs(turn.x()) > std::abs(turn.y()))
    scale_.scroll(-(turn.x() + turn.y()) * 0.5);
  else
    scale_.zoom(std::pow(0.85, turn.y() / 120.0), event->position().x());
  event->accept();
}

void TrackView::focusInEvent(QFocusEvent* event) {
  QWidget::focusInEvent(event);
  update();
}
void TrackView::focusOutEvent(QFocusEvent* event) {
  QWidget::focusOutEvent(event);
  update();
}

// The page that is hidden keeps its old size and has no say.
void TrackView::resizeEvent(QResizeEvent*) {
  if (isVisible()) scale_.setWidth(width());
}
void TrackView::showEvent(QShowEvent* event) {
  QWidget::showEvent(event);
  scale_.setWidth(width());
}

}  // namespace understudy::editor
