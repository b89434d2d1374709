#include "app/editor/timeline/curves_view.h"

#include <QPainter>
#include <QPainterPath>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"

namespace understudy::editor {

std::array<std::vector<double>, 3> rotationCurves(const Skeleton& skeleton, const TiledMotion& motion, int joint) {
  std::array<std::vector<double>, 3> curves;
  if (joint < 0 || joint >= motion.joints()) return curves;
  for (auto& curve : curves) curve.resize(static_cast<std::size_t>(motion.frames()));
  const Quatd rest = skeleton.rest[static_cast<std::size_t>(joint)].rotation;
  constexpr double degrees = 180 / std::numbers::pi;
  for (int f = 0; f < motion.frames(); ++f) {
    const Mat3d m = toMatrix(normalised(conjugate(rest) * Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(joint)])));
    // Row and column entries of Rx(a) Ry(b) Rz(c).
    std::array<double, 3> angles{std::atan2(-m.cz.y, m.cz.z) * degrees, std::asin(std::clamp(m.cz.x, -1.0, 1.0)) * degrees,
                                 std::atan2(-m.cy.x, m.cx.x) * degrees};
    if (f > 0) {
      const auto previous = [&](std::size_t i) { return curves[i][static_cast<std::size_t>(f) - 1]; };
      const auto near = [](double angle, double reference) { return angle + 360 * std::round((reference - angle) / 360); };
      // (a, b, c) and (a + 180, 180 − b, c + 180) are one rotation; the one nearer to the frame before is taken.
      const std::array<double, 3> other{angles[0] + 180, 180 - angles[1], angles[2] + 180};
      double direct = 0, around = 0;
      std::array<double, 3> a{}, b{};
      for (std::size_t i = 0; i < 3; ++i) {
        a[i] = near(angles[i], previous(i));
        b[i] = near(other[i], previous(i));
        direct += std::abs(a[i] - previous(i));
        around += std::abs(b[i] - previous(i));
      }
      angles = direct <= around ? a : b;
    }
    for (std::size_t i = 0; i < 3; ++i) curves[i][static_cast<std::size_t>(f)] = angles[i];
  }
  return curves;
}

CurvesView::CurvesView(Document& document, Session& session, FrameScale& scale, QWidget* parent) : TrackView(document, session, scale, parent) {
  setAccessibleName(tr("Curves"));
  connect(&session, &Session::selectionChanged, this, &CurvesView::refresh);
  connect(&document, &Document::evaluatedChanged, this, &CurvesView::refresh);
}

void CurvesView::showEvent(QShowEvent*) { refresh(); }

void CurvesView::refresh() {
  if (!isVisible()) return;
  before_ = after_ = {};
  const auto bone = session_.selected();
  const auto evaluated = document_.evaluated();
  if (bone && evaluated) {
    if (const auto figure = document_.figure(bone->cast)) {
      if (bone->cast == Cast::performer) {
        after_ = rotationCurves(figure->skeleton, evaluated->performer, bone->joint);
      } else {
        before_ = rotationCurves(figure->skeleton, evaluated->base, bone->joint);
        after_ = rotationCurves(figure->skeleton, evaluated->motion, bone->joint);
      }
    }
  }
  low_ = 1e9;
  high_ = -1e9;
  for (const auto* set : {&before_, &after_})
    for (const auto& curve : *set)
      for (double v : curve) low_ = std::min(low_, v), high_ = std::max(high_, v);
  if (low_ > high_) low_ = -10, high_ = 10;
  const double room = std::max(4.0, (high_ - low_) * 0.08);
  low_ -= room;
  high_ += room;
  update();
}

void CurvesView::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter painter(this);
  paintRuler(painter);
  painter.setRenderHint(QPainter::Antialiasing);
  const QRectF field(0, rulerHeight + 4, width(), height() - rulerHeight - 8);
  painter.setPen(Qt::NoPen);
  painter.setBrush(c.sunken);
  painter.drawRoundedRect(field.adjusted(8, 0, -8, 0), 3, 3);
  const auto y = [&](double degrees) { return field.bottom() - (degrees - low_) / (high_ - low_) * field.height(); };
  if (after_[0].empty()) {
    painter.setFont(Appearance::body());
    painter.setPen(c.dimText);
    painter.drawText(field, Qt::AlignCenter, tr("Select a bone to see how it turns"));
    paintPlayhead(painter);
    return;
  }
  painter.setFont(Appearance::small());
  double step = 1;
  for (double s : {5.0, 10.0, 15.0, 30.0, 45.0, 90.0, 180.0, 360.0, 720.0}) {
    step = s;
    if (s / (high_ - low_) * field.height() >= 22) break;
  }
  painter.setClipRect(field.adjusted(8, 0, -8, 0));
  for (double v = std::ceil(low_ / step) * step; v <= high_; v += step) {
    painter.setPen(QPen(c.line, std::abs(v) < 1e-6 ? 1.2 : 0.6));
    painter.drawLine(QPointF(8, y(v)), QPointF(width() - 8, y(v)));
    painter.setPen(c.dimText);
    painter.drawText(QPointF(14, y(v) - 2), QStringLiteral("%1°").arg(v));
  }
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
      if (f == from)
        path.moveTo(point);
      else
        path.lineTo(point);
    }
    painter.setBrush(Qt::NoBrush);
    painter.setPen(pen);
    painter.drawPath(path);
  };
  for (std::size_t i = 0; i < 3; ++i)
    if (before_[i] != after_[i]) draw(before_[i], QPen(tones[i], 1, Qt::DashLine));
  for (std::size_t i = 0; i < 3; ++i) draw(after_[i], QPen(tones[i], 1.7));
  painter.setClipping(false);
  double x = width() - 20;
  const auto frame = static_cast<std::size_t>(session_.frame());
  for (std::size_t k = 3; k-- > 0;) {
    const double value = frame < after_[k].size() ? after_[k][frame] : 0;
    const QString text = QStringLiteral("%1 %2°").arg(QLatin1Char("XYZ"[k])).arg(value, 0, 'f', 1);
    const double w = QFontMetricsF(painter.font()).horizontalAdvance(text) + 12;
    x -= w;
    painter.setPen(Qt::NoPen);
    painter.setBrush(c.sunken);
    painter.drawRect(QRectF(x, field.top() + 3, w, 18));
    painter.setPen(tones[k]);
    painter.drawText(QRectF(x, field.top() + 3, w, 18), Qt::AlignCenter, text);
  }
  paintPlayhead(painter);
}

}  // namespace understudy::editor
