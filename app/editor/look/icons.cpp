#include "app/editor/look/icons.h"

#include <QFile>
#include <QIconEngine>
#include <QPainter>
#include <QSvgRenderer>

#include "app/editor/look/appearance.h"

namespace understudy::editor {
namespace {

QByteArray svgIn(const QString& name, const QColor& colour) {
  QFile file(QStringLiteral(":/understudy/icons/%1.svg").arg(name));
  if (!file.open(QIODevice::ReadOnly)) return {};
  return file.readAll().replace("currentColor", colour.name().toLatin1());
}

/// Renders at the size asked for, so that icons stay sharp at any scale.
class LineIcon : public QIconEngine {
 public:
  explicit LineIcon(QString name) : name_(std::move(name)) {}
  QIconEngine* clone() const override { return new LineIcon(name_); }
  void paint(QPainter* painter, const QRect& rect, QIcon::Mode mode, QIcon::State) override {
    QSvgRenderer renderer(svgIn(name_, mode == QIcon::Disabled ? colours().disabledText : colours().text));
    renderer.render(painter, rect);
  }
  QPixmap pixmap(const QSize& size, QIcon::Mode mode, QIcon::State state) override {
    QPixmap pixmap(size);
    pixmap.fill(Qt::transparent);
    QPainter painter(&pixmap);
    paint(&painter, QRect(QPoint(), size), mode, state);
    return pixmap;
  }

 private:
  QString name_;
};

}  // namespace

QIcon icon(const QString& name) { return QIcon(new LineIcon(name)); }

QPixmap iconPixmap(const QString& name, const QColor& colour, int size, double devicePixelRatio) {
  const int pixels = static_cast<int>(size * devicePixelRatio + 0.5);
  QPixmap pixmap(pixels, pixels);
  pixmap.fill(Qt::transparent);
  QPainter painter(&pixmap);
  QSvgRenderer renderer(svgIn(name, colour));
  renderer.render(&painter, QRectF(0, 0, pixels, pixels));
  painter.end();
  pixmap.setDevicePixelRatio(devicePixelRatio);
  return pixmap;
}

}  // namespace understudy::editor
