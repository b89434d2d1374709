// Mouse and keys of the stage.
#include <QKeyEvent>
#include <QMouseEvent>
#include <cmath>

#include "app/editor/document/aligning.h"
#include "app/editor/document/mapping.h"
#include "app/editor/document/nudging.h"
#include "app/editor/stage/stage_number.h"
#include "app/editor/stage/stage_widget.h"

namespace understudy::editor {
namespace {

constexpr double turnStep = 5 * 0.017453292519943295;  // radians, with Ctrl
constexpr double moveStep = 0.01;                      // metres, with Ctrl

}  // namespace

void StageWidget::mousePressEvent(QMouseEvent* event) {
  pressed_ = last_ = event->position();
  clicked_ = true;
  pressedOn_.reset();
  number_->hide();
  const bool left = event->button() == Qt::LeftButton;
  if (event->button() == Qt::MiddleButton || (event->button() == Qt::RightButton) || (left && event->modifiers() & Qt::AltModifier)) {
    drag_ = event->button() == Qt::RightButton || event->modifiers() & Qt::AltModifier ? Drag::orbit : Drag::pan;
    if (event->modifiers() & Qt::ShiftModifier) drag_ = Drag::pan;
    return;
  }
  if (!left) return;
  if (const int at = session_.picking() ? -1 : handleAt(pressed_); at >= 0) {
    drag_ = Drag::handle;
    document_.hold();
    held_.emplace(document_, session_, handles()[static_cast<std::size_t>(at)], Sight{camera_, static_cast<double>(width()), static_cast<double>(height())}, shift(), pressed_.x(),
                  pressed_.y(), ++drags_);
    return;
  }
  const auto handle = session_.picking() ? std::nullopt : handleFrame();
  if (handle) {
    ring_ = ringAt(*handle, {camera_, static_cast<double>(width()), static_cast<double>(height())}, pressed_.x(), pressed_.y());
    if (ring_ >= 0) return beginTurn(Drag::turnRing, *handle, pressed_, {});
  }
  pressedOn_ = under(pressed_);
  const bool more = event->modifiers() & Qt::ControlModifier;
  if (handle && !more && pressedOn_->bone && pressedOn_->bone == session_.selected()) return beginTurn(Drag::pullBone, *handle, pressed_, pressedOn_->where);
  drag_ = event->modifiers() & Qt::ShiftModifier ? Drag::pan : more && !session_.picking() ? Drag::box : Drag::orbit;
}

void StageWidget::beginTurn(Drag drag, const HandleFrame& frame, QPointF point, const Vec3d& grabbed) {
  drag_ = drag;
  document_.hold();
  dragJoint_ = session_.selected()->joint;
  base_ = turnedSoFar();
  ++drags_;
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  if (drag == Drag::turnRing)
    turn_.beginRing(frame, sight, ring_, point.x(), point.y());
  else
    turn_.beginPull(frame, sight, grabbed, point.x(), point.y());
}

void StageWidget::continueTurn(QPointF point, Qt::KeyboardModifiers modifiers) {
  takeTurn(turn_.turnAt(point.x(), point.y(), modifiers & Qt::ShiftModifier, modifiers & Qt::ControlModifier ? turnStep : 0));
}

Vec3d StageWidget::turnedSoFar() const {
  if (aligning()) {
    const auto role = alignedRole(document_, dragJoint_);
    return role ? alignmentOffset(document_.take(), *role) : Vec3d{};
  }
  const bool offset = offsetOf(document_, session_.repair(), dragJoint_) != nullptr;
  return offset ? offsetRotation(document_, session_.repair(), dragJoint_) : nudgeRotation(document_, dragJoint_, session_.frame());
}

void StageWidget::takeTurn(const Quatd& turn) {
  const QString key = QStringLiteral("turn-%1").arg(drags_);
  if (aligning()) {
    if (const auto role = alignedRole(document_, dragJoint_)) turnRole(document_, *role, base_, turn, key);
    // The picture need not wait for the whole clip.
    stale_ = true;
    update();
  } else if (offsetOf(document_, session_.repair(), dragJoint_)) {
    // A selected offset of this bone takes the turn; else it becomes a nudge of this frame.
    turnOffset(document_, session_.repair(), dragJoint_, base_, turn, key);
  } else if (const auto id = turnBone(document_, dragJoint_, session_.frame(), base_, turn, key)) {
    session_.setRepair(id);
  }
}

void StageWidget::hover(QPointF point) {
  const int held = session_.bare() ? -1 : handleAt(point);
  const auto handle = handleFrame();
  const int ring = handle && held < 0 ? ringAt(*handle, {camera_, static_cast<double>(width()), static_cast<double>(height())}, point.x(), point.y()) : -1;
  const Under on = ring >= 0 || held >= 0 || session_.bare() ? Under{} : under(point);
  if (held != hoveredHandle_ || ring != hoveredRing_ || on.prop != hoveredProp_) update();
  hoveredHandle_ = held;
  hoveredRing_ = ring;
  hoveredProp_ = on.prop;
  hoveredMesh_ = on.mesh;
  if (on.mesh < 0 && !options_.meshes.empty() && pickable_ > 0) {
    PickSettings through;
    through.skeletons = false;
    through.through = true;
    Scene solid;
    solid.figures.assign(scene_.figures.begin(), scene_.figures.begin() + static_cast<std::ptrdiff_t>(std::min(shown_.size(), scene_.figures.size())));
    if (const auto hit = pick(solid, camera_, width(), height(), point.x(), point.y(), through, &picks_); hit && hit->figure >= 0 && shown_[static_cast<std::size_t>(hit->figure)].cast == Cast::character)
      hoveredMesh_ = hit->mesh;
  }
  session_.setHovered(on.bone);
  setCursor(session_.picking() ? Qt::CrossCursor : held >= 0 ? Qt::SizeAllCursor : ring >= 0 || (session_.hovered() && session_.hovered() == session_.selected()) ? Qt::OpenHandCursor : Qt::ArrowCursor);
}

void StageWidget::dragTo(QPointF point, Qt::KeyboardModifiers modifiers) {
  const QPointF by = point - last_;
  const auto moved = [this] {
    moving_ = true;
    idle_.start();
    update();
  };
  switch (drag_) {
    case Drag::none: break;
    case Drag::orbit:
      if (clicked_) break;
      camera_.orbit(-by.x() * 0.008, by.y() * 0.008);
      if (view_ != View::free) {
        left_[static_cast<std::size_t>(view_)].reset();
        view_ = View::free;
        const double yaw = camera_.yaw, pitch = camera_.pitch;
        camera_ = turnedTo(camera_, View::free);
        camera_.yaw = yaw;
        camera_.pitch = pitch;
        Q_EMIT viewChanged();
      }
      moved();
      break;
    case Drag::pan:
      camera_.pan(by.x(), by.y(), height());
      moved();
      break;
    case Drag::handle:
      if (held_ && !clicked_) {
        held_->moveTo(point.x(), point.y(), modifiers & Qt::ControlModifier ? moveStep : 0);
        update();
      }
      break;
    case Drag::box: update(); break;
    case Drag::turnRing:
    case Drag::pullBone:
      if (!clicked_) continueTurn(point, modifiers);
      break;
  }
}

void StageWidget::mouseMoveEvent(QMouseEvent* event) {
  const QPointF point = event->position();
  if ((point - pressed_).manhattanLength() > 4) clicked_ = false;
  drag_ == Drag::none ? hover(point) : dragTo(point, event->modifiers());
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
    // A click with Ctrl on a handle is meant for the bone under it.
    if (clicked_ && event->modifiers() & Qt::ControlModifier && event->button() == Qt::LeftButton)
      if (const auto bone = boneAt(pressed_)) session_.toggle(*bone);
    return;
  }
  if (was == Drag::box && !clicked_) {
    session_.selectAll(bonesIn(QRectF(pressed_, event->position()).normalized()));
    update();
    return;
  }
  if (!clicked_ || event->button() != Qt::LeftButton || event->modifiers() & Qt::AltModifier || !pressedOn_) return;
  if (session_.picking() && session_.role()) {
    if (const auto& bone = pressedOn_->bone) assignRole(document_, bone->cast, *session_.role(), {bone->joint}, event->modifiers() & Qt::ControlModifier);
    return;
  }
  if (was == Drag::box) {
    if (pressedOn_->bone) session_.toggle(*pressedOn_->bone);
    return;
  }
  // A point of a prop can have its path shown, and be followed.
  chosenProp_ = pressedOn_->prop;
  chosenPoint_ = pressedOn_->propPoint;
  stale_ = true;
  session_.select(pressedOn_->bone);
  update();
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

std::vector<StageHandle> StageWidget::handles() const {
  if (aligning()) return {};
  std::vector<StageHandle> all = handlesOf(document_, session_);
  const auto frame = handleFrame();
  if (!frame) return all;
  for (std::size_t i = 0, n = all.size(); i < n; ++i)
    for (const StageHandle& arrow : arrowsOf(all[i], frame->axes.value_or(frame->rotation), frame->radius * 1.55)) all.push_back(arrow);
  return all;
}

std::optional<QPointF> StageWidget::ringPoint(int ring) const {
  const auto frame = handleFrame();
  if (!frame) return {};
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  const RingLine line = ringLine(*frame, sight, ring);
  for (std::size_t i = 0; i < line.points.size(); ++i) {
    const QPointF at(line.points[i].x, line.points[i].y);
    if (line.front[i] && line.points[i].visible && ringAt(*frame, sight, at.x(), at.y()) == ring && handleAt(at) < 0 && rect().contains(at.toPoint())) return at;
  }
  return {};
}

int StageWidget::handleAt(QPointF point) const {
  if (session_.bare() || session_.playing()) return -1;
  const std::vector<StageHandle> all = handles();
  int best = -1;
  double nearest = 12;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (const auto at = pictureOf(all[i].number < 0 ? all[i].at : all[i].tip))
      if (const double d = QLineF(*at, point).length(); d < nearest) nearest = d, best = static_cast<int>(i);
  return best;
}

// A number typed while the mouse is on a ring or an arrow, and entered.
void StageWidget::typed(double value) {
  const Sight sight{camera_, static_cast<double>(width()), static_cast<double>(height())};
  if (numberHandle_) {
    const auto at = pictureOf(numberHandle_->at).value_or(QPointF());
    HandleDrag drag(document_, session_, *numberHandle_, sight, shift(), at.x(), at.y(), ++drags_);
    drag.moveBy(numberHandle_->axis * (value / 1000));
  } else if (const auto frame = handleFrame(); frame && numberRing_ >= 0) {
    dragJoint_ = session_.selected()->joint;
    base_ = turnedSoFar();
    ++drags_;
    takeTurn(TurnDrag::turnBy(*frame, sight, numberRing_, value * 0.017453292519943295));
  }
  document_.seal();
}

bool StageWidget::event(QEvent* event) {
  // On a ring or an arrow digits are a number, not a view.
  if (event->type() == QEvent::ShortcutOverride && !session_.bare()) {
    auto* key = static_cast<QKeyEvent*>(event);
    const bool sign = key->text().size() == 1 && (key->text()[0].isDigit() || key->text() == QLatin1String("-") || key->text() == QLatin1String("."));
    const std::vector<StageHandle> all = hoveredHandle_ >= 0 ? handles() : std::vector<StageHandle>{};
    const bool arrow = hoveredHandle_ >= 0 && hoveredHandle_ < static_cast<int>(all.size()) && all[static_cast<std::size_t>(hoveredHandle_)].number >= 0;
    if (sign && (hoveredRing_ >= 0 || arrow)) {
      event->accept();
      return true;
    }
  }
  return QWidget::event(event);
}

void StageWidget::focusInEvent(QFocusEvent* event) {
  QWidget::focusInEvent(event);
  update();
}
void StageWidget::focusOutEvent(QFocusEvent* event) {
  QWidget::focusOutEvent(event);
  update();
}

void StageWidget::leaveEvent(QEvent*) {
  hoveredHandle_ = hoveredMesh_ = hoveredRing_ = -1;
  hoveredProp_ = 0;
  session_.setHovered({});
  update();
}

void StageWidget::keyPressEvent(QKeyEvent* event) {
  const QString text = event->text();
  if (text.size() == 1 && (text[0].isDigit() || text == QLatin1String("-") || text == QLatin1String(".")) && (hoveredRing_ >= 0 || hoveredHandle_ >= 0)) {
    const std::vector<StageHandle> all = handles();
    numberRing_ = hoveredRing_;
    numberHandle_.reset();
    if (hoveredHandle_ >= 0 && hoveredHandle_ < static_cast<int>(all.size()) && all[static_cast<std::size_t>(hoveredHandle_)].number >= 0) numberHandle_ = all[static_cast<std::size_t>(hoveredHandle_)];
    const QString axes[] = {tr("X"), tr("Y"), tr("Z"), tr("line of sight")};
    if (numberHandle_) return number_->ask(last_.toPoint() + QPoint(18, -14), text, tr("along %1, millimetres").arg(axes[numberHandle_->number]));
    if (numberRing_ >= 0) return number_->ask(last_.toPoint() + QPoint(18, -14), text, tr("about %1, degrees").arg(axes[numberRing_]));
  }
  const double turn = 0.1;
  const bool alt = event->modifiers() & Qt::AltModifier;
  if (alt && event->key() == Qt::Key_Left) camera_.orbit(-turn, 0);
  else if (alt && event->key() == Qt::Key_Right) camera_.orbit(turn, 0);
  else if (alt && event->key() == Qt::Key_Up) camera_.orbit(0, turn);
  else if (alt && event->key() == Qt::Key_Down) camera_.orbit(0, -turn);
  else if (event->key() == Qt::Key_Plus || event->key() == Qt::Key_Equal) camera_.zoom(0.88);
  else if (event->key() == Qt::Key_Minus) camera_.zoom(1 / 0.88);
  else return QWidget::keyPressEvent(event);
  moving_ = true;
  idle_.start();
  update();
}

}  // namespace understudy::editor
