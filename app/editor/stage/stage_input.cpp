// Mouse and keys of the stage, and what is painted over the picture while they are used.
#include <QKeyEvent>
#include <QMouseEvent>
#include <QPainter>
#include <QPainterPath>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/mapping.h"
#include "app/editor/document/nudging.h"
#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"

namespace understudy::editor {

void StageWidget::mousePressEvent(QMouseEvent* event) {
  pressed_ = last_ = event->position();
  clicked_ = true;
  pressedBone_.reset();
  const bool left = event->button() == Qt::LeftButton;
  if (event->button() == Qt::MiddleButton || (event->button() == Qt::RightButton) || (left && event->modifiers() & Qt::AltModifier)) {
    drag_ = event->button() == Qt::RightButton || event->modifiers() & Qt::AltModifier ? Drag::orbit : Drag::pan;
    if (event->modifiers() & Qt::ShiftModifier) drag_ = Drag::pan;
    return;
  }
  if (!left) return;
  const auto handle = session_.picking() ? std::nullopt : handleFrame();
  if (handle) {
    ring_ = ringAt(*handle, {camera_, static_cast<double>(width()), static_cast<double>(height())}, pressed_.x(), pressed_.y());
    if (ring_ >= 0) return beginTurn(Drag::turnRing, *handle, pressed_, {});
  }
  Vec3d where;
  pressedBone_ = boneAt(pressed_, &where);
  if (handle && pressedBone_ && pressedBone_ == session_.selected()) return beginTurn(Drag::pullBone, *handle, pressed_, where);
  drag_ = event->modifiers() & Qt::ShiftModifier ? Drag::pan : Drag::orbit;
}

void StageWidget::beginTurn(Drag drag, const HandleFrame& frame, QPointF point, const Vec3d& grabbed) {
  drag_ = drag;
  dragJoint_ = session_.selected()->joint;
  base_ = nudgeRotation(document_, dragJoint_, session_.frame());
  ++drags_;
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  if (drag == Drag::turnRing)
    turn_.beginRing(frame, sight, ring_, point.x(), point.y());
  else
    turn_.beginPull(frame, sight, grabbed, point.x(), point.y());
}

void StageWidget::continueTurn(QPointF point, Qt::KeyboardModifiers modifiers) {
  const Quatd turn = turn_.turnAt(point.x(), point.y(), modifiers & Qt::ShiftModifier);
  const int index = turnBone(document_, dragJoint_, session_.frame(), base_, turn, QStringLiteral("turn-%1").arg(drags_));
  if (index >= 0) session_.setRepair(index);
}

void StageWidget::mouseMoveEvent(QMouseEvent* event) {
  const QPointF point = event->position();
  if ((point - pressed_).manhattanLength() > 4) clicked_ = false;
  const QPointF by = point - last_;
  switch (drag_) {
    case Drag::none: {
      const auto handle = handleFrame();
      const int ring =
          handle ? ringAt(*handle, {camera_, static_cast<double>(width()), static_cast<double>(height())}, point.x(), point.y()) : -1;
      if (ring != hoveredRing_) {
        hoveredRing_ = ring;
        update();
      }
      session_.setHovered(ring >= 0 || session_.bare() ? std::nullopt : boneAt(point));
      setCursor(session_.picking() ? Qt::CrossCursor : ring >= 0 || (session_.hovered() && session_.hovered() == session_.selected()) ? Qt::OpenHandCursor : Qt::ArrowCursor);
      break;
    }
    case Drag::orbit:
      if (clicked_) break;
      camera_.orbit(-by.x() * 0.008, by.y() * 0.008);
      if (view_ != View::free) {
        view_ = View::free;
        camera_ = [&] {
          Camera c = camera_;
          const double yaw = c.yaw, pitch = c.pitch;
          c = turnedTo(c, View::free);
          c.yaw = yaw;
          c.pitch = pitch;
          return c;
        }();
        Q_EMIT viewChanged();
      }
      moving_ = true;
      idle_.start();
      update();
      break;
    case Drag::pan:
      camera_.pan(by.x(), by.y(), height());
      moving_ = true;
      idle_.start();
      update();
      break;
    case Drag::turnRing:
    case Drag::pullBone:
      if (!clicked_) continueTurn(point, event->modifiers());
      break;
  }
  last_ = point;
}

void StageWidget::mouseReleaseEvent(QMouseEvent* event) {
  const Drag was = drag_;
  drag_ = Drag::none;
  ring_ = -1;
  idle_.start();
  if (was == Drag::turnRing || was == Drag::pullBone) {
    document_.seal();
    update();
    return;
  }
  if (!clicked_ || event->button() != Qt::LeftButton || event->modifiers() & Qt::AltModifier) return;
  if (session_.picking() && session_.role()) {
    if (pressedBone_) assignRole(document_, pressedBone_->cast, *session_.role(), {pressedBone_->joint}, event->modifiers() & Qt::ControlModifier);
    return;
  }
  session_.select(pressedBone_);
}

void StageWidget::mouseDoubleClickEvent(QMouseEvent* event) {
  if (event->button() == Qt::LeftButton && boneAt(event->position())) frameSelection();
}

void StageWidget::wheelEvent(QWheelEvent* event) {
  camera_.zoom(std::pow(0.88, event->angleDelta().y() / 120.0));
  moving_ = true;
  idle_.start();
  update();
  event->accept();
}

void StageWidget::leaveEvent(QEvent*) {
  session_.setHovered({});
  hoveredRing_ = -1;
  update();
}

void StageWidget::keyPressEvent(QKeyEvent* event) {
  const double turn = 0.1;
  const bool alt = event->modifiers() & Qt::AltModifier;
  if (alt && event->key() == Qt::Key_Left) camera_.orbit(-turn, 0);
  else if (alt && event->key() == Qt::Key_Right) camera_.orbit(turn, 0);
  else if (alt && event->key() == Qt::Key_Up) camera_.orbit(0, turn);
  else if (alt && event->key() == Qt::Key_Down) camera_.orbit(0, -turn);
  else if (event->key() == Qt::Key_Plus || event->key() == Qt::Key_Equal) camera_.zoom(0.88);
  else if (event->key() == Qt::Key_Minus) camera_.zoom(1 / 0.88);
  else return QOpenGLWidget::keyPressEvent(event);
  moving_ = true;
  idle_.start();
  update();
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
  const auto label = [&](QPointF at, const QString& text, const QColor& bar) {
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
  };
  if (turning && session_.selected()) {
    const Nudge* nudge = nudgeAtIndex(document_, session_.repair());
    const auto at = pointOf(*session_.selected());
    const auto evaluated = document_.evaluated();
    if (nudge && at && evaluated) label(*at + QPointF(50, -40), tr("nudge  ") + nudgeText(*nudge) + QLatin1Char('\n') + nudgeSpanText(*nudge, *evaluated), c.key);
  } else if (const auto hovered = session_.hovered()) {
    const auto figure = document_.figure(hovered->cast);
    const auto at = pointOf(*hovered);
    if (figure && at) {
      const SkeletonMap& map = hovered->cast == Cast::performer ? document_.map().performer : document_.map().character;
      QString text = jointText(*figure, hovered->joint);
      if (const auto role = roleOf(map, hovered->joint)) text += QLatin1Char('\n') + roleText(*role);
      label(*at, text, hovered->cast == Cast::performer ? c.performer : c.character);
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
    label(QPointF(0, height() - 4), tr("Click a bone to fill the row “%1”. Ctrl+click adds to its chain. Esc ends.").arg(session_.role() ? roleText(*session_.role()) : tr("none")), c.lamp);
  }
}

}  // namespace understudy::editor
