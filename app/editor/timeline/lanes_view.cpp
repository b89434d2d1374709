#include "app/editor/timeline/lanes_view.h"

#include <QHelpEvent>
#include <QMouseEvent>
#include <QPainter>
#include <QToolTip>
#include <algorithm>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/nudging.h"
#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

constexpr double tallest = 27, lowest = 24, reach = 6;

}  // namespace

LanesView::LanesView(Document& document, Session& session, FrameScale& scale, QWidget* parent) : TrackView(document, session, scale, parent) {
  setAccessibleName(tr("Lanes"));
  setMouseTracking(true);
  connect(&session, &Session::repairChanged, this, [this] {
    stale();
    reveal(session_.repair());
  });
  connect(&document, &Document::takeChanged, this, &LanesView::relayout);
  connect(&document, &Document::evaluatedChanged, this, [this] {
    // Lanes are laid out by the take; of its evaluation they need the length and rate only.
    const auto evaluated = document_.evaluated();
    if (!evaluated || laidOut_ != Length{evaluated->rate, evaluated->clipFrames, evaluated->trimFirst}) relayout();
  });
  connect(&scale, &FrameScale::changed, this, &LanesView::stale);
  connect(&document.findings(), &FindingsKeeper::changed, this, [this] {
    stale();
    Q_EMIT lanesChanged();
  });
  connect(&document.findings(), &FindingsKeeper::chosenChanged, this, &LanesView::stale);
  connect(&Appearance::instance(), &Appearance::changed, this, &LanesView::stale);
  relayout();
}

void LanesView::stale() {
  fresh_ = false;
  update();
}

void LanesView::relayout() {
  const auto evaluated = document_.evaluated();
  const std::size_t count = lanes_.size();
  laidOut_ = evaluated ? std::optional(Length{evaluated->rate, evaluated->clipFrames, evaluated->trimFirst}) : std::nullopt;
  lanes_ = evaluated ? lanesOf(document_.take(), *evaluated) : std::vector<Lane>{{LaneGroup::nudges, {}, 1}};
  scrollLanes(0);
  stale();
  if (count != lanes_.size()) Q_EMIT lanesChanged();
}

double LanesView::laneHeight() const {
  return std::clamp((height() - rulerHeight - 8.0 - stripHeight()) / std::max<double>(1, static_cast<double>(lanes_.size())), lowest, tallest);
}

double LanesView::stripHeight() const { return document_.findings().findings().empty() ? 0 : 24; }

std::string LanesView::findingAt(QPointF point) const {
  const auto evaluated = document_.evaluated();
  if (!evaluated || point.y() < rulerHeight + 4 || point.y() >= rulerHeight + 4 + stripHeight()) return {};
  // A block under the mouse comes before lines; of several the gravest, as it is drawn on top.
  const Finding* best = nullptr;
  double worth = -1;
  for (const Finding& finding : document_.findings().findings()) {
    if (finding.waved) continue;
    const double a = scale_.x(finding.span.first - evaluated->trimFirst) - 12, b = scale_.x(finding.span.last - evaluated->trimFirst) + 12;
    if (point.x() < a || point.x() > b) continue;
    // The nearest block within reach, else what lasts here; of equals the gravest.
    const double off = std::abs(point.x() - scale_.x(finding.worst - evaluated->trimFirst));
    const double value = finding.severity + (off < 5 ? 3 : off < 12 ? 2.5 - off / 12 : 0);
    if (value > worth) worth = value, best = &finding;
  }
  return best ? best->key : std::string();
}

QRectF LanesView::laneRect(std::size_t lane) const {
  return {0, lanesTop() - scrolled_ + static_cast<double>(lane) * laneHeight(), static_cast<double>(width()), laneHeight()};
}

double LanesView::lanesTop() const { return rulerHeight + 4 + stripHeight(); }

std::size_t LanesView::laneCount() const { return lanes_.size() + (stripHeight() > 0 ? 1 : 0); }

int LanesView::wantedHeight() const { return static_cast<int>(lanesTop() + lowest * static_cast<double>(lanes_.size()) + 4); }

void LanesView::scrollLanes(double by) {
  const double most = std::max(0.0, static_cast<double>(lanes_.size()) * laneHeight() - (height() - lanesTop() - 4));
  const double next = std::clamp(scrolled_ + by, 0.0, most);
  if (next == scrolled_) return;
  scrolled_ = next;
  stale();
  Q_EMIT lanesChanged();
}

// A lane whose repair is selected comes into sight.
void LanesView::reveal(std::uint64_t id) {
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane)
    for (const LaneBar& bar : lanes_[lane].bars)
      if (id != 0 && bar.id == id) {
        const QRectF rect = laneRect(lane);
        if (rect.top() < lanesTop()) return scrollLanes(rect.top() - lanesTop());
        if (rect.bottom() > height() - 4) return scrollLanes(rect.bottom() - height() + 4);
      }
}

QRectF LanesView::barRect(std::size_t lane, const LaneBar& bar) const {
  const QRectF rect = laneRect(lane);
  const double h = (rect.height() - 6) / lanes_[lane].rows, half = scale_.perFrame() / 2;
  const double left = scale_.x(bar.first) - half, right = scale_.x(bar.last) + half;
  return {left, rect.top() + 3 + bar.row * h, right - left, h - (lanes_[lane].rows > 1 ? 1 : 0)};
}

std::vector<LanesView::NamedLane> LanesView::names() const {
  std::vector<NamedLane> names;
  if (scale_.frames() <= 0) return names;
  if (stripHeight() > 0) names.push_back({tr("Findings"), QRectF(0, rulerHeight + 4, width(), stripHeight())});
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane)
    if (laneRect(lane).top() >= lanesTop() - 1 && laneRect(lane).bottom() <= height() + 1) names.push_back({laneName(lanes_[lane].group), laneRect(lane)});
  return names;
}

QPointF LanesView::pinOf(std::uint64_t nudge) const {
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane)
    for (const LaneBar& bar : lanes_[lane].bars)
      if (bar.id == nudge) return {scale_.x(bar.first), laneRect(lane).top() + 7};
  return {};
}

std::optional<QPointF> LanesView::gripOf(std::uint64_t repair, SpanPart part, int mark) const {
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane)
    for (const LaneBar& bar : lanes_[lane].bars) {
      if (bar.id != repair || bar.nudge) continue;
      const QRectF rect = barRect(lane, bar);
      const double y = rect.center().y(), half = scale_.perFrame() / 2;
      switch (part) {
        case SpanPart::first: return QPointF(rect.left(), y);
        case SpanPart::last: return QPointF(rect.right(), y);
        case SpanPart::easeBefore: return QPointF(scale_.x(bar.first - bar.before) - half, rect.bottom() - 1);
        case SpanPart::easeAfter: return QPointF(scale_.x(bar.last + bar.after) + half, rect.bottom() - 1);
        case SpanPart::mark:
          if (mark > 0 && mark < static_cast<int>(bar.phases.size())) return QPointF(scale_.x(bar.phases[static_cast<std::size_t>(mark)].first) - half, y);
          return {};
        case SpanPart::release: return bar.release >= 0 ? std::optional(QPointF(scale_.x(bar.release) - half, rect.top() + 1)) : std::nullopt;
        default: return rect.center();
      }
    }
  return {};
}

LaneHit LanesView::hitAt(QPointF point) const {
  LaneHit best;
  double nearest = 1e9;
  for (std::size_t lane = 0; lane < lanes_.size(); ++lane) {
    const QRectF strip = laneRect(lane);
    if (point.y() < strip.top() || point.y() >= strip.bottom() || point.y() < lanesTop()) continue;
    for (const LaneBar& bar : lanes_[lane].bars) {
      if (bar.holder || bar.lock) continue;
      const bool selected = bar.id == session_.repair();
      const auto offer = [&](double distance, SpanPart part, int mark = -1) {
        if (selected) distance -= 2;  // what is selected comes first
        if (distance < nearest) nearest = distance, best = {bar.id, bar.nudge, part, mark};
      };
      if (bar.nudge) {
        if (const double d = std::abs(scale_.x(bar.first) - point.x()); d < 12) offer(d, SpanPart::body);
        continue;
      }
      const QRectF rect = barRect(lane, bar);
      const double half = scale_.perFrame() / 2;
      const double a = scale_.x(bar.first - bar.before) - half, b = scale_.x(bar.last + bar.after) + half;
      if (point.x() < a - reach || point.x() > b + reach) continue;
      const double below = point.y() < rect.top() - 1 || point.y() > rect.bottom() + 1 ? 30 : 0;  // another row
      if (!bar.whole) {
        const bool foot = point.y() > rect.bottom() - 5;
        // From inside as far as the bar has room for, so that its middle can still be taken.
        const double inner = std::clamp(rect.width() / 4, 2.0, 2 * reach);
        if (const double d = std::abs(point.x() - rect.left()); d <= (point.x() > rect.left() ? inner : reach)) offer(std::min(d, reach) + below, SpanPart::first);
        if (const double d = std::abs(point.x() - rect.right()); d <= (point.x() < rect.right() ? inner : reach)) offer(std::min(d, reach) + below, SpanPart::last);
        // Eases are taken at their foot, so that they never hide the edges of a bar.
        if (selected || foot) {
          if (const double d = std::abs(point.x() - a); d <= reach && bar.before > 0) offer(d + below + (foot ? -1 : 1), SpanPart::easeBefore);
          if (const double d = std::abs(point.x() - b); d <= reach && bar.after > 0) offer(d + below + (foot ? -1 : 1), SpanPart::easeAfter);
        }
        for (int m = 1; m < static_cast<int>(bar.phases.size()); ++m)
          if (const double d = std::abs(scale_.x(bar.phases[static_cast<std::size_t>(m)].first) - half - point.x()); d <= reach - 1 && rect.width() > 16) offer(d + below + 0.5, SpanPart::mark, m);
        if (bar.release >= 0 && point.y() < rect.top() + 5)
          if (const double d = std::abs(scale_.x(bar.release) - half - point.x()); d <= reach) offer(d + below - 1, SpanPart::release);
      }
      if (point.x() >= rect.left() && point.x() <= rect.right()) offer(reach + 1 + below + std::min(3.0, rect.width() / 1000), SpanPart::body);
      else if (point.x() >= a && point.x() <= b) offer(reach + 4 + below, SpanPart::body);
    }
  }
  return best;
}

void LanesView::paintEvent(QPaintEvent*) {
  const qreal ratio = devicePixelRatioF();
  const QSize pixels = size() * ratio;
  if (!fresh_ || picture_.size() != pixels) {
    // Lanes are drawn once and kept: a moving playhead does not draw hundreds of bars again.
    picture_ = QPixmap(pixels);
    picture_.setDevicePixelRatio(ratio);
    picture_.fill(Qt::transparent);
    QPainter painter(&picture_);
    painter.setClipRect(QRectF(0, rulerHeight, width(), height()));
    paintLanes(painter);
    fresh_ = true;
  }
  QPainter painter(this);
  paintRuler(painter);
  painter.drawPixmap(0, 0, picture_);
  paintPlayhead(painter);
}

void LanesView::resizeEvent(QResizeEvent* event) {
  TrackView::resizeEvent(event);
  scrollLanes(0);
  stale();
  Q_EMIT lanesChanged();
}

void LanesView::mousePressEvent(QMouseEvent* event) {
  if (event->button() == Qt::LeftButton)
    if (const std::string key = findingAt(event->position()); !key.empty()) {
      Q_EMIT findingAsked(QString::fromStdString(key));
      return;
    }
  held_ = event->button() == Qt::LeftButton ? hitAt(event->position()) : LaneHit{};
  moved_ = false;
  if (held_.id == 0) return TrackView::mousePressEvent(event);
  document_.hold();
  session_.setRepair(held_.id);
  pressedX_ = event->position().x();
  grabbed_ = scale_.nearest(pressedX_);
  ++drags_;
  base_.reset();
  if (held_.nudge) {
    session_.setFrame(frameOfItem(document_, held_.id));
  } else if (const Repair* repair = findRepair(document_.take(), held_.id)) {
    base_ = *repair;
    if (const auto bone = boneOfItem(document_, held_.id)) session_.select(bone);
    if (held_.part != SpanPart::body) session_.setFrame(grabbed_);
  }
}

void LanesView::mouseMoveEvent(QMouseEvent* event) {
  const QPointF point = event->position();
  if (held_.id == 0) {
    const LaneHit hit = scrubbing_ || scrolling_ ? LaneHit{} : hitAt(point);
    setCursor(hit.id == 0 ? Qt::ArrowCursor : hit.part == SpanPart::body && !hit.nudge ? Qt::OpenHandCursor : Qt::SizeHorCursor);
    return TrackView::mouseMoveEvent(event);
  }
  const auto evaluated = document_.evaluated();
  const int frame = scale_.nearest(point.x());
  if (!evaluated || (!moved_ && std::abs(point.x() - pressedX_) < std::max(2.0, scale_.perFrame() / 2))) return;
  moved_ = true;
  const QString key = QStringLiteral("lane-%1").arg(drags_);
  if (held_.nudge) {
    moveNudge(document_, held_.id, frame, key);
    session_.setFrame(frame);
  } else if (base_) {
    const int by = evaluated->trimFirst;
    // Edges lie between frames: the last frame is the one left of its edge.
    const int at = held_.part == SpanPart::last || held_.part == SpanPart::easeAfter ? static_cast<int>(std::lround(scale_.frame(point.x()) - 0.5))
                   : held_.part == SpanPart::body ? frame
                                                  : static_cast<int>(std::lround(scale_.frame(point.x()) + 0.5));
    const Repair next = draggedSpan(*base_, held_.part, held_.mark, grabbed_ + by, at + by, evaluated->rate, evaluated->clipFrames);
    changeItem(document_, next, tr("Change %1").arg(kindText(next)), key);
    if (held_.part != SpanPart::body) session_.setFrame(std::clamp(at, 0, std::max(0, evaluated->frames - 1)));
  }
}

void LanesView::mouseReleaseEvent(QMouseEvent* event) {
  if (held_.id != 0) {
    document_.seal();
    if (!moved_ && !held_.nudge && held_.part == SpanPart::body) session_.setFrame(grabbed_);
  }
  held_ = {};
  base_.reset();
  TrackView::mouseReleaseEvent(event);
}

bool LanesView::event(QEvent* event) {
  if (event->type() == QEvent::ToolTip) {
    const auto* help = static_cast<QHelpEvent*>(event);
    const LaneHit hit = hitAt(help->pos());
    const auto evaluated = document_.evaluated();
    const Nudge* nudge = findNudge(document_.take(), hit.id);
    const Repair* repair = findRepair(document_.take(), hit.id);
    QString text;
    if (const Finding* finding = document_.findings().find(findingAt(help->pos()))) text = QString::fromStdString(finding->sentence);
    if (nudge && evaluated) text = nudgeText(*nudge) + QLatin1Char('\n') + nudgeSpanText(*nudge, *evaluated);
    if (repair && evaluated) text = kindText(*repair) + QStringLiteral("  ") + repairText(*repair) + QLatin1Char('\n') + spanText(*repair, *evaluated);
    if (text.isEmpty())
      QToolTip::hideText();
    else
      QToolTip::showText(help->globalPos(), text, this);
    return true;
  }
  return TrackView::event(event);
}

void LanesView::wheelEvent(QWheelEvent* event) {
  if (!(event->modifiers() & Qt::ControlModifier)) return TrackView::wheelEvent(event);
  scrollLanes(-event->angleDelta().y() / 120.0 * laneHeight());
  event->accept();
}

void LanesView::keyPressEvent(QKeyEvent* event) {
  if (event->key() == Qt::Key_PageDown) scrollLanes(laneHeight() * 2);
  else if (event->key() == Qt::Key_PageUp) scrollLanes(-laneHeight() * 2);
  else TrackView::keyPressEvent(event);
}

}  // namespace understudy::editor
