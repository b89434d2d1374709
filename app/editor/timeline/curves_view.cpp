#include "app/editor/timeline/curves_view.h"

#include <QPainter>
#include <QPainterPath>
#include <algorithm>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"

namespace understudy::editor {
namespace {

constexpr double dotSize = 4.2, least = -1e4, most = 1e4;

}  // namespace

CurvesView::CurvesView(Document& document, Session& session, FrameScale& scale, QWidget* parent) : TrackView(document, session, scale, parent) {
  setAccessibleName(tr("Curves"));
  setToolTip(tr("Double-click sets a key; drag keys, handles, or a box around several"));
  setMouseTracking(true);
  connect(&session, &Session::selectionChanged, this, &CurvesView::refresh);
  connect(&document, &Document::evaluatedChanged, this, &CurvesView::refresh);
}

QStringList CurvesView::channelNames(Angles angles) {
  return angles == Angles::turns ? QStringList{tr("X"), tr("Y"), tr("Z")} : QStringList{tr("side"), tr("forward"), tr("twist")};
}

void CurvesView::setBones(std::vector<Bone> bones) {
  bones_ = std::move(bones);
  fitted_ = true;
  refresh();
}

void CurvesView::setAngles(Angles angles) {
  angles_ = angles;
  fitted_ = true;
  refresh();
}

void CurvesView::setChannel(int channel, bool shown) {
  shown_[static_cast<std::size_t>(channel)] = shown;
  if (!shown) std::erase_if(picked_, [&](const Dot& dot) { return dot.second == channel; });
  refresh();
}

void CurvesView::setBeforeShown(bool shown) {
  beforeShown_ = shown;
  update();
}

void CurvesView::fitValues() {
  fitted_ = true;
  refresh();
}

void CurvesView::showEvent(QShowEvent* event) {
  TrackView::showEvent(event);
  refresh();
}

void CurvesView::refresh() {
  if (!isVisible()) return;
  lines_.clear();
  std::vector<Bone> bones = bones_;
  if (bones.empty() && session_.selected()) bones = {*session_.selected()};
  const auto evaluated = document_.evaluated();
  for (const Bone& bone : bones) {
    const auto figure = document_.figure(bone.cast);
    if (!figure || !evaluated || bone.joint < 0 || bone.joint >= figure->skeleton.size()) continue;
    Line line{bone, {}, {}, {}};
    if (bone.cast == Cast::performer) {
      line.after = rotationCurves(figure->skeleton, evaluated->performer, bone.joint, angles_);
    } else {
      line.after = rotationCurves(figure->skeleton, evaluated->motion, bone.joint, angles_);
      line.keys = curveKeys(document_, bone.joint, angles_, line.after);
      // With keys the dashes are what they change, else what all repairs change.
      const TiledMotion& input = evaluated->stageInputs[static_cast<std::size_t>(RepairStage::late)];
      const bool late = !line.keys.empty() && input.frames() >= evaluated->trimFirst + evaluated->frames;
      line.before = rotationCurves(figure->skeleton, late ? input.view(evaluated->trimFirst, evaluated->frames) : evaluated->base, bone.joint, angles_);
    }
    if (!line.after[0].empty()) lines_.push_back(std::move(line));
  }
  std::erase_if(picked_, [&](const Dot& dot) { return keyOf(dot.first) == nullptr; });
  if (fitted_ && held_.empty()) {
    low_ = most, high_ = least;
    for (const Line& line : lines_)
      for (std::size_t i = 0; i < 3; ++i) {
        if (!shown_[i]) continue;
        for (const auto* curve : {&line.before[i], &line.after[i]})
          for (double v : *curve) low_ = std::min(low_, v), high_ = std::max(high_, v);
      }
    if (low_ > high_) low_ = -10, high_ = 10;
    const double room = std::max(4.0, (high_ - low_) * 0.1);
    low_ -= room;
    high_ += 1.8 * room;  // the numbers at the playhead stand above
  }
  update();
}

QRectF CurvesView::field() const { return QRectF(8, rulerHeight + 2, width() - 16, height() - rulerHeight - 4); }
double CurvesView::y(double degrees) const { return field().bottom() - (degrees - low_) / (high_ - low_) * field().height(); }
double CurvesView::value(double at) const { return low_ + (field().bottom() - at) / field().height() * (high_ - low_); }

const CurveKey* CurvesView::keyOf(std::uint64_t nudge) const {
  for (const Line& line : lines_)
    for (const CurveKey& key : line.keys)
      if (key.nudge == nudge) return &key;
  return nullptr;
}

std::vector<CurvesView::Dot> CurvesView::dots() const {
  std::vector<Dot> all;
  for (const Line& line : lines_)
    for (const CurveKey& key : line.keys)
      for (int i = 0; i < 3; ++i)
        if (shown_[static_cast<std::size_t>(i)]) all.emplace_back(key.nudge, i);
  return all;
}

std::optional<QPointF> CurvesView::pointOf(Dot dot, CurvePart part) const {
  for (const Line& line : lines_)
    for (const CurveKey& key : line.keys) {
      if (key.nudge != dot.first) continue;
      const auto i = static_cast<std::size_t>(dot.second);
      if (part == CurvePart::key) return QPointF(scale_.x(key.frame), y(key.value[i]));
      // A handle reaches a third of its ease, to where the curve would go if the change went on at its slope.
      const bool after = part == CurvePart::handleAfter;
      const double reach = std::max(1.0, (after ? key.after : key.before) / 3.0) * (after ? 1 : -1);
      return QPointF(scale_.x(key.frame + reach), y(key.value[i] + drift(dot, reach) + (after ? key.slopeAfter[i] : key.slopeBefore[i]) * reach));
    }
  return {};
}

double CurvesView::drift(Dot dot, double frames) const {
  for (const Line& line : lines_)
    for (const CurveKey& key : line.keys) {
      const auto& before = line.before[static_cast<std::size_t>(dot.second)];
      if (key.nudge != dot.first || before.empty()) continue;
      const int last = static_cast<int>(before.size()) - 1, ahead = key.frame + static_cast<int>(std::lround(frames));
      return before[static_cast<std::size_t>(std::clamp(ahead, 0, last))] - before[static_cast<std::size_t>(std::clamp(key.frame, 0, last))];
    }
  return 0;
}

QRectF CurvesView::box() const {
  if (picked_.size() < 2) return {};
  QRectF box;
  for (const Dot& dot : picked_)
    if (const auto p = pointOf(dot)) box = box.isNull() ? QRectF(*p, QSizeF(0.01, 0.01)) : box.united(QRectF(*p, QSizeF(0.01, 0.01)));
  return box.isNull() ? box : box.adjusted(-10, -10, 10, 10);
}

CurvesView::Hit CurvesView::hitAt(QPointF point) const {
  const auto near = [&](const std::optional<QPointF>& p, double reach) { return p && QLineF(*p, point).length() <= reach; };
  for (const Dot& dot : picked_)
    if (near(pointOf(dot), 9)) return {CurvePart::key, dot};
  if (picked_.size() <= 3)
    for (const Dot& dot : picked_)
      for (CurvePart part : {CurvePart::handleBefore, CurvePart::handleAfter})
        if (near(pointOf(dot, part), 10)) return {part, dot};
  if (const QRectF b = box(); !b.isNull()) {
    const QPointF c = b.center();
    const std::pair<CurvePart, QPointF> marks[] = {{CurvePart::boxLeft, {b.left(), c.y()}}, {CurvePart::boxRight, {b.right(), c.y()}},
                                                   {CurvePart::boxTop, {c.x(), b.top()}}, {CurvePart::boxBottom, {c.x(), b.bottom()}}};
    for (const auto& [part, mark] : marks)
      if (near(mark, 11)) return {part, {}};
  }
  for (const Dot& dot : dots())
    if (near(pointOf(dot), 9)) return {CurvePart::key, dot};
  return {};
}

void CurvesView::paintGrid(QPainter& painter, const QRectF& area) const {
  const Colours& c = colours();
  painter.setPen(Qt::NoPen);
  painter.setBrush(c.sunken);
  painter.drawRoundedRect(area, 3, 3);
  double step = 1;
  for (double s : {1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0, 360.0, 720.0}) {
    step = s;
    if (s / (high_ - low_) * area.height() >= 24) break;
  }
  painter.setFont(Appearance::small());
  for (double v = std::ceil(low_ / step) * step; v <= high_; v += step) {
    painter.setPen(QPen(c.line, std::abs(v) < 1e-6 ? 1.2 : 0.6));
    painter.drawLine(QPointF(area.left(), y(v)), QPointF(area.right(), y(v)));
    painter.setPen(c.dimText);
    if (y(v) - 14 > area.top()) painter.drawText(QPointF(14, y(v) - 2), QStringLiteral("%1°").arg(v));
  }
}

void CurvesView::paintLine(QPainter& painter, const Line& line, bool quiet) const {
  const Colours& c = colours();
  const QColor tones[] = {c.axisX, c.axisY, c.axisZ};
  const auto draw = [&](const std::vector<double>& curve, const QPen& pen) {
    if (curve.empty()) return;
    QPainterPath path;
    // One point a pixel is enough; every frame where they are further apart.
    const int stride = std::max(1, static_cast<int>(1 / std::max(1e-6, scale_.perFrame())));
    const int from = std::clamp(static_cast<int>(scale_.frame(0)) - stride, 0, static_cast<int>(curve.size()) - 1);
    const int to = std::clamp(static_cast<int>(scale_.frame(width())) + stride, 0, static_cast<int>(curve.size()) - 1);
    for (int f = from; f <= to; f += stride) {
      const QPointF point(scale_.x(f), y(curve[static_cast<std::size_t>(f)]));
      f == from ? path.moveTo(point) : path.lineTo(point);
    }
    painter.setBrush(Qt::NoBrush);
    painter.setPen(pen);
    painter.drawPath(path);
  };
  for (std::size_t i = 0; i < 3; ++i)
    if (shown_[i] && beforeShown_ && line.before[i] != line.after[i]) draw(line.before[i], QPen(tones[i], 1, Qt::DashLine));
  for (std::size_t i = 0; i < 3; ++i)
    if (shown_[i]) draw(line.after[i], QPen(tones[i], quiet ? 1.1 : 1.8));
}

void CurvesView::paintKeys(QPainter& painter) const {
  const Colours& c = colours();
  const QColor tones[] = {c.axisX, c.axisY, c.axisZ};
  if (picked_.size() <= 3)
    for (const Dot& dot : picked_)
      for (CurvePart part : {CurvePart::handleBefore, CurvePart::handleAfter}) {
        const auto from = pointOf(dot), to = pointOf(dot, part);
        if (!from || !to) continue;
        painter.setPen(QPen(c.text, 1));
        painter.drawLine(*from, *to);
        painter.setBrush(c.sunken);
        painter.drawEllipse(*to, 3.4, 3.4);
      }
  for (const Dot& dot : dots()) {
    const auto p = pointOf(dot);
    if (!p) continue;
    const bool picked = picked_.contains(dot);
    painter.setPen(QPen(picked ? c.selection : tones[dot.second], picked ? 2 : 1.4));
    painter.setBrush(picked ? tones[dot.second] : c.key);
    painter.drawEllipse(*p, picked ? dotSize + 1.4 : dotSize, picked ? dotSize + 1.4 : dotSize);
  }
  if (const QRectF b = box(); !b.isNull() && !boxing_) {
    painter.setBrush(Qt::NoBrush);
    painter.setPen(QPen(c.selection, 1, Qt::DotLine));
    painter.drawRect(b);
    painter.setPen(QPen(c.selectionGap, 1));
    painter.setBrush(c.selection);
    const QPointF m = b.center();
    for (const QPointF& mark : {QPointF(b.left(), m.y()), QPointF(b.right(), m.y()), QPointF(m.x(), b.top()), QPointF(m.x(), b.bottom())})
      painter.drawRect(QRectF(mark.x() - 4, mark.y() - 4, 8, 8));
  }
  if (boxing_) {
    painter.setPen(QPen(c.selection, 1, Qt::DashLine));
    painter.setBrush(Qt::NoBrush);
    painter.drawRect(QRectF(pressed_, at_).normalized());
  }
}

void CurvesView::paintReadout(QPainter& painter, const QRectF& area) const {
  const Colours& c = colours();
  const QColor tones[] = {c.axisX, c.axisY, c.axisZ};
  const Line& line = lines_.front();
  const QStringList names = channelNames(angles_);
  double x = area.right() - 4;
  const auto frame = static_cast<std::size_t>(session_.frame());
  painter.setFont(Appearance::small());
  for (std::size_t k = 3; k-- > 0;) {
    if (!shown_[k]) continue;
    const double v = frame < line.after[k].size() ? line.after[k][frame] : 0;
    const QString text = QStringLiteral("%1 %2°").arg(names[static_cast<int>(k)]).arg(v, 0, 'f', 1);
    const double w = QFontMetricsF(painter.font()).horizontalAdvance(text) + 12;
    x -= w;
    painter.fillRect(QRectF(x, area.top() + 2, w, 18), c.sunken);
    painter.setPen(tones[k]);
    painter.drawText(QRectF(x, area.top() + 2, w, 18), Qt::AlignCenter, text);
  }
  if (const auto figure = document_.figure(line.bone.cast)) {
    QString name = jointText(*figure, line.bone.joint);
    if (lines_.size() > 1) name += tr(" and %1 more").arg(lines_.size() - 1);
    const double w = QFontMetricsF(painter.font()).horizontalAdvance(name) + 16;
    x -= w;
    painter.fillRect(QRectF(x, area.top() + 2, w, 18), c.sunken);
    painter.setPen(line.bone.cast == Cast::performer ? c.performer : c.character);
    painter.drawText(QRectF(x, area.top() + 2, w, 18), Qt::AlignCenter, name);
  }
}

void CurvesView::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter painter(this);
  paintRuler(painter);
  painter.setRenderHint(QPainter::Antialiasing);
  const QRectF area = field();
  paintGrid(painter, area);
  if (lines_.empty()) {
    painter.setFont(Appearance::body());
    painter.setPen(c.dimText);
    painter.drawText(area, Qt::AlignCenter, tr("Select a bone in the stage or in the list to see how it turns"));
    paintPlayhead(painter);
    return;
  }
  painter.save();
  painter.setClipRect(area);
  for (std::size_t i = lines_.size(); i-- > 0;) paintLine(painter, lines_[i], i > 0);
  paintKeys(painter);
  painter.restore();
  paintReadout(painter, area);
  paintPlayhead(painter);
}

}  // namespace understudy::editor
