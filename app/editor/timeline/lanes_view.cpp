#include "app/editor/timeline/lanes_view.h"

#include <QHelpEvent>
#include <QMouseEvent>
#include <QPainter>
#include <QPainterPath>
#include <QToolTip>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/nudging.h"
#include "app/editor/look/appearance.h"

namespace understudy::editor {

LanesView::LanesView(Document& document, Session& session, FrameScale& scale, QWidget* parent) : TrackView(document, session, scale, parent) {
  setAccessibleName(tr("Lanes"));
  setMouseTracking(true);
  connect(&session, &Session::repairChanged, this, [this] { update(); });
  connect(&document, &Document::takeChanged, this, [this] { update(); });
}

QPointF LanesView::pinOf(int repair) const {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return {};
  return {scale_.x(frameOf(*evaluated, *(*document_.take().nudges)[static_cast<std::size_t>(repair)])), laneTop(1) + laneHeight / 2.0 - 4};
}

void LanesView::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter painter(this);
  paintRuler(painter);
  painter.setRenderHint(QPainter::Antialiasing);
  const double first = scale_.x(0) - 4, last = scale_.x(std::max(0, scale_.frames() - 1)) + 4;
  for (int lane = 0; lane < 2; ++lane) {
    painter.setPen(Qt::NoPen);
    painter.setBrush(c.sunken);
    painter.drawRoundedRect(QRectF(scale_.frames() > 0 ? first : 10, laneTop(lane) + 2, scale_.frames() > 0 ? last - first : width() - 20, laneHeight - 4), 3, 3);
  }
  const auto evaluated = document_.evaluated();
  if (evaluated && scale_.frames() > 0) {
    painter.setClipRect(QRectF(0, rulerHeight, width(), height()));
    const Nudges& nudges = *document_.take().nudges;
    for (int i = 0; i < static_cast<int>(nudges.size()); ++i) {
      const Nudge& nudge = *nudges[static_cast<std::size_t>(i)];
      const NudgeFrames span = nudgeFrames(nudge, evaluated->rate);
      const int frame = frameOf(*evaluated, nudge);
      const bool selected = i == session_.repair();
      const double x = scale_.x(frame), a = scale_.x(frame - span.before), b = scale_.x(frame + span.after);
      // The ease as it is: the kernel's own shape, rising to the key and falling after it.
      const double low = laneTop(0) + laneHeight - 4, high = laneTop(0) + 4;
      QPainterPath hill(QPointF(a, low));
      for (int s = 1; s <= 24; ++s) {
        const double t = s / 24.0, w = t * t * (3 - 2 * t);
        hill.lineTo(a + (x - a) * t, low + (high - low) * w);
      }
      for (int s = 1; s <= 24; ++s) {
        const double t = s / 24.0, w = 1 - t * t * (3 - 2 * t);
        hill.lineTo(x + (b - x) * t, low + (high - low) * w);
      }
      hill.closeSubpath();
      QColor fill = nudge.muted ? c.line : c.character;
      fill.setAlphaF(nudge.muted ? 0.5 : selected ? 0.75 : 0.45);
      painter.setPen(QPen(nudge.muted ? c.dimText : c.character, 1, nudge.muted ? Qt::DotLine : Qt::SolidLine));
      painter.setBrush(fill);
      painter.drawPath(hill);
      const QPointF pin = pinOf(i);
      if (selected) {
        painter.setPen(QPen(c.selection, 1.4));
        painter.setBrush(Qt::NoBrush);
        painter.drawEllipse(pin, 7.5, 7.5);
      }
      painter.setPen(QPen(nudge.muted ? c.dimText : c.key, 1.6));
      painter.drawLine(pin, pin + QPointF(0, 11));
      painter.setBrush(nudge.muted ? c.panel : c.key);
      painter.drawEllipse(pin, 4, 4);
    }
    painter.setClipping(false);
  }
  paintPlayhead(painter);
}

int LanesView::repairAt(QPointF point) const {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return -1;
  const Nudges& nudges = *document_.take().nudges;
  int best = -1;
  double nearest = 9;
  for (int i = 0; i < static_cast<int>(nudges.size()); ++i) {
    const QPointF pin = pinOf(i);
    const double d = std::abs(pin.x() - point.x());
    if (point.y() >= laneTop(0) && point.y() < laneTop(2) && d < nearest) nearest = d, best = i;
  }
  return best;
}

void LanesView::mousePressEvent(QMouseEvent* event) {
  dragged_ = event->button() == Qt::LeftButton ? repairAt(event->position()) : -1;
  if (dragged_ < 0) return TrackView::mousePressEvent(event);
  session_.setRepair(dragged_);
  if (const auto evaluated = document_.evaluated())
    session_.setFrame(frameOf(*evaluated, *(*document_.take().nudges)[static_cast<std::size_t>(dragged_)]));
}

void LanesView::mouseMoveEvent(QMouseEvent* event) {
  if (dragged_ < 0) {
    setCursor(repairAt(event->position()) >= 0 ? Qt::SizeHorCursor : Qt::ArrowCursor);
    return TrackView::mouseMoveEvent(event);
  }
  const int frame = scale_.nearest(event->position().x());
  moveNudge(document_, dragged_, frame, QStringLiteral("move-pin"));
  session_.setFrame(frame);
}

void LanesView::mouseReleaseEvent(QMouseEvent* event) {
  if (dragged_ >= 0) document_.seal();
  dragged_ = -1;
  TrackView::mouseReleaseEvent(event);
}

bool LanesView::event(QEvent* event) {
  if (event->type() == QEvent::ToolTip) {
    const auto* help = static_cast<QHelpEvent*>(event);
    const int repair = repairAt(help->pos());
    const auto evaluated = document_.evaluated();
    if (repair >= 0 && evaluated) {
      const Nudge& nudge = *(*document_.take().nudges)[static_cast<std::size_t>(repair)];
      QToolTip::showText(help->globalPos(), nudgeText(nudge) + QStringLiteral("\n") + nudgeSpanText(nudge, *evaluated), this);
    } else {
      QToolTip::hideText();
    }
    return true;
  }
  return TrackView::event(event);
}

}  // namespace understudy::editor
