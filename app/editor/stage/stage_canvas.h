// The stage's picture, drawn away from the screen.
#pragma once

#include <QImage>
#include <QSize>
#include <memory>
#include <optional>

#include "render/stage.h"

namespace understudy::editor {

/// A framebuffer with a renderer of its own. Widgets paint its picture like any other: a window with a surface of OpenGL in it would be put
/// together by OpenGL as a whole at every picture, which costs software drivers more than the stage itself.
class StageCanvas {
 public:
  StageCanvas();
  ~StageCanvas();
  /// Draws `pixels` (device pixels) of a scene. The picture is null where nothing can be drawn: see problem().
  const QImage& draw(const Scene& scene, const Camera& camera, const StageStyle& style, QSize pixels);
  [[nodiscard]] const QImage& picture() const { return picture_; }
  /// Why nothing can be drawn.
  [[nodiscard]] const std::optional<Issue>& problem() const { return problem_; }

 private:
  struct Gpu;
  void start();
  std::unique_ptr<Gpu> gpu_;
  std::optional<Issue> problem_;
  QImage picture_;
};

}  // namespace understudy::editor
