// How lanes are drawn.
#include <QPainter>
#include <QPainterPath>
#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/timeline/lanes_view.h"

namespace understudy::editor {
namespace {

/// The ease as it is: the kernel's own shape from `low` at x0 to `high` at x1.
void ramp(QPainterPath& path, double x0, double x1, double low, double high) {
  for (int s = 1; s <= 16; ++s) {
    const double t = s / 16.0;
    path.lineTo(x0 + (x1 - x0) * t, low + (high - low) * t * t * (3 - 2 * t));
  }
}

QColor faded(QColor colour, double alpha) {
  colour.setAlphaF(static_cast<float>(alpha));
  return colour;
}

/// Slanted lines (heel) and dots (ball), as textures of their own so that they look the same at every scale.
QBrush texture(PlantPhase phase, const QColor& tone) {
  QPixmap tile(6, 6);
  tile.fill(Qt::transparent);
  QPainter painter(&tile);
  painter.setRenderHint(QPainter::Antialiasing);
  if (phase == PlantPhase::heel) {
    painter.setPen(QPen(tone, 1.6));
    for (int i = -6; i <= 6; i += 6) painter.drawLine(QPointF(i, 6), QPointF(i + 6, 0));
  } else if (phase == PlantPhase::ball) {
    painter.setPen(Qt::NoPen);
    painter.setBrush(tone);
    painter.drawEllipse(QPointF(1.5, 1.5), 1.25, 1.25);
    painter.drawEllipse(QPointF(4.5, 4.5), 1.25, 1.25);
  } else {
    painter.setPen(QPen(tone, 1.2));
    painter.drawLine(QPointF(0, 3), QPointF(3, 0));
    painter.drawLine(QPointF(3, 0), QPointF(6, 3));
  }
  return QBrush(tile);
}

}  // namespace

void LanesView::paintLanes(QPainter& painter) const {
  const Colours& c = colours();
  painter.setRenderHint(QPainter::Antialiasing);
  if (scale_.frames() <= 0) {
    painter.setFont(Appearance::small());
    painter.setPen(c.dimText);
    painter.drawText(QRectF(rect()).adjusted(16, 0, -16, 0), Qt::AlignCenter | Qt::TextWordWrap,
                     tr("Once a performance is loaded, its time lies here: what was found, each foot on the ground, repairs and nudges, a lane each."));
    return;
  }
  paintFindings(painter);
  const QRectF room(0, lanesTop(), width(), height() - lanesTop());
  painter.setClipRect(room);
  const double first = scale_.x(0) - 4, last = scale_.x(std::max(0, scale_.frames() - 1)) + 4;
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane) {
    const QRectF rect = laneRect(lane);
    painter.setPen(Qt::NoPen);
    painter.setBrush(c.sunken);
    painter.drawRoundedRect(QRectF(first, rect.top() + 1, last - first, rect.height() - 2), 3, 3);
    // Eases that reach out of the clip end with it; those of the selected one can be taken hold of there.
    painter.setClipRect(room.intersected(QRectF(first, room.top(), last - first, room.height())));
    const LaneBar* selected = nullptr;
    std::array<int, 4> narrow{-1, -1, -1, -1};  // the pixel each row has last a bar in that is no wider
    for (const LaneBar& bar : lanes_[lane].bars) {
      const double a = scale_.x(bar.first - bar.before), b = scale_.x(bar.last + bar.after);
      if (b < 0 || a > width()) continue;
      if (bar.holder || bar.lock) {
        paintStay(painter, lane, bar);
        continue;
      }
      if (bar.id == session_.repair()) {
        selected = &bar;
        continue;
      }
      if (const QRectF box = bar.nudge ? QRectF() : barRect(lane, bar); !bar.nudge && box.width() < 1) {
        int& pixel = narrow[static_cast<std::size_t>(std::clamp(bar.row, 0, 3))];
        if (std::exchange(pixel, static_cast<int>(box.left())) == static_cast<int>(box.left())) continue;
      }
      bar.nudge ? paintNudge(painter, lane, bar) : paintBar(painter, lane, bar);
    }
    painter.setClipRect(room);
    if (selected) selected->nudge ? paintNudge(painter, lane, *selected) : paintBar(painter, lane, *selected);
  }
}

// Findings as a strip: the graver, the taller, so that it reads without colour.
void LanesView::paintFindings(QPainter& p) const {
  const auto evaluated = document_.evaluated();
  if (!evaluated || stripHeight() <= 0 || scale_.frames() <= 0) return;
  const Colours& c = colours();
  const double top = rulerHeight + 4 + 2, h = stripHeight() - 4;
  p.setPen(Qt::NoPen);
  p.setBrush(c.sunken);
  p.drawRoundedRect(QRectF(scale_.x(0) - 4, top, scale_.x(std::max(0, scale_.frames() - 1)) - scale_.x(0) + 8, h), 3, 3);
  // A long clip has more findings than the strip has room: of those at one place the gravest is drawn, and lines that touch are one.
  constexpr double place = 2;
  const Finding* chosen = document_.findings().chosen();
  const double wide = std::max(4.0, scale_.perFrame());
  for (const bool grave : {false, true}) {
    std::vector<const Finding*> worst(static_cast<std::size_t>(width() / place) + 2, nullptr);
    std::vector<std::pair<double, double>> lines;
    for (const Finding& finding : document_.findings().findings()) {
      if (isGrave(finding) != grave || finding.waved) continue;
      const double a = scale_.x(finding.span.first - evaluated->trimFirst) - scale_.perFrame() / 2;
      const double b = scale_.x(finding.span.last - evaluated->trimFirst) + scale_.perFrame() / 2;
      if (b < 0 || a > width()) continue;
      lines.emplace_back(a, b);
      const double x = scale_.x(finding.worst - evaluated->trimFirst);
      const Finding*& here = worst[std::min(static_cast<std::size_t>(std::max(0.0, x) / place), worst.size() - 1)];
      if (!here || here != chosen) here = !here || &finding == chosen || finding.severity > here->severity ? &finding : here;
    }
    // A line as long as they last, a block where each is worst.
    std::sort(lines.begin(), lines.end());
    p.setPen(Qt::NoPen);
    p.setBrush(faded(grave ? c.flaw : c.warning, 0.75));
    for (std::size_t i = 0; i < lines.size();) {
      const double a = lines[i].first;
      double b = lines[i].second;
      for (++i; i < lines.size() && lines[i].first <= b + 1; ++i) b = std::max(b, lines[i].second);
      p.drawRoundedRect(QRectF(a, top + h - 3.5, std::max(2.0, b - a - 1), 2.5), 1.2, 1.2);
    }
    for (const Finding* finding : worst) {
      if (!finding) continue;
      const double x = scale_.x(finding->worst - evaluated->trimFirst);
      const double share = 0.35 + 0.65 * std::min(1.0, finding->severity), tall = std::max(5.0, (h - 5) * share);
      const QRectF mark(x - wide / 2, top + h - 4.5 - tall, wide, tall);
      p.setPen(Qt::NoPen);
      p.setBrush(grave ? c.flaw : c.warning);
      p.drawRoundedRect(mark, 1.2, 1.2);
      if (finding != chosen) continue;
      p.setPen(QPen(c.selection, 1.5));
      p.setBrush(Qt::NoBrush);
      p.drawRoundedRect(mark.adjusted(-1, -1, 1, 1), 2, 2);
    }
  }
}

void LanesView::paintBar(QPainter& p, std::size_t lane, const LaneBar& bar) const {
  const Colours& c = colours();
  const QRectF rect = barRect(lane, bar);
  const bool selected = bar.id == session_.repair();
  const QColor tone = bar.off ? c.disabledText : c.character;
  if (rect.width() < 2.5 && !selected) {
    p.fillRect(QRectF(rect.left(), rect.top(), std::max(1.0, rect.width()), rect.height()), faded(tone, 0.7));
    return;
  }
  // Body and ramps in one outline.
  QPainterPath path;
  const double a = scale_.x(bar.first - bar.before) - scale_.perFrame() / 2, b = scale_.x(bar.last + bar.after) + scale_.perFrame() / 2;
  if (bar.whole) {
    path.addRoundedRect(rect, 3, 3);
  } else {
    path.moveTo(bar.before > 0 ? a : rect.left(), rect.bottom());
    if (bar.before > 0) ramp(path, a, rect.left(), rect.bottom(), rect.top());
    else path.lineTo(rect.topLeft());
    path.lineTo(rect.topRight());
    if (bar.after > 0) ramp(path, rect.right(), b, rect.top(), rect.bottom());
    else path.lineTo(rect.bottomRight());
    path.closeSubpath();
  }
  p.setPen(Qt::NoPen);
  p.setBrush(faded(tone, bar.phases.empty() ? (selected ? 0.5 : 0.32) : 0.14));
  p.drawPath(path);
  if (!bar.phases.empty()) paintPhases(p, rect, bar, tone);
  p.setBrush(Qt::NoBrush);
  p.setPen(QPen(faded(tone, bar.off ? 0.7 : 0.95), 1, bar.off || bar.proposed ? Qt::DotLine : Qt::SolidLine));
  p.drawPath(path);
  if (selected) {
    p.setPen(QPen(c.selection, 1.6));
    p.drawRoundedRect(rect.adjusted(-0.5, -0.5, 0.5, 0.5), 3, 3);
    // Handles: posts at the edges, dots at the ends of the eases.
    p.setPen(Qt::NoPen);
    p.setBrush(c.selection);
    if (!bar.whole) {
      for (const double x : {rect.left(), rect.right()}) p.drawRoundedRect(QRectF(x - 1.5, rect.top() - 1, 3, rect.height() + 2), 1.5, 1.5);
      for (const double x : {a, b}) p.drawEllipse(QPointF(x, rect.bottom() - 1), 2.6, 2.6);
    }
  }
  const QFontMetricsF metrics(Appearance::small());
  const double left = std::max(rect.left(), 4.0), room = std::min(rect.right(), width() - 4.0) - left - 10;
  if (bar.phases.empty() && rect.height() >= 13 && room > 40) {
    p.setFont(Appearance::small());
    p.setPen(bar.off ? c.dimText : c.text);
    p.drawText(QRectF(left + 6, rect.top(), room, rect.height()), Qt::AlignVCenter, metrics.elidedText(bar.text, Qt::ElideRight, room));
  }
}

// Who holds a prop, and what is locked: told, not moved.
void LanesView::paintStay(QPainter& p, std::size_t lane, const LaneBar& bar) const {
  const Colours& c = colours();
  const QRectF rect = barRect(lane, bar).adjusted(0.5, 1, -0.5, -1);
  p.setPen(QPen(c.performer, 1, bar.lock ? Qt::DashLine : Qt::SolidLine));
  p.setBrush(bar.lock ? QBrush(faded(c.performer, 0.35), Qt::BDiagPattern) : QBrush(faded(c.performer, 0.16)));
  p.drawRoundedRect(rect, 3, 3);
  const QFontMetricsF metrics(Appearance::small());
  const double left = std::max(rect.left(), 4.0), room = std::min(rect.right(), width() - 4.0) - left - 10;
  if (room < 30 || rect.height() < 12) return;
  const QString text = metrics.elidedText(bar.text, Qt::ElideRight, room);
  if (bar.lock) {
    p.setPen(Qt::NoPen);
    p.setBrush(c.sunken);
    p.drawRoundedRect(QRectF(left + 3, rect.top() + 1.5, metrics.horizontalAdvance(text) + 6, rect.height() - 3), 3, 3);
  }
  p.setFont(Appearance::small());
  p.setPen(c.text);
  p.drawText(QRectF(left + 6, rect.top(), room, rect.height()), Qt::AlignVCenter, text);
}

void LanesView::paintPhases(QPainter& p, const QRectF& rect, const LaneBar& bar, const QColor& tone) const {
  for (std::size_t i = 0; i < bar.phases.size(); ++i) {
    const int from = bar.phases[i].first, to = i + 1 < bar.phases.size() ? bar.phases[i + 1].first - 1 : bar.last;
    if (to < from) continue;
    QRectF part(scale_.x(from) - scale_.perFrame() / 2, rect.top(), (to - from + 1) * scale_.perFrame(), rect.height());
    part = part.intersected(rect);
    const PlantPhase phase = bar.phases[i].second;
    p.setPen(Qt::NoPen);
    if (phase == PlantPhase::flat) {
      p.setBrush(faded(tone, 0.85));
      p.drawRect(part);
    } else if (phase == PlantPhase::toe) {
      p.setBrush(faded(tone, 0.85));
      p.drawRect(QRectF(part.left(), part.bottom() - part.height() * 0.34, part.width(), part.height() * 0.34));
    } else {
      p.setBrush(faded(tone, 0.16));
      p.drawRect(part);
      QBrush brush = texture(phase, faded(tone, 0.95));
      brush.setTransform(QTransform::fromTranslate(part.left(), part.top()));
      p.setBrush(brush);
      p.drawRect(part);
    }
    if (i > 0 && part.width() > 2) {
      p.setPen(QPen(colours().sunken, 1));
      p.drawLine(part.topLeft(), part.bottomLeft());
    }
  }
  if (bar.release >= bar.first) {
    // From here it may slip: a notch.
    const double x = scale_.x(bar.release) - scale_.perFrame() / 2;
    p.setPen(Qt::NoPen);
    p.setBrush(colours().sunken);
    p.drawPolygon(QPolygonF{QPointF(x - 4, rect.top()), QPointF(x + 4, rect.top()), QPointF(x, rect.top() + 6)});
  }
}

void LanesView::paintNudge(QPainter& p, std::size_t lane, const LaneBar& bar) const {
  const Colours& c = colours();
  const QRectF rect = laneRect(lane);
  const bool selected = bar.id == session_.repair();
  const double low = rect.bottom() - 3, high = rect.top() + 5;
  const double x = scale_.x(bar.first), a = scale_.x(bar.first - bar.before), b = scale_.x(bar.first + bar.after);
  QPainterPath hill(QPointF(a, low));
  ramp(hill, a, x, low, high);
  ramp(hill, x, b, high, low);
  hill.closeSubpath();
  p.setPen(QPen(bar.off ? c.dimText : c.character, 1, bar.off ? Qt::DotLine : Qt::SolidLine));
  p.setBrush(faded(bar.off ? c.line : c.character, bar.off ? 0.5 : selected ? 0.75 : 0.45));
  p.drawPath(hill);
  const QPointF pin(x, rect.top() + 7);
  if (selected) {
    p.setPen(QPen(c.selection, 1.4));
    p.setBrush(Qt::NoBrush);
    p.drawEllipse(pin, 6.5, 6.5);
  }
  p.setPen(QPen(bar.off ? c.dimText : c.key, 1.6));
  p.drawLine(pin, QPointF(x, low));
  p.setBrush(bar.off ? c.panel : c.key);
  p.drawEllipse(pin, 3.6, 3.6);
}

}  // namespace understudy::editor
