#include "app/editor/document/pictures.h"

#include <cstring>

namespace understudy::editor {

QImage imageOf(const Picture& picture) {
  QImage image(picture.width, picture.height, QImage::Format_RGBA8888);
  for (int y = 0; y < picture.height; ++y) std::memcpy(image.scanLine(y), picture.at(0, y), static_cast<std::size_t>(picture.width) * 4);
  return image;
}

Result<QImage> paintShot(const Shot& shot, int width, int height) {
  // An OpenGL context belongs to one thread, and goes with it.
  thread_local std::unique_ptr<OffscreenContext> context;
  if (!context) {
    auto made = OffscreenContext::create();
    if (!made) return made.error();
    context = std::move(made).value();
  }
  const StagePalette palette = stagePalette(shot.theme);
  Scene scene;
  FigureInstance instance;
  instance.figure = shot.figure;
  instance.placement = shot.placement;
  instance.jointWorld = shot.pose;
  const bool mesh = !figureOf(*shot.figure).meshes.empty();
  instance.showBody = !mesh;
  instance.showSkeleton = !mesh || shot.skeleton;
  instance.meshAlpha = mesh && shot.skeleton ? 0.6F : 1.0F;
  instance.skeletonColour = mesh ? palette.character : palette.performer;
  instance.selectedJoints = shot.marked;
  instance.shadow = !shot.plain;
  scene.figures.push_back(instance);
  StageStyle style;
  style.theme = shot.theme;
  style.samples = 4;
  style.distanceMarks = false;
  style.grid = !shot.plain;
  style.shadows = !shot.plain;
  if (shot.plain) style.background = withAlpha(colourOf(0), 0);
  auto picture = context->render(scene, shot.camera, style, width, height);
  if (!picture) return picture.error();
  return imageOf(picture.value());
}

std::vector<Camera> camerasFor(const Shot& like, const std::vector<std::vector<Affined>>& poses, int anchor, double aspect, double margin) {
  Bounds around;
  std::vector<Vec3d> shifts;
  FigureInstance instance;
  instance.figure = like.figure;
  instance.placement = like.placement;
  instance.showBody = figureOf(*like.figure).meshes.empty();
  for (const auto& pose : poses) {
    instance.jointWorld = pose;
    const Bounds posed = boundsOf(instance);
    Vec3d shift;
    if (anchor >= 0 && anchor < static_cast<int>(pose.size())) {
      const Vec3d at = apply(like.placement, pose[static_cast<std::size_t>(anchor)].translation);
      shift = {at.x, 0, at.z};
    }
    shifts.push_back(shift);
    if (posed.empty()) continue;
    around.add(posed.low - shift);
    around.add(posed.high - shift);
  }
  std::vector<Camera> cameras;
  const Camera base = around.empty() ? like.camera : framed(like.camera, around, aspect, margin);
  for (const Vec3d& shift : shifts) {
    cameras.push_back(base);
    cameras.back().target += shift;
  }
  return cameras;
}

}  // namespace understudy::editor
