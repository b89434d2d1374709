#include "app/editor/timeline/markers_row.h"

#include <QKeyEvent>
#include <QLineEdit>
#include <QMouseEvent>
#include <QPainter>
#include <algorithm>
#include <cmath>

#include "app/editor/document/marking.h"
#include "app/editor/look/appearance.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

constexpr int tall = 26;

}  // namespace

MarkersRow::MarkersRow(Document& document, Session& session, FrameScale& scale, QWidget* parent) : QWidget(parent), document_(document), session_(session), scale_(scale) {
  setFixedHeight(tall);
  setMouseTracking(true);
  setFocusPolicy(Qt::StrongFocus);
  setAccessibleName(tr("Markers"));
  setAccessibleDescription(tr("Arrow keys go to the marker before and after; with Alt they move it; Return names it"));
  setToolTip(tr("Drag a marker to move it, click it twice to name it"));
  name_ = new QLineEdit(this);
  name_->setObjectName(QStringLiteral("markerName"));
  name_->setAccessibleName(tr("Name of the marker"));
  name_->setPlaceholderText(tr("name"));
  name_->hide();
  name_->installEventFilter(this);
  connect(&document, &Document::takeChanged, this, &MarkersRow::refresh);
  connect(&document, &Document::evaluatedChanged, this, &MarkersRow::refresh);
  connect(&session, &Session::frameChanged, this, [this] { update(); });
  connect(&scale, &FrameScale::changed, this, [this] { update(); });
  connect(&Appearance::instance(), &Appearance::changed, this, [this] { update(); });
  refresh();
}

void MarkersRow::refresh() {
  const bool any = document_.evaluated() && !document_.take().markers->empty();
  if (any == isHidden()) {
    setVisible(any);
    Q_EMIT shownChanged();
  }
  if (!findMarker(document_.take(), asked_)) name_->hide();
  update();
}

// From the left; a name that would run into the next pole is cut there.
std::vector<MarkersRow::Flag> MarkersRow::flags() const {
  std::vector<Flag> all;
  const auto evaluated = document_.evaluated();
  if (!evaluated) return all;
  const QFontMetricsF metrics(Appearance::small());
  for (const Marker& marker : *document_.take().markers) {
    Flag flag{marker.id, frameOf(*evaluated, marker), markerText(marker), {}};
    flag.box = QRectF(scale_.x(flag.frame), 2, metrics.horizontalAdvance(flag.text) + 14, tall - 4);
    if (!all.empty()) all.back().box.setRight(std::max(all.back().box.left() + 6, std::min(all.back().box.right(), flag.box.left() - 2)));
    all.push_back(flag);
  }
  return all;
}

QRectF MarkersRow::flagOf(std::uint64_t marker) const {
  for (const Flag& flag : flags())
    if (flag.id == marker) return flag.box;
  return {};
}

std::uint64_t MarkersRow::at(QPointF point) const {
  std::uint64_t best = 0;
  for (const Flag& flag : flags())
    if (flag.box.adjusted(-6, -4, 2, 4).contains(point)) best = flag.id;
  return best;
}

void MarkersRow::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter p(this);
  p.setRenderHint(QPainter::Antialiasing);
  p.fillRect(rect(), c.panel);
  p.setFont(Appearance::small());
  const QFontMetricsF metrics(p.font());
  for (const Flag& flag : flags()) {
    const QRectF& box = flag.box;
    if (box.right() < 0 || box.left() > width()) continue;
    const bool here = flag.frame == session_.frame();
    p.setPen(Qt::NoPen);
    p.setBrush(here ? c.picked : c.card);
    // A burgee: square at its pole, pointed where the wind takes it.
    const double tip = std::min(7.0, box.width() / 2);
    p.drawPolygon(QPolygonF{box.topLeft(), QPointF(box.right() - tip, box.top()), QPointF(box.right(), box.center().y()), QPointF(box.right() - tip, box.bottom()), box.bottomLeft()});
    p.setPen(QPen(c.performer, 2));
    p.drawLine(box.topLeft(), QPointF(box.left(), height()));
    if (here && hasFocus()) {
      p.setPen(QPen(c.selection, 1.4));
      p.setBrush(Qt::NoBrush);
      p.drawRoundedRect(box.adjusted(0.5, 0.5, -0.5, -0.5), 2, 2);
    }
    const double room = std::min(box.right(), static_cast<double>(width())) - box.left() - 10;
    if (room < 10) continue;
    p.setPen(c.text);
    p.drawText(box.adjusted(6, 0, 0, 0), Qt::AlignVCenter | Qt::AlignLeft, room + 4 < metrics.horizontalAdvance(flag.text) ? metrics.elidedText(flag.text, Qt::ElideRight, room) : flag.text);
  }
  if (hasFocus()) {
    p.setPen(QPen(c.performer, 1));
    p.setBrush(Qt::NoBrush);
    p.drawRoundedRect(QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5), 3, 3);
  }
}

void MarkersRow::markHere() {
  if (const std::uint64_t id = ensureMarker(document_, session_.frame())) ask(id);
}

void MarkersRow::removeHere() {
  if (const Marker* marker = markerAt(document_, session_.frame())) removeMarker(document_, marker->id);
}

void MarkersRow::moveHere(int by) {
  if (const Marker* marker = markerAt(document_, session_.frame())) session_.setFrame(moveMarker(document_, marker->id, session_.frame() + by, QStringLiteral("marker-by-key")));
}

void MarkersRow::step(int by) {
  const auto evaluated = document_.evaluated();
  if (const Marker* marker = markerBeside(document_, session_.frame(), by)) session_.setFrame(frameOf(*evaluated, *marker));
}

void MarkersRow::ask(std::uint64_t id) {
  const Marker* marker = findMarker(document_.take(), id);
  if (!marker) return;
  asked_ = id;
  const QRectF box = flagOf(id);
  const int wide = 150;
  name_->setGeometry(std::clamp(static_cast<int>(box.left()), 0, std::max(0, width() - wide)), 1, wide, tall - 2);
  name_->setText(QString::fromStdString(marker->name));
  name_->show();
  name_->setFocus();
  name_->selectAll();
}

void MarkersRow::answered(bool taken) {
  if (!name_->isVisible()) return;
  const QString text = name_->text();
  name_->hide();
  setFocus();
  if (taken) nameMarker(document_, asked_, text);
}

void MarkersRow::mousePressEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton) return;
  held_ = at(event->position());
  ++drags_;
  const Marker* marker = findMarker(document_.take(), held_);
  session_.setFrame(marker ? frameOf(*document_.evaluated(), *marker) : scale_.nearest(event->position().x()));
}

void MarkersRow::mouseMoveEvent(QMouseEvent* event) {
  if (!(event->buttons() & Qt::LeftButton)) return setCursor(at(event->position()) ? Qt::SizeHorCursor : Qt::ArrowCursor);
  const int frame = scale_.nearest(event->position().x());
  session_.setFrame(held_ ? moveMarker(document_, held_, frame, QStringLiteral("marker-%1").arg(drags_)) : frame);
}

void MarkersRow::mouseReleaseEvent(QMouseEvent*) {
  if (held_) document_.seal();
  held_ = 0;
}

void MarkersRow::mouseDoubleClickEvent(QMouseEvent* event) {
  if (const std::uint64_t id = at(event->position())) ask(id);
}

void MarkersRow::keyPressEvent(QKeyEvent* event) {
  const bool alt = event->modifiers() & Qt::AltModifier;
  const int by = event->key() == Qt::Key_Left ? -1 : event->key() == Qt::Key_Right ? 1 : 0;
  if (by != 0) alt ? moveHere(by) : step(by);
  else if (event->key() == Qt::Key_Return || event->key() == Qt::Key_Enter) markHere();
  else if (event->key() == Qt::Key_Delete) removeHere();
  else QWidget::keyPressEvent(event);
}

void MarkersRow::focusInEvent(QFocusEvent* event) {
  QWidget::focusInEvent(event);
  update();
}
void MarkersRow::focusOutEvent(QFocusEvent* event) {
  QWidget::focusOutEvent(event);
  update();
}

// With the focus here arrows and Delete are the markers' own.
bool MarkersRow::event(QEvent* event) {
  if (event->type() == QEvent::ShortcutOverride) {
    const auto* key = static_cast<QKeyEvent*>(event);
    const bool plain = (key->modifiers() & ~(Qt::KeypadModifier | Qt::AltModifier)) == Qt::NoModifier;
    for (const int mine : {Qt::Key_Left, Qt::Key_Right, Qt::Key_Delete, Qt::Key_Return, Qt::Key_Enter})
      if (plain && key->key() == mine) {
        event->accept();
        return true;
      }
  }
  return QWidget::event(event);
}

bool MarkersRow::eventFilter(QObject* watched, QEvent* event) {
  if (watched == name_ && (event->type() == QEvent::ShortcutOverride || event->type() == QEvent::KeyPress)) {
    const int key = static_cast<QKeyEvent*>(event)->key();
    const bool enter = key == Qt::Key_Return || key == Qt::Key_Enter;
    if (enter || key == Qt::Key_Escape) {
      event->accept();
      if (event->type() == QEvent::KeyPress) answered(enter);
      return true;
    }
  }
  // Clicked elsewhere: what was typed is meant.
  if (watched == name_ && event->type() == QEvent::FocusOut && static_cast<QFocusEvent*>(event)->reason() != Qt::ActiveWindowFocusReason && name_->isVisible()) {
    const QString text = name_->text();
    name_->hide();
    nameMarker(document_, asked_, text);
  }
  return QWidget::eventFilter(watched, event);
}

}  // namespace understudy::editor
