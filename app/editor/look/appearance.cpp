#include "app/editor/look/appearance.h"

#include <QApplication>
#include <QFile>
#include <QPalette>
#include <QStyle>
#include <QStyleFactory>
#include <QWidget>
#include <cmath>

// Resources of a static library must be named once, outside any namespace.
static void nameResources() { Q_INIT_RESOURCE(editor); }

namespace understudy::editor {
namespace {

QFont sized(double pixels, QFont::Weight weight = QFont::Normal) {
  QFont font(QStringLiteral("DejaVu Sans"));
  font.setStyleHint(QFont::SansSerif);
  font.setPixelSize(static_cast<int>(std::lround(pixels)));
  font.setWeight(weight);
  return font;
}

QString filled(QString sheet, const Colours& c, bool dark) {
  const std::pair<const char*, QColor> names[] = {
      {"@window", c.window}, {"@panel", c.panel}, {"@cardHover", c.cardHover}, {"@card", c.card}, {"@sunken", c.sunken}, {"@line", c.line},
      {"@text", c.text}, {"@dimText", c.dimText}, {"@disabledText", c.disabledText}, {"@performer", c.performer},
      {"@character", c.character}, {"@picked", c.picked}, {"@selection", c.selection}, {"@key", c.key}, {"@onLamp", c.onLamp}, {"@lamp", c.lamp},
      {"@flaw", c.flaw}, {"@warning", c.warning}, {"@quietText", c.quietText}, {"@stage", c.stageTop},
  };
  for (const auto& [name, colour] : names) sheet.replace(QLatin1String(name) + QLatin1Char(';'), colour.name() + QLatin1Char(';'));
  sheet.replace(QLatin1String("@kind;"), QLatin1String(dark ? "dark" : "light"));
  return sheet;
}

}  // namespace

Appearance& Appearance::instance() {
  static Appearance theme;
  return theme;
}

Colours Appearance::coloursOf(Kind kind) {
  Colours c;
  if (kind == Kind::dark) {
    c.window = QColor(0x1a2932);
    c.panel = QColor(0x1e2f3a);
    c.card = QColor(0x263a47);
    c.cardHover = QColor(0x2e4655);
    c.sunken = QColor(0x14202a);
    c.line = QColor(0x344c5b);
    c.text = QColor(0xe9eff2);
    c.dimText = QColor(0xa8bcc8);
    c.disabledText = QColor(0x6f8796);
    c.performer = QColor(0x8fc0dc);
    c.character = QColor(0xdfb978);
    c.picked = QColor(0x2b4c5e);
    c.selection = QColor(0xf6eedb);
    c.selectionGap = QColor(0x101a21);
    c.key = QColor(0xf6eedb);
    c.lamp = QColor(0xf7e08a);
    c.onLamp = QColor(0x1b2329);
    c.flaw = QColor(0xd55e00);
    c.warning = QColor(0xcc79a7);
    c.quietText = QColor(0xffffff);
    c.stageTop = QColor(0x22343f);
    c.stageBottom = QColor(0x192730);
    c.stageGrid = QColor(0x31505c);
    c.axisX = QColor(0xefac92);
    c.axisY = QColor(0x8fd0a2);
    c.axisZ = QColor(0xacc2f6);
  } else {
    c.window = QColor(0xdfe7eb);
    c.panel = QColor(0xeaf0f3);
    c.card = QColor(0xfafcfd);
    c.cardHover = QColor(0xf0f6f9);
    c.sunken = QColor(0xd3dee4);
    c.line = QColor(0xb4c4cd);
    c.text = QColor(0x15242d);
    c.dimText = QColor(0x42545f);
    c.disabledText = QColor(0x8496a1);
    c.performer = QColor(0x1f6488);
    c.character = QColor(0x75500c);
    c.picked = QColor(0xc9dfe9);
    c.selection = QColor(0x18242b);
    c.selectionGap = QColor(0xfffaf0);
    c.key = QColor(0x2b3b45);
    c.lamp = QColor(0xf4d24e);
    c.onLamp = QColor(0x1b2329);
    c.flaw = QColor(0xb84f00);
    c.warning = QColor(0x9c3f74);
    c.quietText = QColor(0xffffff);
    c.stageTop = QColor(0xd6e1e7);
    c.stageBottom = QColor(0xc3d2da);
    c.stageGrid = QColor(0xa2b6c1);
    c.axisX = QColor(0x9a3a13);
    c.axisY = QColor(0x1d6b36);
    c.axisZ = QColor(0x3b4fae);
  }
  return c;
}

QFont Appearance::body() { return sized(13); }
QFont Appearance::small() { return sized(11.5); }
QFont Appearance::title() { return sized(14, QFont::DemiBold); }

void Appearance::apply(Kind kind) {
  nameResources();
  kind_ = kind;
  colours_ = coloursOf(kind);
  const Colours& c = colours_;
  QApplication::setStyle(QStyleFactory::create(QStringLiteral("Fusion")));
  QPalette p;
  p.setColor(QPalette::Window, c.panel);
  p.setColor(QPalette::WindowText, c.text);
  p.setColor(QPalette::Base, c.sunken);
  p.setColor(QPalette::AlternateBase, c.panel);
  p.setColor(QPalette::Text, c.text);
  p.setColor(QPalette::Button, c.card);
  p.setColor(QPalette::ButtonText, c.text);
  p.setColor(QPalette::BrightText, c.text);
  p.setColor(QPalette::PlaceholderText, c.dimText);
  p.setColor(QPalette::Highlight, c.picked);
  p.setColor(QPalette::HighlightedText, c.text);
  p.setColor(QPalette::ToolTipBase, c.card);
  p.setColor(QPalette::ToolTipText, c.text);
  p.setColor(QPalette::Link, c.performer);
  p.setColor(QPalette::Light, c.cardHover);
  p.setColor(QPalette::Midlight, c.card);
  p.setColor(QPalette::Mid, c.line);
  p.setColor(QPalette::Dark, c.sunken);
  p.setColor(QPalette::Shadow, c.sunken);
  for (auto role : {QPalette::WindowText, QPalette::Text, QPalette::ButtonText, QPalette::HighlightedText})
    p.setColor(QPalette::Disabled, role, c.disabledText);
  QApplication::setPalette(p);
  QApplication::setFont(body());
  QFile file(QStringLiteral(":/understudy/editor.qss"));
  if (auto* app = qobject_cast<QApplication*>(QApplication::instance()); app && file.open(QIODevice::ReadOnly))
    app->setStyleSheet(filled(QString::fromUtf8(file.readAll()), c, kind == Kind::dark));
  Q_EMIT changed();
}

void markNext(QWidget& button, bool next) {
  if (button.property("next").toBool() == next) return;
  button.setProperty("next", next);
  button.style()->unpolish(&button);
  button.style()->polish(&button);
}

double contrast(const QColor& a, const QColor& b) {
  const auto luminance = [](const QColor& colour) {
    const auto channel = [](double v) { return v <= 0.03928 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); };
    return 0.2126 * channel(colour.redF()) + 0.7152 * channel(colour.greenF()) + 0.0722 * channel(colour.blueF());
  };
  const double la = luminance(a), lb = luminance(b);
  return (std::max(la, lb) + 0.05) / (std::min(la, lb) + 0.05);
}

}  // namespace understudy::editor
