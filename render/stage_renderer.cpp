#include "render/shaders.h"
#include "render/stage_impl.h"

namespace understudy {

StageRenderer::StageRenderer(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
StageRenderer::~StageRenderer() = default;

Result<std::unique_ptr<StageRenderer>> StageRenderer::create(const GetProcAddress& getProcAddress) {
  const char* advice = "Install a driver with OpenGL 3.3 (Debian: libgl1-mesa-dri draws in software).";
  auto impl = std::make_unique<Impl>();
  if (const std::string missing = impl->gl.load(getProcAddress); !missing.empty()) {
    impl->gl = {};
    return makeError(Fault::internal, "The stage cannot draw: the OpenGL driver lacks " + missing, {}, advice);
  }
  const auto text = [&](GLenum name) {
    const GLubyte* s = impl->gl.GetString(name);
    return s ? std::string(reinterpret_cast<const char*>(s)) : std::string();
  };
  impl->driverName = text(GL_RENDERER) + ", OpenGL " + text(GL_VERSION);
  GLint major = 0, minor = 0;
  impl->gl.GetIntegerv(GL_MAJOR_VERSION, &major);
  impl->gl.GetIntegerv(GL_MINOR_VERSION, &minor);
  if (major * 10 + minor < 33) {
    impl->gl = {};
    return makeError(Fault::internal, "The stage cannot draw: it needs OpenGL 3.3", text(GL_VERSION), advice);
  }
  for (int i = 0; i < 8; ++i) {
    static constexpr int influences[] = {0, 1, 4, 8};
    const std::string vertex = "#version 330 core\n#define INFLUENCES " + std::to_string(influences[i / 2]) + (i % 2 ? "\n#define LIT\n" : "\n") + shaders::meshVertex;
    if (const std::string log = impl->build(impl->meshes[i], vertex.c_str(), shaders::meshFragment); !log.empty()) {
      return makeError(Fault::internal, "The stage cannot draw: the driver refuses the mesh shader (" + log + ")", impl->driverName, advice);
    }
  }
  const std::string ground = std::string(shaders::groundFade) + shaders::groundFragment, shadow = std::string(shaders::groundFade) + shaders::shadowFragment;
  const struct {
    Program& program;
    const char *vertex, *fragment, *name;
  } programs[] = {{impl->sky, shaders::skyVertex, shaders::skyFragment, "sky"},
                  {impl->ground, shaders::groundVertex, ground.c_str(), "ground"},
                  {impl->shade, shaders::shadowVertex, shadow.c_str(), "shadow"},
                  {impl->stroke, shaders::strokeVertex, shaders::strokeFragment, "stroke"}};
  for (const auto& p : programs) {
    if (const std::string log = impl->build(p.program, p.vertex, p.fragment); !log.empty()) {
      return makeError(Fault::internal, "The stage cannot draw: the driver refuses the " + std::string(p.name) + " shader (" + log + ")", impl->driverName, advice);
    }
  }
  impl->setUp();
  return std::unique_ptr<StageRenderer>(new StageRenderer(std::move(impl)));
}

void StageRenderer::draw(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height, unsigned framebuffer) {
  impl_->draw(scene, camera, style, width, height, framebuffer);
}

std::string StageRenderer::driver() const { return impl_->driverName; }

}  // namespace understudy
