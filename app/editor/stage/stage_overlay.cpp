// What is painted over the stage's picture: rings, handles, labels, findings.
#include <QPainter>
#include <QPainterPath>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/nudging.h"
#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"
#include "core/take/edits.h"

namespace understudy::editor {

void StageWidget::paintLabel(QPainter& painter, QPointF at, const QString& text, const QColor& bar) {
  const Colours& c = colours();
  painter.setFont(Appearance::small());
  const QFontMetricsF metrics(painter.font());
  double w = 0;
  const QStringList lines = text.split(QLatin1Char('\n'));
  for (const QString& line : lines) w = std::max(w, metrics.horizontalAdvance(line));
  const double h = metrics.height() * static_cast<double>(lines.size());
  QRectF box(at.x() + 16, at.y() - h - 16, w + 20, h + 10);
  if (box.right() > width() - 6) box.moveRight(at.x() - 16);
  if (box.top() < 6) box.moveTop(at.y() + 16);
  painter.setPen(Qt::NoPen);
  QColor card = c.card;
  card.setAlphaF(0.94);
  painter.setBrush(card);
  painter.drawRoundedRect(box, 5, 5);
  painter.setBrush(bar);
  painter.drawRoundedRect(QRectF(box.left(), box.top(), 3, box.height()), 1.5, 1.5);
  painter.setPen(c.text);
  painter.drawText(box.adjusted(11, 5, -6, -5), Qt::AlignLeft | Qt::AlignTop, text);
}

std::optional<QPointF> StageWidget::pictureOf(const Vec3d& world) const {
  const Projected p = project(camera_, width(), height(), world + shift());
  return p.visible ? std::optional(QPointF(p.x, p.y)) : std::nullopt;
}

// Handles differ by shape: a ring on the ground, an arrow up, a diamond for limbs, a square for what is held or touched.
void StageWidget::paintHandles(QPainter& painter) {
  if (session_.playing()) return;
  const Colours& c = colours();
  const std::vector<StageHandle> handles = held_ ? std::vector<StageHandle>{{held_->handle().kind, held_->at(), held_->handle().joint}} : handlesOf(document_, session_);
  for (std::size_t i = 0; i < handles.size(); ++i) {
    const StageHandle& handle = handles[i];
    const auto at = pictureOf(handle.at);
    if (!at) continue;
    const bool hot = held_ || static_cast<int>(i) == hoveredHandle_;
    QPainterPath path;
    const double r = hot ? 7.5 : 6;
    switch (handle.kind) {
      case HandleKind::plantPlace: {
        constexpr double turn = 6.283185307179586;
        const double radius = 0.055 * document_.height(Cast::character);
        for (int k = 0; k <= 40; ++k)
          if (const auto p = pictureOf(handle.at + Vec3d{radius * std::cos(turn * k / 40), 0, radius * std::sin(turn * k / 40)})) k == 0 ? path.moveTo(*p) : path.lineTo(*p);
        path.moveTo(*at - QPointF(r, 0)), path.lineTo(*at + QPointF(r, 0)), path.moveTo(*at - QPointF(0, r / 2)), path.lineTo(*at + QPointF(0, r / 2));
        break;
      }
      case HandleKind::plantHeight:
        path.moveTo(*at + QPointF(0, -r - 2)), path.lineTo(*at + QPointF(r, 2)), path.lineTo(*at + QPointF(-r, 2)), path.closeSubpath();
        if (const auto foot = pictureOf({handle.at.x, 0, handle.at.z})) path.moveTo(*at + QPointF(0, 2)), path.lineTo(*foot);
        break;
      case HandleKind::limb:
        path.moveTo(*at - QPointF(0, r)), path.lineTo(*at + QPointF(r, 0)), path.lineTo(*at + QPointF(0, r)), path.lineTo(*at - QPointF(r, 0)), path.closeSubpath();
        break;
      default: path.addRect(QRectF(at->x() - r * 0.8, at->y() - r * 0.8, r * 1.6, r * 1.6));
    }
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(c.selectionGap, hot ? 5 : 4.2, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
    painter.drawPath(path);
    painter.setPen(QPen(handle.kind == HandleKind::limb ? c.selection : c.character, hot ? 2.6 : 1.8, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
    painter.drawPath(path);
    if (held_ && held_->miss() > 0.0005) paintLabel(painter, *at + QPointF(20, 0), tr("out of reach by %1 mm").arg(held_->miss() * 1000, 0, 'f', 0), c.warning);
    else if (hot && !held_) paintLabel(painter, *at, handleText(handle.kind), c.character);
  }
}

// Findings of the frame at the place they happen; the chosen one says its sentence.
void StageWidget::paintFindings(QPainter& painter) {
  const auto evaluated = document_.evaluated();
  if (!evaluated || !evaluated->context || document_.previewing() || drag_ != Drag::none) return;
  const Colours& c = colours();
  const Finding* chosen = document_.findings().chosen();
  const int frame = session_.frame() + evaluated->trimFirst;
  for (const Finding& finding : document_.findings().findings()) {
    if (finding.waved || finding.bones.empty() || !finding.span.holds(frame)) continue;
    const auto joint = findBone(*evaluated->context, finding.bones.front());
    const auto at = joint ? pointOf({Cast::character, joint.value()}) : std::nullopt;
    if (!at) continue;
    const QColor tone = finding.severity >= 0.35 ? c.flaw : c.warning;
    const double r = &finding == chosen ? 15 : 10;
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(c.selectionGap, 4));
    painter.drawEllipse(*at, r, r);
    painter.setPen(QPen(tone, 2.2, finding.severity >= 0.35 ? Qt::SolidLine : Qt::DashLine));
    painter.drawEllipse(*at, r, r);
    if (&finding != chosen || session_.playing()) continue;
    const QPointF flag = *at + QPointF(70, -90);
    painter.setPen(QPen(tone, 1.4));
    painter.drawLine(*at + QPointF(r * 0.7, -r * 0.7), flag + QPointF(17, -6));
    paintLabel(painter, flag, boneText(finding.bones.front()) + QLatin1Char(' ') + findingKindText(finding.kind) + QLatin1Char('\n') + measureText(finding), tone);
  }
}

void StageWidget::paintOverlay(QPainter& painter) {
  painter.setRenderHint(QPainter::Antialiasing);
  const Colours& c = colours();
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  const bool turning = drag_ == Drag::turnRing || drag_ == Drag::pullBone;
  if (const auto handle = handleFrame()) {
    const QColor tones[] = {c.axisX, c.axisY, c.axisZ, c.selection};
    for (int ring = handleRings - 1; ring >= 0; --ring) {
      if (turning && drag_ == Drag::turnRing && ring != ring_) continue;
      if (drag_ == Drag::pullBone && ring != 3) continue;
      const RingLine line = ringLine(*handle, sight, ring);
      const bool hot = ring == hoveredRing_ || ring == ring_;
      for (int pass = 0; pass < 2; ++pass) {
        QPainterPath path;
        bool open = false;
        for (std::size_t i = 0; i < line.points.size(); ++i) {
          if (!line.front[i] && !hot) {
            open = false;
            continue;
          }
          const QPointF p(line.points[i].x, line.points[i].y);
          open ? path.lineTo(p) : path.moveTo(p);
          open = true;
        }
        QColor tone = tones[ring];
        if (ring == 3 && !hot) tone.setAlphaF(0.75);
        QColor gap = c.selectionGap;
        gap.setAlphaF(0.55);
        painter.setBrush(Qt::NoBrush);
        painter.setPen(QPen(pass == 0 ? gap : tone, (pass == 0 ? 2.4 : 0) + (hot ? 2.6 : 1.6), Qt::SolidLine, Qt::RoundCap));
        painter.drawPath(path);
      }
    }
  }
  paintHandles(painter);
  paintFindings(painter);
  if (turning && session_.selected()) {
    const Nudge* nudge = findNudge(document_.take(), session_.repair());
    const Repair* offset = offsetOf(document_, session_.repair(), dragJoint_);
    const auto at = pointOf(*session_.selected());
    const auto evaluated = document_.evaluated();
    if (nudge && at && evaluated) paintLabel(painter, *at + QPointF(50, -40), tr("nudge  ") + nudgeText(*nudge) + QLatin1Char('\n') + nudgeSpanText(*nudge, *evaluated), c.key);
    if (offset && at && evaluated) paintLabel(painter, *at + QPointF(50, -40), kindText(*offset) + QStringLiteral("  ") + repairText(*offset) + QLatin1Char('\n') + spanText(*offset, *evaluated), c.character);
  } else if (const auto hovered = session_.hovered()) {
    const auto figure = document_.figure(hovered->cast);
    const auto at = pointOf(*hovered);
    if (figure && at) {
      const SkeletonMap& map = hovered->cast == Cast::performer ? document_.map().performer : document_.map().character;
      QString text = jointText(*figure, hovered->joint);
      if (const auto role = roleOf(map, hovered->joint)) text += QLatin1Char('\n') + roleText(*role);
      paintLabel(painter, *at, text, hovered->cast == Cast::performer ? c.performer : c.character);
    }
  }
  // Who is who, at the feet.
  painter.setFont(Appearance::small());
  for (const Shown& shown : shown_) {
    const SkeletonMap& map = shown.cast == Cast::performer ? document_.map().performer : document_.map().character;
    const int hips = map.joint(Role::hips);
    const auto at = worldOf({shown.cast, hips >= 0 ? hips : 0});
    if (!at) continue;
    const Projected p = project(camera_, width(), height(), Vec3d{at->x, 0, at->z});
    if (!p.visible || view_ == View::top || session_.layout() == StageLayout::overlaid) continue;
    painter.setPen(shown.cast == Cast::performer ? c.performer : c.character);
    QString who = shown.cast == Cast::performer ? tr("performer") : tr("character");
    const auto evaluated = document_.evaluated();
    if (shown.cast == Cast::performer && shown_.size() > 1 && evaluated && evaluated->report && std::abs(evaluated->report->stride - 1) > 0.005)
      who += tr(" · shown at %1 ×").arg(evaluated->report->stride, 0, 'f', 2);
    painter.drawText(QRectF(p.x - 110, std::min(p.y + 16, height() - 22.0), 220, 18), Qt::AlignCenter, who);
  }
  if (scene_.figures.empty()) {
    painter.setFont(Appearance::title());
    painter.setPen(c.text);
    const QRectF middle(0, height() * 0.36, width(), 30);
    painter.drawText(middle, Qt::AlignCenter, tr("Drop a capture and a character here"));
    painter.setFont(Appearance::body());
    painter.setPen(c.dimText);
    painter.drawText(middle.translated(0, 30), Qt::AlignCenter, tr("BVH or FBX motion · glTF, FBX or Collada character · or a reel"));
  } else if (session_.picking()) {
    paintLabel(painter, QPointF(0, height() - 4), tr("Click a bone to fill the row “%1”. Ctrl+click adds to its chain. Esc ends.").arg(session_.role() ? roleText(*session_.role()) : tr("none")), c.lamp);
  }
}

}  // namespace understudy::editor
