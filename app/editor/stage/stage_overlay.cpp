// What is painted over the stage's picture: rings, handles, labels, findings.
#include <QPainter>
#include <QPainterPath>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "app/editor/document/aligning.h"
#include "app/editor/document/describe.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/nudging.h"
#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/stage/stage_widget.h"
#include "core/take/edits.h"

namespace understudy::editor {

QRectF StageWidget::paintLabel(QPainter& painter, QPointF at, const QString& text, const QColor& bar, bool pale) {
  const Colours& c = colours();
  painter.setFont(Appearance::small());
  const QFontMetricsF metrics(painter.font());
  // No wider than the stage: what is longer goes on below.
  const QRectF words = metrics.boundingRect(QRectF(0, 0, std::max(80.0, width() - 40.0), 1e4), Qt::AlignLeft | Qt::AlignTop | Qt::TextWordWrap, text);
  const double w = std::ceil(words.width()), h = std::ceil(words.height()), rim = pale ? 2 : 5;
  QRectF box = pale ? QRectF(at.x() + 14, at.y() - h / 2 - rim, w + 17, h + 2 * rim) : QRectF(at.x() + 16, at.y() - h - 16, w + 20, h + 2 * rim);
  if (box.right() > width() - 6) box.moveRight(pale ? at.x() - 14 : at.x() - 16);
  if (!pale && box.top() < 6) box.moveTop(at.y() + 16);
  box.moveLeft(std::clamp(box.left(), 6.0, std::max(6.0, width() - box.width() - 6)));
  box.moveTop(std::clamp(box.top(), 6.0, std::max(6.0, height() - box.height() - 6)));
  // Downwards past those that are there, and from the bottom up again.
  const auto taken = [this](const QRectF& room) { return std::find_if(labels_.begin(), labels_.end(), [&](const QRectF& other) { return other.intersects(room); }); };
  const double wanted = box.top();
  for (auto other = taken(box); other != labels_.end() && box.bottom() < height(); other = taken(box)) box.moveTop(other->bottom() + 2);
  if (box.bottom() > height() - 2) {
    box.moveTop(wanted);
    for (auto other = taken(box); other != labels_.end() && box.top() > 0; other = taken(box)) box.moveBottom(other->top() - 2);
    if (box.top() < 0) return {};  // no room left: the ring alone says it
  }
  labels_.push_back(box);
  painter.setPen(Qt::NoPen);
  QColor card = c.card;
  card.setAlphaF(pale ? 0.86F : 0.94F);
  painter.setBrush(card);
  painter.drawRoundedRect(box, 5, 5);
  painter.setBrush(bar);
  painter.drawRoundedRect(QRectF(box.left(), box.top(), 3, box.height()), 1.5, 1.5);
  painter.setPen(c.text);
  painter.drawText(box.adjusted(pale ? 8 : 11, rim, pale ? 0 : -6, -rim), Qt::AlignLeft | Qt::AlignTop | Qt::TextWordWrap, text);
  return box;
}

std::optional<QPointF> StageWidget::pictureOf(const Vec3d& world) const {
  const Projected p = project(camera_, width(), height(), world + shift());
  return p.visible ? std::optional(QPointF(p.x, p.y)) : std::nullopt;
}

// Handles differ by shape: a ring on the ground, an arrow up, a diamond for limbs, a square for what is held or touched.
void StageWidget::paintHandles(QPainter& painter) {
  if (session_.playing() || aligning()) return;
  const Colours& c = colours();
  const std::vector<StageHandle> handles = held_ ? std::vector<StageHandle>{held_->handle()} : this->handles();
  for (std::size_t i = 0; i < handles.size(); ++i) {
    const StageHandle& handle = handles[i];
    const bool arrow = handle.number >= 0;
    const Vec3d place = held_ ? held_->at() + (arrow ? handle.tip - handle.at : Vec3d{}) : arrow ? handle.tip : handle.at;
    const auto at = pictureOf(place);
    if (!at) continue;
    const bool hot = held_ || static_cast<int>(i) == hoveredHandle_;
    QPainterPath path;
    const double r = hot ? 7.5 : 6;
    switch (handle.kind) {
      case HandleKind::plantPlace: {
        constexpr double turn = 6.283185307179586;
        const double radius = 0.055 * document_.height(Cast::character);
        for (int k = 0; k <= 40; ++k)
          if (const auto p = pictureOf(place + Vec3d{radius * std::cos(turn * k / 40), 0, radius * std::sin(turn * k / 40)})) k == 0 ? path.moveTo(*p) : path.lineTo(*p);
        path.moveTo(*at - QPointF(r, 0)), path.lineTo(*at + QPointF(r, 0)), path.moveTo(*at - QPointF(0, r / 2)), path.lineTo(*at + QPointF(0, r / 2));
        break;
      }
      case HandleKind::plantHeight:
        path.moveTo(*at + QPointF(0, -r - 2)), path.lineTo(*at + QPointF(r, 2)), path.lineTo(*at + QPointF(-r, 2)), path.closeSubpath();
        if (const auto foot = pictureOf({place.x, 0, place.z})) path.moveTo(*at + QPointF(0, 2)), path.lineTo(*foot);
        break;
      case HandleKind::limb:
        path.moveTo(*at - QPointF(0, r)), path.lineTo(*at + QPointF(r, 0)), path.lineTo(*at + QPointF(0, r)), path.lineTo(*at - QPointF(r, 0)), path.closeSubpath();
        break;
      case HandleKind::limbAxis: {
        const auto from = pictureOf(place - (handle.tip - handle.at) * 0.28);
        if (!from) continue;
        const QPointF along = *at - *from;
        const double l = std::hypot(along.x(), along.y());
        // Seen end-on there is nothing to pull along.
        if (l < 3) continue;
        const QPointF u = along / l, v(-u.y(), u.x());
        path.moveTo(*at), path.lineTo(*at - u * 9 + v * 4.5), path.lineTo(*at - u * 9 - v * 4.5), path.closeSubpath();
        path.moveTo(*from), path.lineTo(*at - u * 9);
        break;
      }
      default: path.addRect(QRectF(at->x() - r * 0.8, at->y() - r * 0.8, r * 1.6, r * 1.6));
    }
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(c.selectionGap, hot ? 5 : 4.2, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
    painter.drawPath(path);
    const QColor tones[] = {c.axisX, c.axisY, c.axisZ};
    painter.setPen(QPen(arrow ? tones[handle.number] : handle.kind == HandleKind::limb ? c.selection : c.character, hot ? 2.6 : 1.8, Qt::SolidLine, Qt::RoundCap, Qt::RoundJoin));
    painter.drawPath(path);
    if (held_ && held_->miss() > 0.0005) paintLabel(painter, *at + QPointF(20, 0), tr("out of reach by %1 mm").arg(held_->miss() * 1000, 0, 'f', 0), c.warning);
    else if (hot && !held_) paintLabel(painter, *at, handleText(handle.kind), c.character);
  }
}

// Findings of the frame at the place they happen, each with its size; the chosen one says what it is.
void StageWidget::paintFindings(QPainter& painter) {
  const auto evaluated = document_.evaluated();
  if (!evaluated || !evaluated->context || document_.previewing() || document_.provisional() || drag_ != Drag::none || aligning()) return;
  const Colours& c = colours();
  const Finding* chosen = document_.findings().chosen();
  const int frame = session_.frame() + evaluated->trimFirst;
  // Of several at one bone one ring, the gravest; the chosen one's card first, so that the others give way.
  std::map<int, std::vector<const Finding*>> places;
  for (const Finding& finding : document_.findings().findings()) {
    if (finding.waved || finding.bones.empty() || !finding.span.holds(frame)) continue;
    if (const auto joint = findBone(*evaluated->context, finding.bones.front())) places[joint.value()].push_back(&finding);
  }
  for (auto& [joint, all] : places) std::stable_sort(all.begin(), all.end(), [&](const Finding* a, const Finding* b) { return (a == chosen) != (b == chosen) ? a == chosen : a->hint != b->hint ? b->hint : a->severity > b->severity; });
  for (const bool first : {true, false})
    for (const auto& [joint, all] : places) {
      const bool here = all.front() == chosen;
      const auto at = pointOf({Cast::character, joint});
      if (here != first || !at) continue;
      const bool grave = isGrave(*all.front());
      const QColor tone = grave ? c.flaw : c.warning;
      const double r = here ? 15 : 10;
      painter.setBrush(Qt::NoBrush);
      painter.setPen(QPen(c.selectionGap, 4));
      painter.drawEllipse(*at, r, r);
      painter.setPen(QPen(tone, 2.2, grave ? Qt::SolidLine : Qt::DashLine));
      painter.drawEllipse(*at, r, r);
      if (session_.playing()) continue;
      QStringList sizes;
      for (const Finding* finding : all) sizes << findingKindText(finding->kind) + QLatin1Char(' ') + measureText(*finding);
      sizes.removeDuplicates();
      if (!here) {
        paintLabel(painter, *at, sizes.join(QLatin1Char('\n')), tone, true);
        continue;
      }
      const QRectF card = paintLabel(painter, *at + QPointF(70, -90), boneText(all.front()->bones.front()) + QLatin1Char(' ') + sizes.join(QLatin1Char('\n')), tone);
      if (card.isEmpty()) continue;
      // From the ring's edge to the nearest point of the card.
      const QPointF to(std::clamp(at->x(), card.left(), card.right()), std::clamp(at->y(), card.top(), card.bottom()));
      const QPointF way = to - *at;
      const double l = std::hypot(way.x(), way.y());
      if (l <= r) continue;
      painter.setPen(QPen(tone, 1.4));
      painter.drawLine(*at + way * (r / l), to);
    }
}

void StageWidget::paintRings(QPainter& painter) {
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
}

// Who is who, at the feet.
void StageWidget::paintNames(QPainter& painter) {
  const Colours& c = colours();
  painter.setFont(Appearance::small());
  const QFontMetricsF metrics(painter.font());
  for (const Shown& shown : shown_) {
    const auto hips = static_cast<std::size_t>(shown.hips);
    if (hips >= shown.world.size() || view_ == View::top || session_.layout() == StageLayout::overlaid || aligning()) continue;
    const Vec3d at = apply(shown.placement, shown.world[hips].translation);
    const Projected p = project(camera_, width(), height(), Vec3d{at.x, 0, at.z});
    if (!p.visible) continue;
    QString who = shown.before ? tr("before") : session_.layout() == StageLayout::beforeAfter ? tr("after") : shown.cast == Cast::performer ? tr("performer") : tr("character");
    if (session_.layout() == StageLayout::twoTakes) {
      const int take = shown.other ? other_.index() : document_.reel().current;
      who = takeText(document_.reel(), take);
      if (shown.other && other_.evaluated()) who += tr(" · frame %1").arg(other_.frameAt(session_.frame(), session_.rate()) + other_.evaluated()->firstFrame);
    }
    const auto evaluated = document_.evaluated();
    if (shown.cast == Cast::performer && shown_.size() > 1 && evaluated && evaluated->report && std::abs(evaluated->report->stride - 1) > 0.005)
      who += tr(" · shown at %1 ×").arg(evaluated->report->stride, 0, 'f', 2);
    const double w = metrics.horizontalAdvance(who) + 16;
    QRectF box(p.x - w / 2, std::min(p.y + 14, height() - 24.0), w, 20);
    for (const QRectF& other : labels_)
      if (other.intersects(box)) box.moveTop(other.bottom() + 2);
    if (!QRectF(rect()).contains(box)) continue;
    labels_.push_back(box);
    QColor ground = c.panel;
    ground.setAlphaF(0.72F);
    painter.setPen(Qt::NoPen);
    painter.setBrush(ground);
    painter.drawRoundedRect(box, 10, 10);
    painter.setPen(shown.cast == Cast::performer ? c.performer : c.character);
    painter.drawText(box, Qt::AlignCenter, who);
  }
}

void StageWidget::paintMarks(QPainter& painter) {
  painter.setRenderHint(QPainter::Antialiasing);
  const Colours& c = colours();
  labels_.clear();
  if (!clear_.isEmpty()) labels_.push_back(clear_);
  const bool turning = drag_ == Drag::turnRing || drag_ == Drag::pullBone;
  paintRings(painter);
  paintHandles(painter);
  paintFindings(painter);
  if (turning && session_.selected() && aligning()) {
    const auto role = alignedRole(document_, dragJoint_);
    const auto at = pointOf(*session_.selected());
    if (role && at) {
      const Vec3d turn = alignmentOffset(document_.take(), *role) * (180 / std::numbers::pi);
      paintLabel(painter, *at + QPointF(50, -40), tr("%1 turned by %2°").arg(roleText(*role)).arg(length(turn), 0, 'f', 1) + QLatin1Char('\n') + tr("X %1°  Y %2°  Z %3°").arg(turn.x, 0, 'f', 1).arg(turn.y, 0, 'f', 1).arg(turn.z, 0, 'f', 1), c.key);
    }
  } else if (turning && session_.selected()) {
    const Nudge* nudge = findNudge(document_.take(), session_.repair());
    const Repair* offset = offsetOf(document_, session_.repair(), dragJoint_);
    const auto at = pointOf(*session_.selected());
    const auto evaluated = document_.evaluated();
    if (nudge && at && evaluated) paintLabel(painter, *at + QPointF(50, -40), tr("nudge  ") + nudgeText(*nudge) + QLatin1Char('\n') + nudgeSpanText(*nudge, *evaluated), c.key);
    if (offset && at && evaluated) paintLabel(painter, *at + QPointF(50, -40), kindText(*offset) + QStringLiteral("  ") + repairText(*offset) + QLatin1Char('\n') + spanText(*offset, *evaluated), c.character);
  } else if (hoveredProp_ != 0) {
    for (const PropItem& prop : *document_.take().props)
      if (prop.id == hoveredProp_) paintLabel(painter, last_, QString::fromStdString(prop.name) + QLatin1Char('\n') + tr("click: the path of this point"), c.character);
  } else if (const auto hovered = session_.hovered()) {
    const auto figure = document_.figure(hovered->cast);
    const auto at = pointOf(*hovered);
    if (figure && at) {
      const SkeletonMap& map = hovered->cast == Cast::performer ? document_.map().performer : document_.map().character;
      QString text = jointText(*figure, hovered->joint);
      if (const auto role = roleOf(map, hovered->joint); role && roleText(*role) != text) text += QLatin1Char('\n') + roleText(*role);
      paintLabel(painter, *at, text, hovered->cast == Cast::performer ? c.performer : c.character);
    }
  }
  paintNames(painter);
  if (drag_ == Drag::box && !clicked_) {
    QColor inside = c.selection;
    inside.setAlphaF(0.12F);
    painter.setBrush(inside);
    painter.setPen(QPen(c.selection, 1.2, Qt::DashLine));
    painter.drawRect(QRectF(pressed_, last_).normalized());
  }
  if (hasFocus()) {
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(c.performer, 1));
    painter.drawRect(QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5));
  }
  const auto* welcome = findChild<QWidget*>(QStringLiteral("welcome"), Qt::FindDirectChildrenOnly);
  if (scene_.figures.empty() && welcome && welcome->isVisible()) return;  // it says all there is to say
  if (scene_.figures.empty()) {
    painter.setFont(Appearance::title());
    painter.setPen(c.text);
    const QRectF middle(0, height() * 0.36, width(), 30);
    painter.drawText(middle, Qt::AlignCenter, tr("Drop a capture and a character here"));
    painter.setFont(Appearance::body());
    painter.setPen(c.dimText);
    painter.drawText(QRectF(16, middle.bottom() + 6, width() - 32, 60), Qt::AlignHCenter | Qt::AlignTop | Qt::TextWordWrap, tr("BVH or FBX motion · glTF, FBX or Collada character · or a reel"));
  } else if (aligning()) {
    const auto evaluated = document_.evaluated();
    const auto role = session_.selected() && session_.selected()->cast == Cast::character ? alignedRole(document_, session_.selected()->joint) : std::nullopt;
    paintLabel(painter, QPointF(0, height() - 4), !evaluated || !evaluated->report ? tr("Reference poses are compared once both figures have a bone map.")
               : role ? tr("Turn the ring until “%1” lies on the performer's line. Numbers are under Match.").arg(roleText(*role))
                      : tr("Both figures in their reference poses. Click a bone of the character to turn its role."), c.lamp);
  } else if (session_.layout() == StageLayout::twoTakes && other_.index() < 0) {
    paintLabel(painter, QPointF(0, height() - 4), tr("The reel has one take. Make another one, or audition clips, to see two side by side."), c.lamp);
  } else if (session_.picking()) {
    paintLabel(painter, QPointF(0, height() - 4), tr("Click a bone to fill the row “%1”. Ctrl+click adds to its chain. Esc ends.").arg(session_.role() ? roleText(*session_.role()) : tr("none")), c.lamp);
  }
}

}  // namespace understudy::editor
