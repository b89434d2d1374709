// Our own line icons, drawn in the theme's text colour at any scale.
#pragma once

#include <QColor>
#include <QIcon>
#include <QPixmap>
#include <QString>

namespace understudy::editor {

/// The icon `name` (a file of resources/icons without its ending) in the theme's colours, dimmed where disabled.
/// Follows no later change of theme: ask again.
[[nodiscard]] QIcon icon(const QString& name);
/// One pixmap of `size` device-independent pixels in `colour`.
[[nodiscard]] QPixmap iconPixmap(const QString& name, const QColor& colour, int size, double devicePixelRatio);

}  // namespace understudy::editor
