// Small pictures of figures, drawn without a window on whatever thread asks.
#pragma once

#include <QImage>
#include <vector>

#include "core/base/result.h"
#include "render/camera.h"
#include "render/offscreen.h"

namespace understudy::editor {

/// One figure in one pose.
struct Shot {
  StageFigurePtr figure;
  Affined placement;             ///< file unit and axes → world metres
  std::vector<Affined> pose;     ///< one a joint, file unit and axes; empty: rest pose
  std::vector<int> marked;       ///< joints with the double outline
  bool skeleton = false;         ///< drawn over the mesh, which is seen through
  bool plain = false;            ///< transparent ground, no grid, no shadow
  Camera camera;
  Theme theme = Theme::dark;
};

/// Draws on the calling thread, which keeps an OpenGL context of its own from its first picture to its end. Sizes are in device pixels.
/// Error: no driver that works without a display.
[[nodiscard]] Result<QImage> paintShot(const Shot& shot, int width, int height);
[[nodiscard]] QImage imageOf(const Picture& picture);

/// A camera that shows all of the poses from the same side, each going along with its own `anchor` (a joint; −1: the first pose stands
/// still). One camera a pose.
[[nodiscard]] std::vector<Camera> camerasFor(const Shot& like, const std::vector<std::vector<Affined>>& poses, int anchor, double aspect, double margin = 0.06);

}  // namespace understudy::editor
