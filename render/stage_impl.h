// The renderer's insides: programs, buffers, passes. Internal to render/.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "render/gl.h"
#include "render/stage_figure.h"
#include "render/strokes.h"

namespace understudy {

[[nodiscard]] Vec3f linearOf(const Colour& colour);

/// From here on a figure hides what is behind it.
inline constexpr float opaqueAlpha = 0.999f;

/// Light for a theme, linear.
struct Light {
  Vec3f key, rim, sky, ground;
  float shadow;  ///< how dark the ground's shadow gets
};
[[nodiscard]] Light lightOf(Theme theme);

struct Program {
  GLuint id = 0;
  unsigned frame = 0;   ///< the frame whose camera and light it has
  std::map<std::string, GLint> places;
};

/// A figure's buffers in this context.
struct Uploaded {
  std::weak_ptr<const StageFigure> owner;
  GLuint vertexArray = 0, vertexBuffer = 0, indexBuffer = 0;
  std::vector<GLuint> textures;
};

struct StageRenderer::Impl {
  Gl gl;
  /// Meshes by influences a vertex (0, 1, 4, 8), plain and with highlights.
  Program meshes[8];
  Program sky, ground, shade, stroke;
  GLuint emptyArray = 0, strokeArray = 0, strokeBuffer = 0, looseArray = 0, looseBuffer = 0, looseIndices = 0;
  GLuint paletteBuffer = 0, paletteTexture = 0, shadowTexture = 0;
  GLuint sampledFramebuffer = 0, sampledColour = 0, sampledDepth = 0;
  int sampledWidth = 0, sampledHeight = 0, sampledCount = 0;
  int maxSamples = 1, maxTexture = 2048, maxTexels = 65536;
  std::string driverName;
  std::map<const StageFigure*, Uploaded> uploads;
  std::vector<float> paletteTexels;
  unsigned frameNumber = 0;

  ~Impl();
  void releaseSampled();
  void release(Uploaded& upload);
  /// Empty on success, else the driver's log.
  std::string build(Program& program, const char* vertex, const char* fragment);
  GLint place(Program& program, const char* name);
  void set(Program& p, const char* name, int v) { gl.Uniform1i(place(p, name), v); }
  void set(Program& p, const char* name, float v) { gl.Uniform1f(place(p, name), v); }
  void set(Program& p, const char* name, float a, float b) { gl.Uniform2f(place(p, name), a, b); }
  void set(Program& p, const char* name, const Vec3f& v) { gl.Uniform3f(place(p, name), v.x, v.y, v.z); }
  void set(Program& p, const char* name, const Colour& c) { gl.Uniform4f(place(p, name), c.r, c.g, c.b, c.a); }
  void set(Program& p, const char* name, const Mat4f& m) { gl.UniformMatrix4fv(place(p, name), 1, GL_FALSE, m.data()); }

  static const void* offset(std::size_t bytes) { return reinterpret_cast<const void*>(bytes); }

  void describeVertices();
  void setUp();
  GLuint uploadTexture(const Picture& picture);
  Uploaded& uploaded(const StageFigurePtr& figure);
  void forgetExpired();
  /// False: the driver refuses this many samples; drawn without.
  bool bindSampled(int width, int height, int samples);

  struct Frame {
    Mat4f clipFromWorld;
    const Camera* camera;
    const StageStyle* style;
    StagePalette palette;
    Light light;
    int width, height;
  };
  struct Prepared {
    const FigureInstance* instance;
    int firstEntry = -1;           ///< −1: does not fit, or no mesh
    bool lit = false;
    std::vector<char> mirrored;    ///< a palette entry
    int looseFirst = 0, looseCount = 0;
  };

  /// The program for so many influences a vertex, ready to draw this frame.
  Program& beginMesh(const Frame& frame, int influences, bool lit);
  /// What of a figure is opaque, or what of it is seen through.
  void drawMeshes(const Frame& frame, const Prepared& prepared, bool through);
  void setSky(Program& program, const Frame& frame);
  void drawSky(const Frame& frame);
  /// The figures' shadow: a sheet over the ground, whose middle and reach it fades with.
  void drawShadow(const Frame& frame, const Scene& scene, float reach);
  void drawGround(const Frame& frame, const Scene& scene);
  void drawStrokes(const std::vector<Stroke>& strokes, int width, int height, bool depthTest);
  std::vector<Prepared> prepare(const Scene& scene);
  void draw(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height, GLuint target);
};

}  // namespace understudy
