#include "app/editor/stage/stage_canvas.h"

#include <QCoreApplication>
#include <QOffscreenSurface>
#include <QOpenGLContext>
#include <QOpenGLFramebufferObject>
#include <QOpenGLFunctions>
#include <algorithm>

namespace understudy::editor {

struct StageCanvas::Gpu {
  QOffscreenSurface surface;
  QOpenGLContext context;
  std::unique_ptr<QOpenGLFramebufferObject> target;
  std::unique_ptr<StageRenderer> renderer;
};

StageCanvas::StageCanvas() = default;

StageCanvas::~StageCanvas() {
  if (!gpu_ || !gpu_->context.makeCurrent(&gpu_->surface)) return;
  gpu_->renderer.reset();
  gpu_->target.reset();
  gpu_->context.doneCurrent();
}

void StageCanvas::start() {
  gpu_ = std::make_unique<Gpu>();
  const auto refused = [this](const QString& what) {
    problem_ = makeError(Fault::internal, what.toStdString(), {}, QCoreApplication::translate("StageCanvas", "Install a driver with OpenGL 3.3").toStdString());
  };
  if (!gpu_->context.create()) return refused(QCoreApplication::translate("StageCanvas", "The stage cannot draw: there is no OpenGL"));
  gpu_->surface.setFormat(gpu_->context.format());
  gpu_->surface.create();
  if (!gpu_->context.makeCurrent(&gpu_->surface)) return refused(QCoreApplication::translate("StageCanvas", "The stage cannot draw: OpenGL cannot be used on this display"));
  auto made = StageRenderer::create([](const char* name) -> void* {
    QOpenGLContext* context = QOpenGLContext::currentContext();
    return context ? reinterpret_cast<void*>(context->getProcAddress(name)) : nullptr;
  });
  if (made) gpu_->renderer = std::move(made).value();
  else problem_ = made.error();
}

const QImage& StageCanvas::draw(const Scene& scene, const Camera& camera, const StageStyle& style, QSize pixels) {
  if (!gpu_) start();
  if (problem_ || pixels.isEmpty() || !gpu_->context.makeCurrent(&gpu_->surface)) {
    picture_ = {};
    return picture_;
  }
  if (!gpu_->target || gpu_->target->size() != pixels) {
    gpu_->target = std::make_unique<QOpenGLFramebufferObject>(pixels, QOpenGLFramebufferObject::CombinedDepthStencil);
    picture_ = QImage(pixels, QImage::Format_RGB32);
  }
  const int width = pixels.width(), height = pixels.height();
  gpu_->renderer->draw(scene, camera, style, width, height, gpu_->target->handle());
  QOpenGLFunctions& gl = *gpu_->context.functions();
  gl.glBindFramebuffer(GL_FRAMEBUFFER, gpu_->target->handle());
  gl.glPixelStorei(GL_PACK_ALIGNMENT, 4);
  gl.glReadPixels(0, 0, width, height, GL_BGRA, GL_UNSIGNED_INT_8_8_8_8_REV, picture_.bits());
  // OpenGL begins at the bottom.
  for (int y = 0; y < height / 2; ++y) std::swap_ranges(picture_.scanLine(y), picture_.scanLine(y) + picture_.bytesPerLine(), picture_.scanLine(height - 1 - y));
  return picture_;
}

}  // namespace understudy::editor
