#include "render/offscreen.h"

#include <EGL/egl.h>
#include <EGL/eglext.h>

#include <algorithm>
#include <cstring>

#include "render/gl.h"

namespace understudy {
namespace {

void* lookUp(const char* name) { return reinterpret_cast<void*>(eglGetProcAddress(name)); }

}  // namespace

struct OffscreenContext::Impl {
  EGLDisplay display = EGL_NO_DISPLAY;
  EGLContext context = EGL_NO_CONTEXT;
  Gl gl;
  std::unique_ptr<StageRenderer> renderer;
  GLuint framebuffer = 0, colour = 0, depth = 0;
  int width = 0, height = 0, largest = 0;

  ~Impl() {
    if (context != EGL_NO_CONTEXT) {
      renderer.reset();
      releaseTarget();
      eglMakeCurrent(display, EGL_NO_SURFACE, EGL_NO_SURFACE, EGL_NO_CONTEXT);
      eglDestroyContext(display, context);
    }
    if (display != EGL_NO_DISPLAY) eglTerminate(display);
  }

  void releaseTarget() {
    if (!framebuffer) return;
    gl.DeleteFramebuffers(1, &framebuffer);
    gl.DeleteRenderbuffers(1, &colour);
    gl.DeleteRenderbuffers(1, &depth);
    framebuffer = colour = depth = 0;
  }

  bool makeTarget(int w, int h) {
    if (framebuffer && w == width && h == height) return true;
    releaseTarget();
    gl.GenFramebuffers(1, &framebuffer);
    gl.GenRenderbuffers(1, &colour);
    gl.GenRenderbuffers(1, &depth);
    gl.BindRenderbuffer(GL_RENDERBUFFER, colour);
    gl.RenderbufferStorage(GL_RENDERBUFFER, GL_RGBA8, w, h);
    gl.BindRenderbuffer(GL_RENDERBUFFER, depth);
    gl.RenderbufferStorage(GL_RENDERBUFFER, GL_DEPTH_COMPONENT24, w, h);
    gl.BindFramebuffer(GL_FRAMEBUFFER, framebuffer);
    gl.FramebufferRenderbuffer(GL_FRAMEBUFFER, GL_COLOR_ATTACHMENT0, GL_RENDERBUFFER, colour);
    gl.FramebufferRenderbuffer(GL_FRAMEBUFFER, GL_DEPTH_ATTACHMENT, GL_RENDERBUFFER, depth);
    width = w, height = h;
    return gl.CheckFramebufferStatus(GL_FRAMEBUFFER) == GL_FRAMEBUFFER_COMPLETE;
  }
};

OffscreenContext::OffscreenContext(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
OffscreenContext::~OffscreenContext() = default;
StageRenderer& OffscreenContext::renderer() { return *impl_->renderer; }

Result<std::unique_ptr<OffscreenContext>> OffscreenContext::create() {
  const auto fail = [](const std::string& what) {
    return makeError(Fault::internal, "Pictures need OpenGL 3.3 without a display: " + what, {},
                     "Install a driver that has it (Debian: libegl1 and libgl1-mesa-dri).");
  };
  const char* extensions = eglQueryString(EGL_NO_DISPLAY, EGL_EXTENSIONS);
  if (!extensions) return fail("EGL offers no client extensions");
  if (!std::strstr(extensions, "EGL_MESA_platform_surfaceless")) return fail("EGL lacks the surfaceless platform");
  const auto getDisplay = reinterpret_cast<PFNEGLGETPLATFORMDISPLAYEXTPROC>(lookUp("eglGetPlatformDisplayEXT"));
  if (!getDisplay) return fail("EGL lacks eglGetPlatformDisplayEXT");

  auto impl = std::make_unique<Impl>();
  impl->display = getDisplay(EGL_PLATFORM_SURFACELESS_MESA, nullptr, nullptr);
  EGLint major = 0, minor = 0;
  if (impl->display == EGL_NO_DISPLAY || !eglInitialize(impl->display, &major, &minor)) {
    impl->display = EGL_NO_DISPLAY;
    return fail("EGL does not start");
  }
  if (!eglBindAPI(EGL_OPENGL_API)) return fail("EGL " + std::to_string(major) + "." + std::to_string(minor) + " has no desktop OpenGL");
  const EGLint wanted[] = {EGL_SURFACE_TYPE, EGL_PBUFFER_BIT, EGL_RENDERABLE_TYPE, EGL_OPENGL_BIT, EGL_NONE};
  EGLConfig config = nullptr;
  EGLint found = 0;
  if (!eglChooseConfig(impl->display, wanted, &config, 1, &found)) found = 0;
  const EGLint attributes[] = {EGL_CONTEXT_MAJOR_VERSION, 3, EGL_CONTEXT_MINOR_VERSION, 3, EGL_CONTEXT_OPENGL_PROFILE_MASK, EGL_CONTEXT_OPENGL_CORE_PROFILE_BIT, EGL_NONE};
  impl->context = eglCreateContext(impl->display, found > 0 ? config : nullptr, EGL_NO_CONTEXT, attributes);
  if (impl->context == EGL_NO_CONTEXT) return fail("no OpenGL 3.3 core context");
  if (!eglMakeCurrent(impl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, impl->context)) return fail("the context cannot be used without a surface");
  if (const std::string missing = impl->gl.load(lookUp); !missing.empty()) return fail("the driver lacks " + missing);
  impl->gl.GetIntegerv(GL_MAX_RENDERBUFFER_SIZE, &impl->largest);
  auto renderer = StageRenderer::create(lookUp);
  if (!renderer) return renderer.error();
  impl->renderer = std::move(*renderer);
  return std::unique_ptr<OffscreenContext>(new OffscreenContext(std::move(impl)));
}

Result<Picture> OffscreenContext::render(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height) {
  if (width < 1 || height < 1 || width > impl_->largest || height > impl_->largest) {
    return makeError(Fault::usage, "A picture of " + std::to_string(width) + " × " + std::to_string(height) + " pixels cannot be drawn", {},
                     "Ask for 1 to " + std::to_string(impl_->largest) + " pixels a side.");
  }
  Impl& m = *impl_;
  if (!m.makeTarget(width, height)) {
    m.releaseTarget();
    return makeError(Fault::internal, "The driver has no room for a picture of " + std::to_string(width) + " × " + std::to_string(height) + " pixels", {},
                     "Ask for a smaller picture.");
  }
  m.renderer->draw(scene, camera, style, width, height, m.framebuffer);
  Picture picture(width, height);
  m.gl.BindFramebuffer(GL_FRAMEBUFFER, m.framebuffer);
  m.gl.PixelStorei(GL_PACK_ALIGNMENT, 1);
  m.gl.ReadPixels(0, 0, width, height, GL_RGBA, GL_UNSIGNED_BYTE, picture.rgba.data());
  // OpenGL's rows go from the bottom up.
  for (int y = 0; y < height / 2; ++y) std::swap_ranges(picture.at(0, y), picture.at(0, y) + static_cast<std::ptrdiff_t>(width) * 4, picture.at(0, height - 1 - y));
  if (!style.background || style.background->a >= 1) {
    for (std::size_t i = 3; i < picture.rgba.size(); i += 4) picture.rgba[i] = 255;
  }
  return picture;
}

}  // namespace understudy
