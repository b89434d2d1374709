// Hands on the curves: keys, handles and boxes under the mouse, and the same by keyboard.
#include <QKeyEvent>
#include <QMouseEvent>
#include <QWheelEvent>
#include <algorithm>
#include <cmath>

#include "app/editor/timeline/curves_view.h"
#include "core/take/edits.h"

namespace understudy::editor {

void CurvesView::pick(std::set<Dot> dots) {
  if (picked_ == dots) return;
  picked_ = std::move(dots);
  Q_EMIT pickedChanged();
  update();
}

std::vector<std::uint64_t> CurvesView::pickedKeys() const {
  std::vector<std::uint64_t> keys;
  for (const Dot& dot : picked_)
    if (keys.empty() || keys.back() != dot.first) keys.push_back(dot.first);
  return keys;
}

std::vector<CurvesView::Held> CurvesView::held() const {
  std::vector<Held> all;
  for (std::uint64_t nudge : pickedKeys()) {
    const CurveKey* key = keyOf(nudge);
    const auto one = key ? holdKey(document_, *key) : std::nullopt;
    if (!one) continue;
    Held entry{*one, {}};
    for (int i = 0; i < 3; ++i) entry.channels[static_cast<std::size_t>(i)] = picked_.contains({nudge, i});
    all.push_back(std::move(entry));
  }
  return all;
}

void CurvesView::mousePressEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton || event->position().y() < rulerHeight) return TrackView::mousePressEvent(event);
  pressed_ = at_ = last_ = event->position();
  moved_ = false;
  ++drags_;
  hit_ = hitAt(pressed_);
  const bool more = event->modifiers() & (Qt::ControlModifier | Qt::ShiftModifier);
  if (hit_.part == CurvePart::none) {
    boxing_ = true;
    if (!more) pick({});
    return;
  }
  if (hit_.part == CurvePart::key && !picked_.contains(hit_.dot)) {
    std::set<Dot> next = more ? picked_ : std::set<Dot>{};
    next.insert(hit_.dot);
    pick(std::move(next));
  }
  boxBefore_ = box();
  held_ = held();
  if (!held_.empty()) document_.hold();
}

void CurvesView::mouseMoveEvent(QMouseEvent* event) {
  at_ = event->position();
  if (boxing_) return update();
  if (held_.empty()) {
    if (event->buttons() == Qt::NoButton) {
      const CurvePart part = hitAt(at_).part;
      setCursor(part == CurvePart::boxLeft || part == CurvePart::boxRight ? Qt::SizeHorCursor
                : part == CurvePart::boxTop || part == CurvePart::boxBottom ? Qt::SizeVerCursor
                : part == CurvePart::none ? Qt::ArrowCursor : Qt::PointingHandCursor);
    }
    return TrackView::mouseMoveEvent(event);
  }
  if (!moved_ && QLineF(pressed_, at_).length() < 3) return;
  moved_ = true;
  if (hit_.part >= CurvePart::boxLeft) scaleTo(at_);
  else dragTo(at_, event->modifiers() & Qt::ShiftModifier);
}

void CurvesView::dragTo(QPointF point, bool straight) {
  const auto character = document_.figure(Cast::character);
  const auto evaluated = document_.evaluated();
  if (!character || !evaluated) return;
  const QString merge = QStringLiteral("curves-%1").arg(drags_);
  if (hit_.part != CurvePart::key) {
    const auto at = std::find_if(held_.begin(), held_.end(), [&](const Held& h) { return h.key.key.nudge == hit_.dot.first; });
    if (at == held_.end()) return;
    const CurveKey& key = at->key.key;
    const bool after = hit_.part == CurvePart::handleAfter;
    const int reach = std::max(1, static_cast<int>(std::lround(std::abs(scale_.frame(point.x()) - key.frame) * 3)));
    // The slope that puts the handle under the mouse: it stands at a third of the ease.
    const double third = std::max(1.0, reach / 3.0) * (after ? 1 : -1);
    const double slope = (value(point.y()) - key.value[static_cast<std::size_t>(hit_.dot.second)] - drift(hit_.dot, third)) / third;
    Nudge next = withSlope(at->key, character->skeleton, hit_.dot.second, slope, after, !straight, angles_, evaluated->rate);
    (after ? next.easeAfter : next.easeBefore) = evaluated->rate.seconds(reach);
    return changeKeys(document_, tr("Bend curve"), {next}, merge);
  }
  double degrees = value(point.y()) - value(pressed_.y());
  int frames = static_cast<int>(std::lround(scale_.frame(point.x()) - scale_.frame(pressed_.x())));
  const bool along = std::abs(point.x() - pressed_.x()) > std::abs(point.y() - pressed_.y());
  if (straight && along) degrees = 0;
  if (straight && !along) frames = 0;
  shift(held_, degrees, frames, merge);
}

void CurvesView::scaleTo(QPointF point) {
  const auto character = document_.figure(Cast::character);
  const auto evaluated = document_.evaluated();
  if (!character || !evaluated) return;
  // The frame stands ten pixels outside the dots.
  const QRectF inner = boxBefore_.adjusted(10, 10, -10, -10);
  const bool time = hit_.part == CurvePart::boxLeft || hit_.part == CurvePart::boxRight;
  const double fixed = hit_.part == CurvePart::boxLeft ? inner.right() : hit_.part == CurvePart::boxRight ? inner.left()
                       : hit_.part == CurvePart::boxTop ? inner.bottom() : inner.top();
  const double moving = hit_.part == CurvePart::boxLeft ? inner.left() : hit_.part == CurvePart::boxRight ? inner.right()
                        : hit_.part == CurvePart::boxTop ? inner.top() : inner.bottom();
  const double shift = time ? point.x() - pressed_.x() : point.y() - pressed_.y();
  if (std::abs(moving - fixed) < 1) return;
  const double factor = (moving + shift - fixed) / (moving - fixed);
  std::vector<Nudge> changed;
  std::set<std::pair<int, int>> taken;  // joint and frame: two keys never meet
  for (const Held& h : held_) {
    Nudge next = h.key.nudge;
    if (time) {
      const double pivot = scale_.frame(fixed);
      const int frame = std::clamp(static_cast<int>(std::lround(pivot + (h.key.key.frame - pivot) * factor)), 0, evaluated->frames - 1);
      if (!taken.insert({h.key.key.joint, frame}).second) return;
      next.time = evaluated->rate.seconds(evaluated->trimFirst + frame);
      for (NudgeSlope& slope : next.slopes)
        if (std::abs(factor) > 0.02) slope = {slope.joint, slope.before / factor, slope.after / factor};
    } else {
      const double pivot = value(fixed);
      Triple wanted = h.key.key.value;
      for (std::size_t i = 0; i < 3; ++i)
        if (h.channels[i]) wanted[i] = pivot + (wanted[i] - pivot) * factor;
      next = withValue(h.key, character->skeleton, wanted, angles_);
    }
    changed.push_back(std::move(next));
  }
  changeKeys(document_, time ? tr("Stretch keys") : tr("Scale keys"), changed, QStringLiteral("curves-%1").arg(drags_));
}

void CurvesView::mouseReleaseEvent(QMouseEvent* event) {
  if (boxing_) {
    boxing_ = false;
    const QRectF area = QRectF(pressed_, event->position()).normalized();
    if (area.width() < 4 && area.height() < 4) {
      session_.setFrame(scale_.nearest(event->position().x()));
    } else {
      std::set<Dot> inside = event->modifiers() & (Qt::ControlModifier | Qt::ShiftModifier) ? picked_ : std::set<Dot>{};
      for (const Dot& dot : dots())
        if (const auto p = pointOf(dot); p && area.contains(*p)) inside.insert(dot);
      pick(std::move(inside));
    }
    update();
  } else if (!held_.empty()) {
    held_.clear();
    document_.seal();
    refresh();
  }
  hit_ = {};
  TrackView::mouseReleaseEvent(event);
}

void CurvesView::mouseDoubleClickEvent(QMouseEvent* event) {
  if (event->position().y() < rulerHeight || hitAt(event->position()).part != CurvePart::none) return;
  session_.setFrame(scale_.nearest(event->position().x()));
  keyHere();
}

void CurvesView::wheelEvent(QWheelEvent* event) {
  if (!(event->modifiers() & Qt::ControlModifier)) return TrackView::wheelEvent(event);
  const double factor = std::pow(0.85, event->angleDelta().y() / 120.0), pivot = value(event->position().y());
  if ((high_ - low_) * factor < 1 || (high_ - low_) * factor > 4000) return event->accept();
  low_ = pivot + (low_ - pivot) * factor;
  high_ = pivot + (high_ - pivot) * factor;
  fitted_ = false;
  update();
  event->accept();
}

void CurvesView::keyHere() {
  for (const Line& line : lines_) {
    if (line.bone.cast != Cast::character) continue;
    const std::uint64_t id = addKey(document_, line.bone.joint, session_.frame());
    std::set<Dot> next;
    for (int i = 0; i < 3; ++i)
      if (shown_[static_cast<std::size_t>(i)]) next.insert({id, i});
    picked_ = std::move(next);
    Q_EMIT pickedChanged();
    return;
  }
}

void CurvesView::pickAll() {
  const auto all = dots();
  pick({all.begin(), all.end()});
}

void CurvesView::removePicked() {
  if (!picked_.empty()) removeKeys(document_, pickedKeys());
}

void CurvesView::level() { levelKeys(document_, pickedKeys()); }
void CurvesView::smooth() { smoothKeys(document_, pickedKeys()); }

void CurvesView::shiftPicked(double degrees, int frames, const QString& mergeKey) { shift(held(), degrees, frames, mergeKey); }

void CurvesView::shift(const std::vector<Held>& keys, double degrees, int frames, const QString& mergeKey) {
  const auto character = document_.figure(Cast::character);
  const auto evaluated = document_.evaluated();
  if (!character || !evaluated) return;
  std::vector<Nudge> changed;
  for (const Held& h : keys) {
    Triple wanted = h.key.key.value;
    for (std::size_t i = 0; i < 3; ++i)
      if (h.channels[i]) wanted[i] += degrees;
    Nudge next = degrees == 0 ? h.key.nudge : withValue(h.key, character->skeleton, wanted, angles_);
    const int frame = std::clamp(h.key.key.frame + frames, 0, evaluated->frames - 1);
    if (frame != h.key.key.frame) next.time = evaluated->rate.seconds(evaluated->trimFirst + frame);
    changed.push_back(std::move(next));
  }
  changeKeys(document_, tr("Move keys"), changed, mergeKey);
}

bool CurvesView::event(QEvent* event) {
  if (event->type() == QEvent::ShortcutOverride) {
    // With keys picked, these act on them and not on the window.
    const auto* key = static_cast<QKeyEvent*>(event);
    const bool own = key->key() == Qt::Key_Up || key->key() == Qt::Key_Down || key->key() == Qt::Key_Delete ||
                     (key->modifiers() & Qt::AltModifier && (key->key() == Qt::Key_Left || key->key() == Qt::Key_Right));
    if ((own && !picked_.empty()) || (key->key() == Qt::Key_A && key->modifiers() & Qt::ControlModifier)) {
      event->accept();
      return true;
    }
  }
  return TrackView::event(event);
}

void CurvesView::keyPressEvent(QKeyEvent* event) {
  const QString merge = QStringLiteral("curve-keys");
  const double size = event->modifiers() & Qt::ShiftModifier ? 10 : 1;
  switch (event->key()) {
    case Qt::Key_Up: return shiftPicked(size, 0, merge);
    case Qt::Key_Down: return shiftPicked(-size, 0, merge);
    case Qt::Key_Left: return shiftPicked(0, -1, merge);
    case Qt::Key_Right: return shiftPicked(0, 1, merge);
    case Qt::Key_Delete: return removePicked();
    case Qt::Key_A: return pickAll();
    default: TrackView::keyPressEvent(event);
  }
}

}  // namespace understudy::editor
