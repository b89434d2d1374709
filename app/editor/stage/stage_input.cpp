// Mouse and keys of the stage.
#include <QKeyEvent>
#include <QMouseEvent>
#include <cmath>

#include "app/editor/document/mapping.h"
#include "app/editor/document/nudging.h"
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
  if (const int at = session_.picking() ? -1 : handleAt(pressed_); at >= 0) {
    drag_ = Drag::handle;
    held_.emplace(document_, session_, handlesOf(document_, session_)[static_cast<std::size_t>(at)],
                  Sight{camera_, static_cast<double>(width()), static_cast<double>(height())}, shift(), pressed_.x(), pressed_.y(), ++drags_);
    return;
  }
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
  const bool offset = offsetOf(document_, session_.repair(), dragJoint_) != nullptr;
  base_ = offset ? offsetRotation(document_, session_.repair(), dragJoint_) : nudgeRotation(document_, dragJoint_, session_.frame());
  ++drags_;
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  if (drag == Drag::turnRing)
    turn_.beginRing(frame, sight, ring_, point.x(), point.y());
  else
    turn_.beginPull(frame, sight, grabbed, point.x(), point.y());
}

void StageWidget::continueTurn(QPointF point, Qt::KeyboardModifiers modifiers) {
  const Quatd turn = turn_.turnAt(point.x(), point.y(), modifiers & Qt::ShiftModifier);
  const QString key = QStringLiteral("turn-%1").arg(drags_);
  // A selected offset of this bone takes the turn; else it becomes a nudge of this frame.
  if (offsetOf(document_, session_.repair(), dragJoint_)) turnOffset(document_, session_.repair(), dragJoint_, base_, turn, key);
  else if (const auto id = turnBone(document_, dragJoint_, session_.frame(), base_, turn, key)) session_.setRepair(id);
}

void StageWidget::mouseMoveEvent(QMouseEvent* event) {
  const QPointF point = event->position();
  if ((point - pressed_).manhattanLength() > 4) clicked_ = false;
  const QPointF by = point - last_;
  switch (drag_) {
    case Drag::none: {
      const int held = session_.bare() ? -1 : handleAt(point);
      if (held != hoveredHandle_) {
        hoveredHandle_ = held;
        update();
      }
      const auto handle = handleFrame();
      const int ring =
          handle && held < 0 ? ringAt(*handle, {camera_, static_cast<double>(width()), static_cast<double>(height())}, point.x(), point.y()) : -1;
      if (ring != hoveredRing_) {
        hoveredRing_ = ring;
        update();
      }
      session_.setHovered(ring >= 0 || held >= 0 || session_.bare() ? std::nullopt : boneAt(point));
      setCursor(session_.picking() ? Qt::CrossCursor : held >= 0 ? Qt::SizeAllCursor : ring >= 0 || (session_.hovered() && session_.hovered() == session_.selected()) ? Qt::OpenHandCursor : Qt::ArrowCursor);
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
    case Drag::handle:
      if (held_ && !clicked_) {
        held_->moveTo(point.x(), point.y());
        update();
      }
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
  held_.reset();
  if (was == Drag::turnRing || was == Drag::pullBone || was == Drag::handle) {
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

int StageWidget::handleAt(QPointF point) const {
  if (session_.bare() || session_.playing()) return -1;
  const std::vector<StageHandle> handles = handlesOf(document_, session_);
  int best = -1;
  double nearest = 10;
  for (std::size_t i = 0; i < handles.size(); ++i)
    if (const auto at = pictureOf(handles[i].at))
      if (const double d = QLineF(*at, point).length(); d < nearest) nearest = d, best = static_cast<int>(i);
  return best;
}

void StageWidget::leaveEvent(QEvent*) {
  hoveredHandle_ = -1;
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

}  // namespace understudy::editor
