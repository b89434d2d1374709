#include "tests/editor/quality_checks.h"

#include <QAbstractButton>
#include <QAbstractItemView>
#include <QAbstractSlider>
#include <QAbstractSpinBox>
#include <QAccessible>
#include <QApplication>
#include <QComboBox>
#include <QHeaderView>
#include <QImage>
#include <QLabel>
#include <QLineEdit>
#include <QMenu>
#include <QMenuBar>
#include <QPaintEngine>
#include <QPainter>
#include <QScrollArea>
#include <QScrollBar>
#include <QTabBar>
#include <QTest>
#include <QTextBrowser>
#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/track_view.h"

namespace understudy::editor {
namespace {

/// Takes note of texts and leaves all else.
class Notes : public QPaintEngine {
 public:
  Notes() : QPaintEngine(AllFeatures) {}
  bool begin(QPaintDevice*) override { return true; }
  bool end() override { return true; }
  void updateState(const QPaintEngineState&) override {}
  void drawPixmap(const QRectF&, const QPixmap&, const QRectF&) override {}
  void drawImage(const QRectF&, const QImage&, const QRectF&, Qt::ImageConversionFlags) override {}
  void drawPath(const QPainterPath&) override {}
  void drawPolygon(const QPointF*, int, PolygonDrawMode) override {}
  Type type() const override { return User; }
  void drawTextItem(const QPointF& at, const QTextItem& item) override {
    if (item.text().trimmed().isEmpty()) return;
    const QFontMetricsF metrics(item.font());
    QRectF ink = metrics.tightBoundingRect(item.text());
    PaintedText painted;
    painted.text = item.text();
    painted.box = painter()->transform().mapRect(ink.translated(at));
    painted.colour = painter()->pen().color();
    painted.room = QRectF(-1e6, -1e6, 2e6, 2e6);
    if (painter()->hasClipping()) painted.room = painter()->transform().mapRect(painter()->clipBoundingRect());
    texts.push_back(painted);
  }
  std::vector<PaintedText> texts;
};

class Notebook : public QPaintDevice {
 public:
  explicit Notebook(QSize size) : size_(size) {}
  QPaintEngine* paintEngine() const override { return &notes; }
  mutable Notes notes;

 protected:
  int metric(PaintDeviceMetric metric) const override {
    switch (metric) {
      case PdmWidth: return size_.width();
      case PdmHeight: return size_.height();
      case PdmWidthMM: return size_.width() / 4;
      case PdmHeightMM: return size_.height() / 4;
      case PdmDpiX:
      case PdmDpiY:
      case PdmPhysicalDpiX:
      case PdmPhysicalDpiY: return 96;
      case PdmDepth: return 32;
      case PdmNumColors: return 1 << 24;
      case PdmDevicePixelRatioScaled: return static_cast<int>(devicePixelRatioFScale());
      default: return 1;
    }
  }

 private:
  QSize size_;
};

QString nameOf(const QWidget* widget) {
  QStringList names;
  for (const QWidget* w = widget; w && names.size() < 3; w = w->parentWidget()) {
    QString name = QString::fromLatin1(w->metaObject()->className()).section(QStringLiteral("::"), -1);
    if (!w->objectName().isEmpty()) name += QLatin1Char('#') + w->objectName();
    names.prepend(name);
  }
  return names.join(QLatin1Char('/'));
}

bool scrolls(const QWidget* widget) {
  const auto* area = qobject_cast<const QAbstractScrollArea*>(widget->parentWidget());
  return area && area->viewport() == widget;
}

std::vector<QWidget*> visibleIn(QWidget& window) {
  std::vector<QWidget*> all{&window};
  for (QWidget* child : window.findChildren<QWidget*>())
    if (child->isVisible() && child->window() == &window) all.push_back(child);
  return all;
}

/// The colour most of a part of a picture has.
QColor groundOf(const QImage& picture, const QRectF& part) {
  const double ratio = picture.devicePixelRatio();
  const QRect box = QRectF(part.topLeft() * ratio, part.size() * ratio).toAlignedRect().intersected(picture.rect());
  std::unordered_map<QRgb, int> counts;
  for (int y = box.top(); y <= box.bottom(); ++y) {
    const auto* row = reinterpret_cast<const QRgb*>(picture.constScanLine(y));
    for (int x = box.left(); x <= box.right(); ++x) ++counts[row[x] & 0xfcfcfc];
  }
  QRgb most = 0;
  int best = -1;
  for (const auto& [colour, count] : counts)
    if (count > best || (count == best && colour < most)) best = count, most = colour;
  return QColor(qRed(most), qGreen(most), qBlue(most));
}

QColor over(const QColor& top, const QColor& ground) {
  const double a = top.alphaF();
  return QColor::fromRgbF(static_cast<float>(top.redF() * a + ground.redF() * (1 - a)), static_cast<float>(top.greenF() * a + ground.greenF() * (1 - a)),
                          static_cast<float>(top.blueF() * a + ground.blueF() * (1 - a)));
}

/// Something the mouse acts on.
bool isTarget(const QWidget* w) {
  if (qobject_cast<const QScrollBar*>(w)) return false;
  if (qobject_cast<const QAbstractButton*>(w)) return !qobject_cast<const QTabBar*>(w->parentWidget());
  if (qobject_cast<const QLineEdit*>(w)) return !qobject_cast<const QAbstractSpinBox*>(w->parentWidget()) && !qobject_cast<const QComboBox*>(w->parentWidget());
  return qobject_cast<const QComboBox*>(w) || qobject_cast<const QAbstractSpinBox*>(w) || qobject_cast<const QAbstractSlider*>(w) || qobject_cast<const QTabBar*>(w) ||
         (qobject_cast<const QAbstractItemView*>(w) && !qobject_cast<const QHeaderView*>(w)) || qobject_cast<const TrackView*>(w) || qobject_cast<const StageWidget*>(w);
}

}  // namespace

QString LongWords::translate(const char*, const char* source, const char*, int) const {
  const QString text = QString::fromUtf8(source);
  const bool key = text.size() <= 1 || text.startsWith(QLatin1String("Ctrl+")) || text.startsWith(QLatin1String("Shift+")) || text.startsWith(QLatin1String("Alt+")) ||
                   text == QLatin1String("Backspace");
  QString result = text;
  if (!key && more_ > 0) {
    // Longer words, not longer sentences alone: the last word before a bracket or an ellipsis grows.
    const auto letters = std::count_if(text.begin(), text.end(), [](QChar c) { return c.isLetter(); });
    const auto extra = static_cast<qsizetype>(std::ceil(static_cast<double>(letters) * more_));
    qsizetype at = text.size();
    if (const auto bracket = text.indexOf(QLatin1String("  (")); bracket > 0) at = bracket;
    else if (text.endsWith(QChar(0x2026))) at = text.size() - 1;
    QString filler;
    while (filler.size() < extra) filler += filler.size() % 7 == 6 ? QLatin1Char(' ') : QLatin1Char("mintab"[filler.size() % 6]);
    result.insert(at, filler);
  }
  given_.insert(result);
  return result;
}

bool LongWords::gave(const QString& text) const {
  return std::any_of(given_.begin(), given_.end(), [plain = QString(text).remove(QLatin1Char('&'))](QString given) { return given.remove(QLatin1Char('&')) == plain; });
}

bool LongWords::begins(const QString& text) const {
  const QString stem = text.section(QChar(0x2026), 0, 0).trimmed();
  return stem.size() > 3 && std::any_of(given_.begin(), given_.end(), [&](const QString& given) { return given.startsWith(stem); });
}

std::vector<PaintedText> textsOf(QWidget& window) {
  std::vector<PaintedText> all;
  for (QWidget* widget : visibleIn(window)) {
    Notebook book(widget->size());
    if (auto* stage = qobject_cast<StageWidget*>(widget)) {
      QPainter painter(&book);
      stage->paintMarks(painter);
    } else {
      widget->render(&book, QPoint(), QRegion(), QWidget::RenderFlags{});
    }
    const QPoint by = widget->mapTo(&window, QPoint());
    for (PaintedText text : book.notes.texts) {
      text.widget = widget;
      text.room = text.room.intersected(QRectF(widget->rect())).translated(by);
      text.box.translate(by);
      all.push_back(text);
    }
  }
  return all;
}

QStringList flawsOfTexts(QWidget& window, const QImage& picture, const LongWords& words, const QualitySettings& settings) {
  QStringList flaws;
  std::vector<PaintedText> texts = textsOf(window), seen;
  for (const PaintedText& text : texts) {
    const auto say = [&](const QString& what) { flaws << QStringLiteral("%1: “%2” in %3").arg(what, text.text, nameOf(text.widget)); };
    // What is scrolled out of a list or form is no flaw; what a view cuts at its edge while scrolling is not either.
    QRectF sight = text.room;
    bool inScroll = scrolls(text.widget);
    for (const QWidget* w = text.widget; w->parentWidget() && !w->isWindow(); w = w->parentWidget()) {
      const QRectF here(QPointF(w->mapTo(&window, QPoint())), QSizeF(w->size()));
      if (scrolls(w)) {
        if (w != text.widget || !here.contains(text.box)) sight = sight.intersected(here), inScroll = true;
      } else {
        sight = sight.intersected(here);
      }
    }
    if (sight.isEmpty() || !sight.intersects(text.box)) {
      if (!inScroll) say(QStringLiteral("hidden text"));
      continue;
    }
    // What was typed scrolls in its field.
    if (const auto* field = qobject_cast<const QLineEdit*>(text.widget); field && field->text() == text.text) inScroll = true;
    const QRectF in = sight.adjusted(-1, -1, 1, 1);
    if (!in.contains(text.box)) {
      const bool across = text.box.left() < in.left() || text.box.right() > in.right();
      if (!inScroll || (across && !qobject_cast<const QLineEdit*>(text.widget))) say(QStringLiteral("clipped by %1 px").arg(std::max({in.left() - text.box.left(), text.box.right() - in.right(), in.top() - text.box.top(), text.box.bottom() - in.bottom()}), 0, 'f', 1));
      continue;
    }
    if (text.text.contains(QChar(0x2026)) && !words.gave(text.text)) {
      // Names of files and bones may be longer than any room; the whole of them is a pause of the mouse away.
      bool told = !text.widget->toolTip().isEmpty();
      for (const QWidget* w = text.widget; w && !told; w = w->parentWidget())
        if (const auto* view = qobject_cast<const QAbstractItemView*>(w)) told = !view->indexAt(view->viewport()->mapFrom(&window, text.box.center().toPoint())).data(Qt::ToolTipRole).toString().isEmpty();
      told = told || qobject_cast<const TrackView*>(text.widget);
      if (words.begins(text.text)) say(QStringLiteral("the program's own words are shortened"));
      if (!told) say(QStringLiteral("shortened, and nothing tells the whole"));
    }
    // A menu's line that cannot be chosen now is as pale as any control that is off.
    const auto* menu = qobject_cast<const QMenu*>(text.widget);
    const QAction* line = menu ? menu->actionAt(menu->mapFrom(&window, text.box.center().toPoint())) : nullptr;
    if (text.widget->isEnabled() && (!line || line->isEnabled()) && !qobject_cast<const StageWidget*>(text.widget)) {
      const QColor ground = groundOf(picture, text.box.adjusted(-2, -2, 2, 2));
      const double ratio = contrast(over(text.colour, ground), ground);
      if (ratio < settings.textContrast) say(QStringLiteral("contrast %1 (%2 on %3)").arg(ratio, 0, 'f', 2).arg(text.colour.name(QColor::HexArgb), ground.name()));
    }
    for (const PaintedText& other : seen) {
      const QRectF both = other.box.intersected(text.box);
      if (both.width() <= 1 || both.height() <= 1) continue;
      // Words of one paragraph stand as close as their font sets them.
      const bool paragraph = qobject_cast<const QLabel*>(text.widget) || qobject_cast<const QTextBrowser*>(text.widget->parentWidget());
      if (paragraph && other.widget == text.widget && both.width() < 4) continue;
      if (other.text == text.text && other.widget == text.widget && std::abs(other.box.left() - text.box.left()) < 3) continue;  // drawn twice, with its edge
      say(QStringLiteral("overlaps “%1” (%2)").arg(other.text, nameOf(other.widget)));
    }
    seen.push_back(text);
  }
  flaws.removeDuplicates();
  return flaws;
}

QStringList flawsOfTargets(QWidget& window, const QImage& picture, const QualitySettings& settings) {
  QStringList flaws;
  for (QWidget* widget : visibleIn(window)) {
    if (!isTarget(widget) || widget->visibleRegion().isEmpty()) continue;
    const auto small = [&](const QString& what, QSizeF size) {
      if (std::min(size.width(), size.height()) < settings.target)
        flaws << QStringLiteral("target of %1 × %2: %3 in %4").arg(size.width()).arg(size.height()).arg(what, nameOf(widget));
    };
    small(widget->accessibleName(), widget->size());
    if (const auto* tabs = qobject_cast<QTabBar*>(widget))
      for (int i = 0; i < tabs->count(); ++i) {
        small(tabs->tabText(i), tabs->tabRect(i).size());
        if (!tabs->rect().contains(tabs->tabRect(i))) flaws << QStringLiteral("tab out of sight: %1 in %2").arg(tabs->tabText(i), nameOf(widget));
      }
    if (const auto* view = qobject_cast<QAbstractItemView*>(widget); view && view->model() && view->model()->rowCount() > 0)
      small(QStringLiteral("a row"), view->visualRect(view->model()->index(0, 0)).size());
    // Icons alone must stand out by themselves.
    if (const auto* button = qobject_cast<QAbstractButton*>(widget); button && button->isEnabled() && button->text().isEmpty() && !button->icon().isNull()) {
      const QRectF box(QPointF(button->mapTo(&window, QPoint())), QSizeF(button->size()));
      const QColor ground = groundOf(picture, box.adjusted(3, 3, -3, -3));
      double best = 1;
      const double ratio = picture.devicePixelRatio();
      const QRect part = QRectF(box.topLeft() * ratio, box.size() * ratio).toRect().adjusted(4, 4, -4, -4).intersected(picture.rect());
      for (int y = part.top(); y <= part.bottom(); ++y)
        for (int x = part.left(); x <= part.right(); ++x) best = std::max(best, contrast(picture.pixelColor(x, y), ground));
      if (best < settings.markContrast) flaws << QStringLiteral("icon with contrast %1: %2").arg(best, 0, 'f', 2).arg(nameOf(widget));
    }
  }
  flaws.removeDuplicates();
  return flaws;
}

QStringList flawsOfMenu(const QMenu& menu, int room, const QualitySettings& settings) {
  QStringList flaws;
  if (menu.height() > room) flaws << QStringLiteral("menu of %1 px, the window has %2: %3").arg(menu.height()).arg(room).arg(menu.title());
  for (QAction* action : menu.actions()) {
    if (action->isSeparator() || !action->isVisible()) continue;
    const QRect box = menu.actionGeometry(action);
    if (box.height() < settings.target) flaws << QStringLiteral("line of %1 px: %2").arg(box.height()).arg(action->text());
    if (!menu.rect().contains(box)) flaws << QStringLiteral("out of sight: %1").arg(action->text());
    if (action->text().trimmed().isEmpty()) flaws << QStringLiteral("a line without words in %1").arg(menu.title());
  }
  return flaws;
}

QStringList flawsOfKeys(QWidget& window) {
  QStringList flaws;
  std::set<QWidget*> wanted, reached;
  for (QWidget* widget : visibleIn(window))
    if (isTarget(widget) && widget->isEnabled() && !widget->focusProxy()) wanted.insert(widget);
  QApplication::setActiveWindow(&window);
  if (QWidget* now = QApplication::focusWidget()) now->clearFocus();
  for (std::size_t i = 0; i < wanted.size() * 3 + 40; ++i) {
    QTest::keyClick(QApplication::focusWidget() ? QApplication::focusWidget() : &window, Qt::Key_Tab);
    QWidget* now = QApplication::focusWidget();
    if (!now || !reached.insert(now).second) continue;
    if (!wanted.contains(now)) continue;
    if (qobject_cast<StageWidget*>(now)) continue;
    const QImage with = now->grab().toImage();
    now->setAttribute(Qt::WA_UpdatesDisabled);
    now->clearFocus();
    now->setAttribute(Qt::WA_UpdatesDisabled, false);
    const QImage without = now->grab().toImage();
    now->setFocus(Qt::TabFocusReason);
    if (with == without) flaws << QStringLiteral("does not show that it has the focus: %1 %2").arg(now->accessibleName(), nameOf(now));
  }
  for (QWidget* widget : wanted) {
    if (!reached.contains(widget)) flaws << QStringLiteral("out of reach of the Tab key: %1 %2").arg(widget->accessibleName(), nameOf(widget));
    QAccessibleInterface* told = QAccessible::queryAccessibleInterface(widget);
    if (!told || told->text(QAccessible::Name).trimmed().isEmpty()) flaws << QStringLiteral("without a name: %1").arg(nameOf(widget));
  }
  return flaws;
}

}  // namespace understudy::editor
