#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <numbers>

#include "render/gl.h"
#include "render/ground_shadow.h"
#include "render/shaders.h"
#include "render/stage_figure.h"
#include "render/strokes.h"

namespace understudy {
namespace {

Vec3f linearOf(const Colour& c) {
  const auto f = [](float v) { return v <= 0.04045f ? v / 12.92f : std::pow((v + 0.055f) / 1.055f, 2.4f); };
  return {f(c.r), f(c.g), f(c.b)};
}

/// Light for a theme, linear.
struct Light {
  Vec3f key, rim, sky, ground;
  float shadow;  ///< how dark the ground's shadow gets
};
Light lightOf(Theme theme) {
  if (theme == Theme::dark) return {{0.86f, 0.80f, 0.70f}, {0.34f, 0.50f, 0.60f}, {0.40f, 0.47f, 0.54f}, {0.16f, 0.17f, 0.18f}, 0.78f};
  return {{0.74f, 0.70f, 0.63f}, {0.30f, 0.33f, 0.35f}, {0.60f, 0.64f, 0.68f}, {0.36f, 0.36f, 0.34f}, 0.50f};
}

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

/// A tapered capsule as triangles, appended.
void appendCapsule(const Capsule& c, std::vector<StageVertex>& vertices, std::vector<std::uint32_t>& indices) {
  constexpr int around = 12, rings = 3;
  const Vec3f axis = normalised(c.to - c.from, {0, 1, 0});
  const Vec3f u = anyPerpendicular(axis), w = cross(axis, u);
  const float l = distance(c.from, c.to);
  // Where the cone that both spheres share touches them.
  const float tilt = std::asin(l > 1e-6f ? std::clamp((c.fromRadius - c.toRadius) / l, -0.95f, 0.95f) : 0.0f);
  const float half = std::numbers::pi_v<float> / 2;
  const auto first = static_cast<std::uint32_t>(vertices.size());
  for (int i = 0; i < 2 * (rings + 1); ++i) {
    const bool lower = i <= rings;
    const float t = static_cast<float>(lower ? i : i - rings - 1) / rings;
    const float latitude = lower ? -half + (tilt + half) * t : tilt + (half - tilt) * t;
    for (int k = 0; k < around; ++k) {
      const float a = 2 * std::numbers::pi_v<float> * static_cast<float>(k) / around;
      const Vec3f n = (u * std::cos(a) + w * std::sin(a)) * std::cos(latitude) + axis * std::sin(latitude);
      const Vec3f p = (lower ? c.from : c.to) + n * (lower ? c.fromRadius : c.toRadius);
      StageVertex v{};
      v.position[0] = p.x, v.position[1] = p.y, v.position[2] = p.z;
      v.normal[0] = n.x, v.normal[1] = n.y, v.normal[2] = n.z;
      std::fill(std::begin(v.colour), std::end(v.colour), std::uint16_t{65535});
      vertices.push_back(v);
    }
  }
  for (std::uint32_t i = 0; i + 1 < 2 * (rings + 1); ++i) {
    for (std::uint32_t k = 0; k < around; ++k) {
      const std::uint32_t a = first + i * around + k, b = first + i * around + (k + 1) % around;
      for (const std::uint32_t index : {a, b, b + around, a, b + around, a + around}) indices.push_back(index);
    }
  }
}

}  // namespace

struct StageRenderer::Impl {
  Gl gl;
  /// Meshes by influences a vertex (0, 1, 4, 8), plain and with highlights.
  Program meshes[8];
  Program sky, ground, stroke;
  GLuint emptyArray = 0, strokeArray = 0, strokeBuffer = 0, looseArray = 0, looseBuffer = 0, looseIndices = 0;
  GLuint paletteBuffer = 0, paletteTexture = 0, shadowTexture = 0;
  GLuint sampledFramebuffer = 0, sampledColour = 0, sampledDepth = 0;
  int sampledWidth = 0, sampledHeight = 0, sampledCount = 0;
  int maxSamples = 1, maxTexture = 2048, maxTexels = 65536;
  std::string driverName;
  std::map<const StageFigure*, Uploaded> uploads;
  std::vector<float> paletteTexels;
  unsigned frameNumber = 0;

  ~Impl() {
    if (!gl.DeleteProgram) return;
    for (Program* p : {&sky, &ground, &stroke}) {
      if (p->id) gl.DeleteProgram(p->id);
    }
    for (const Program& p : meshes) {
      if (p.id) gl.DeleteProgram(p.id);
    }
    for (auto& [key, upload] : uploads) release(upload);
    for (const GLuint array : {emptyArray, strokeArray, looseArray}) gl.DeleteVertexArrays(1, &array);
    for (const GLuint buffer : {strokeBuffer, looseBuffer, looseIndices, paletteBuffer}) gl.DeleteBuffers(1, &buffer);
    for (const GLuint texture : {paletteTexture, shadowTexture}) gl.DeleteTextures(1, &texture);
    releaseSampled();
  }

  void releaseSampled() {
    if (!sampledFramebuffer) return;
    gl.DeleteFramebuffers(1, &sampledFramebuffer);
    gl.DeleteRenderbuffers(1, &sampledColour);
    gl.DeleteRenderbuffers(1, &sampledDepth);
    sampledFramebuffer = sampledColour = sampledDepth = 0;
  }

  void release(Uploaded& upload) {
    gl.DeleteVertexArrays(1, &upload.vertexArray);
    gl.DeleteBuffers(1, &upload.vertexBuffer);
    gl.DeleteBuffers(1, &upload.indexBuffer);
    for (const GLuint texture : upload.textures) {
      if (texture) gl.DeleteTextures(1, &texture);
    }
  }

  /// Empty on success, else the driver's log.
  std::string build(Program& program, const char* vertex, const char* fragment) {
    const auto compile = [&](GLenum kind, const char* source, std::string& log) {
      const GLuint shader = gl.CreateShader(kind);
      gl.ShaderSource(shader, 1, &source, nullptr);
      gl.CompileShader(shader);
      GLint done = 0;
      gl.GetShaderiv(shader, GL_COMPILE_STATUS, &done);
      if (!done) {
        char text[2048] = "";
        gl.GetShaderInfoLog(shader, sizeof text, nullptr, text);
        log += text[0] ? text : "no reason given";
      }
      return shader;
    };
    std::string log;
    const GLuint v = compile(GL_VERTEX_SHADER, vertex, log), f = compile(GL_FRAGMENT_SHADER, fragment, log);
    program.id = gl.CreateProgram();
    gl.AttachShader(program.id, v);
    gl.AttachShader(program.id, f);
    gl.LinkProgram(program.id);
    gl.DeleteShader(v);
    gl.DeleteShader(f);
    GLint done = 0;
    gl.GetProgramiv(program.id, GL_LINK_STATUS, &done);
    if (!done && log.empty()) {
      char text[2048] = "";
      gl.GetProgramInfoLog(program.id, sizeof text, nullptr, text);
      log = text[0] ? text : "no reason given";
    }
    return log;
  }

  GLint place(Program& program, const char* name) {
    const auto found = program.places.find(name);
    if (found != program.places.end()) return found->second;
    return program.places[name] = gl.GetUniformLocation(program.id, name);
  }
  void set(Program& p, const char* name, int v) { gl.Uniform1i(place(p, name), v); }
  void set(Program& p, const char* name, float v) { gl.Uniform1f(place(p, name), v); }
  void set(Program& p, const char* name, float a, float b) { gl.Uniform2f(place(p, name), a, b); }
  void set(Program& p, const char* name, const Vec3f& v) { gl.Uniform3f(place(p, name), v.x, v.y, v.z); }
  void set(Program& p, const char* name, const Colour& c) { gl.Uniform4f(place(p, name), c.r, c.g, c.b, c.a); }
  void set(Program& p, const char* name, const Mat4f& m) { gl.UniformMatrix4fv(place(p, name), 1, GL_FALSE, m.data()); }

  static const void* offset(std::size_t bytes) { return reinterpret_cast<const void*>(bytes); }

  void describeVertices() {
    constexpr GLsizei stride = sizeof(StageVertex);
    for (GLuint i = 0; i < 8; ++i) gl.EnableVertexAttribArray(i);
    gl.VertexAttribPointer(0, 3, GL_FLOAT, GL_FALSE, stride, offset(offsetof(StageVertex, position)));
    gl.VertexAttribPointer(1, 3, GL_FLOAT, GL_FALSE, stride, offset(offsetof(StageVertex, normal)));
    gl.VertexAttribPointer(2, 2, GL_FLOAT, GL_FALSE, stride, offset(offsetof(StageVertex, texcoord)));
    gl.VertexAttribPointer(3, 4, GL_UNSIGNED_SHORT, GL_TRUE, stride, offset(offsetof(StageVertex, colour)));
    gl.VertexAttribIPointer(4, 4, GL_UNSIGNED_SHORT, stride, offset(offsetof(StageVertex, entries)));
    gl.VertexAttribIPointer(5, 4, GL_UNSIGNED_SHORT, stride, offset(offsetof(StageVertex, entries) + 8));
    gl.VertexAttribPointer(6, 4, GL_UNSIGNED_SHORT, GL_TRUE, stride, offset(offsetof(StageVertex, weights)));
    gl.VertexAttribPointer(7, 4, GL_UNSIGNED_SHORT, GL_TRUE, stride, offset(offsetof(StageVertex, weights) + 8));
  }

  void setUp() {
    gl.GenVertexArrays(1, &emptyArray);
    gl.GenVertexArrays(1, &strokeArray);
    gl.GenVertexArrays(1, &looseArray);
    gl.GenBuffers(1, &strokeBuffer);
    gl.GenBuffers(1, &looseBuffer);
    gl.GenBuffers(1, &looseIndices);
    gl.GenBuffers(1, &paletteBuffer);
    gl.GenTextures(1, &paletteTexture);
    gl.GenTextures(1, &shadowTexture);

    gl.BindVertexArray(looseArray);
    gl.BindBuffer(GL_ARRAY_BUFFER, looseBuffer);
    gl.BindBuffer(GL_ELEMENT_ARRAY_BUFFER, looseIndices);
    describeVertices();
    gl.BindVertexArray(strokeArray);
    gl.BindBuffer(GL_ARRAY_BUFFER, strokeBuffer);
    const int sizes[] = {4, 4, 4, 2};
    for (GLuint i = 0; i < 4; ++i) {
      gl.EnableVertexAttribArray(i);
      gl.VertexAttribPointer(i, sizes[i], GL_FLOAT, GL_FALSE, sizeof(Stroke), offset(std::size_t{16} * i));
      gl.VertexAttribDivisor(i, 1);
    }
    gl.BindVertexArray(0);
    gl.BindBuffer(GL_ARRAY_BUFFER, 0);
    gl.GetIntegerv(GL_MAX_SAMPLES, &maxSamples);
    gl.GetIntegerv(GL_MAX_TEXTURE_SIZE, &maxTexture);
    gl.GetIntegerv(GL_MAX_TEXTURE_BUFFER_SIZE, &maxTexels);
  }

  GLuint uploadTexture(const Picture& picture) {
    if (picture.width <= 0) return 0;
    // Software drivers and small cards: halve until it fits.
    const int largest = std::min(maxTexture, 4096);
    Picture smaller;
    const Picture* from = &picture;
    while (from->width > largest || from->height > largest) {
      Picture half(std::max(1, from->width / 2), std::max(1, from->height / 2));
      for (int y = 0; y < half.height; ++y) {
        for (int x = 0; x < half.width; ++x) {
          const int x1 = std::min(2 * x + 1, from->width - 1), y1 = std::min(2 * y + 1, from->height - 1);
          for (int c = 0; c < 4; ++c) {
            half.at(x, y)[c] = static_cast<std::uint8_t>(
                (from->at(std::min(2 * x, x1), std::min(2 * y, y1))[c] + from->at(x1, std::min(2 * y, y1))[c] + from->at(std::min(2 * x, x1), y1)[c] + from->at(x1, y1)[c] + 2) / 4);
          }
        }
      }
      smaller = std::move(half);
      from = &smaller;
    }
    GLuint texture = 0;
    gl.GenTextures(1, &texture);
    gl.BindTexture(GL_TEXTURE_2D, texture);
    gl.PixelStorei(GL_UNPACK_ALIGNMENT, 1);
    gl.TexImage2D(GL_TEXTURE_2D, 0, GL_SRGB8_ALPHA8, from->width, from->height, 0, GL_RGBA, GL_UNSIGNED_BYTE, from->rgba.data());
    gl.GenerateMipmap(GL_TEXTURE_2D);
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR_MIPMAP_NEAREST);
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
    return texture;
  }

  Uploaded& uploaded(const StageFigurePtr& figure) {
    Uploaded& u = uploads[figure.get()];
    if (u.vertexArray && !u.owner.expired()) return u;
    if (u.vertexArray) release(u), u = {};
    u.owner = figure;
    gl.GenVertexArrays(1, &u.vertexArray);
    gl.GenBuffers(1, &u.vertexBuffer);
    gl.GenBuffers(1, &u.indexBuffer);
    gl.BindVertexArray(u.vertexArray);
    gl.BindBuffer(GL_ARRAY_BUFFER, u.vertexBuffer);
    gl.BufferData(GL_ARRAY_BUFFER, static_cast<GLsizeiptr>(figure->vertices.size() * sizeof(StageVertex)), figure->vertices.data(), GL_STATIC_DRAW);
    gl.BindBuffer(GL_ELEMENT_ARRAY_BUFFER, u.indexBuffer);
    gl.BufferData(GL_ELEMENT_ARRAY_BUFFER, static_cast<GLsizeiptr>(figure->indices.size() * 4), figure->indices.data(), GL_STATIC_DRAW);
    describeVertices();
    gl.BindVertexArray(0);
    for (const Picture& image : figure->images) u.textures.push_back(uploadTexture(image));
    gl.BindTexture(GL_TEXTURE_2D, 0);
    return u;
  }

  void forgetExpired() {
    for (auto it = uploads.begin(); it != uploads.end();) {
      if (it->second.owner.expired()) {
        release(it->second);
        it = uploads.erase(it);
      } else {
        ++it;
      }
    }
  }

  /// False: the driver refuses this many samples; drawn without.
  bool bindSampled(int width, int height, int samples) {
    if (sampledFramebuffer && (sampledWidth != width || sampledHeight != height || sampledCount != samples)) releaseSampled();
    if (!sampledFramebuffer) {
      gl.GenFramebuffers(1, &sampledFramebuffer);
      gl.GenRenderbuffers(1, &sampledColour);
      gl.GenRenderbuffers(1, &sampledDepth);
      gl.BindRenderbuffer(GL_RENDERBUFFER, sampledColour);
      gl.RenderbufferStorageMultisample(GL_RENDERBUFFER, samples, GL_RGBA8, width, height);
      gl.BindRenderbuffer(GL_RENDERBUFFER, sampledDepth);
      gl.RenderbufferStorageMultisample(GL_RENDERBUFFER, samples, GL_DEPTH_COMPONENT24, width, height);
      gl.BindFramebuffer(GL_FRAMEBUFFER, sampledFramebuffer);
      gl.FramebufferRenderbuffer(GL_FRAMEBUFFER, GL_COLOR_ATTACHMENT0, GL_RENDERBUFFER, sampledColour);
      gl.FramebufferRenderbuffer(GL_FRAMEBUFFER, GL_DEPTH_ATTACHMENT, GL_RENDERBUFFER, sampledDepth);
      sampledWidth = width, sampledHeight = height, sampledCount = samples;
    }
    gl.BindFramebuffer(GL_FRAMEBUFFER, sampledFramebuffer);
    if (gl.CheckFramebufferStatus(GL_FRAMEBUFFER) == GL_FRAMEBUFFER_COMPLETE) return true;
    releaseSampled();
    return false;
  }

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
  Program& beginMesh(const Frame& frame, int influences, bool lit) {
    const int kind = influences == 0 ? 0 : influences == 1 ? 1 : influences <= 4 ? 2 : 3;
    Program& mesh = meshes[kind * 2 + (lit ? 1 : 0)];
    gl.UseProgram(mesh.id);
    if (mesh.frame == frameNumber) return mesh;
    mesh.frame = frameNumber;
    const Camera& camera = *frame.camera;
    set(mesh, "clipFromWorld", frame.clipFromWorld);
    set(mesh, "eye", Vec3f(camera.position()));
    set(mesh, "towardsEye", Vec3f(-camera.forward()));
    set(mesh, "eyeIsDirection", camera.orthographic ? 1 : 0);
    // The key light stays at the viewer's left shoulder, so that shape reads from every side.
    const double keyYaw = camera.yaw - 0.75, keyPitch = 0.72;
    set(mesh, "keyDirection", Vec3f(Vec3d{std::sin(keyYaw) * std::cos(keyPitch), std::sin(keyPitch), std::cos(keyYaw) * std::cos(keyPitch)}));
    set(mesh, "keyColour", frame.light.key);
    set(mesh, "rimColour", frame.light.rim);
    set(mesh, "skyLight", frame.light.sky);
    set(mesh, "groundLight", frame.light.ground);
    set(mesh, "highlightColour", linearOf(frame.palette.selection));
    set(mesh, "groundHeight", static_cast<float>(frame.style->groundHeight));
    set(mesh, "palette", 1);
    set(mesh, "image", 0);
    return mesh;
  }

  void drawMeshes(const Frame& frame, const Prepared& prepared) {
    const FigureInstance& instance = *prepared.instance;
    const Figure& figure = *instance.figure->figure;
    Colour replaced{0, 0, 0, 0};
    if (instance.meshTint) {
      const Vec3f c = linearOf(*instance.meshTint);
      replaced = {c.x, c.y, c.z, instance.meshTint->a};
    }
    if (prepared.firstEntry >= 0) {
      Uploaded& buffers = uploaded(instance.figure);
      gl.BindVertexArray(buffers.vertexArray);
      const Vec3f clay = linearOf(frame.palette.clay);
      for (const StageBatch& batch : instance.figure->batches) {
        if (meshHidden(instance, batch.mesh)) continue;
        static const Material plain;
        const Material& material = batch.material >= 0 ? figure.materials[batch.material] : plain;
        const bool bare = batch.material < 0 && figure.meshes[batch.mesh].colours.empty();
        const auto& b = material.baseColour;
        Program& mesh = beginMesh(frame, batch.influences, prepared.lit);
        set(mesh, "alpha", instance.meshAlpha);
        set(mesh, "replaced", replaced);
        set(mesh, "firstEntry", prepared.firstEntry);
        set(mesh, "baseColour", bare ? Colour{clay.x, clay.y, clay.z, 1} : Colour{b[0], b[1], b[2], b[3]});
        const bool hasImage = material.image >= 0 && static_cast<std::size_t>(material.image) < buffers.textures.size() && buffers.textures[material.image];
        gl.ActiveTexture(GL_TEXTURE0);
        gl.BindTexture(GL_TEXTURE_2D, hasImage ? buffers.textures[material.image] : 0);
        set(mesh, "hasImage", hasImage ? 1 : 0);
        set(mesh, "alphaCutoff", material.alphaCutoff);
        set(mesh, "doubleSided", material.doubleSided ? 1 : 0);
        if (material.doubleSided) {
          gl.Disable(GL_CULL_FACE);
        } else {
          gl.Enable(GL_CULL_FACE);
          gl.FrontFace(prepared.mirrored[batch.firstEntry] ? GL_CW : GL_CCW);
        }
        gl.DrawElements(GL_TRIANGLES, static_cast<GLsizei>(batch.indexCount), GL_UNSIGNED_INT, offset(std::size_t{4} * batch.firstIndex));
      }
    }
    if (prepared.looseCount > 0) {
      gl.BindVertexArray(looseArray);
      gl.Enable(GL_CULL_FACE);
      gl.FrontFace(GL_CCW);
      Program& mesh = beginMesh(frame, 0, false);
      set(mesh, "alpha", instance.meshAlpha);
      set(mesh, "replaced", replaced);
      const Vec3f c = linearOf(instance.skeletonColour);
      // The body steps back behind the lines drawn on it: darker on dark, paler on light.
      const bool dark = frame.style->theme == Theme::dark;
      const float part = dark ? 0.52f : 0.45f, lift = dark ? 0.02f : 0.42f;
      set(mesh, "baseColour", Colour{c.x * part + lift, c.y * part + lift, c.z * part + lift, 1});
      set(mesh, "hasImage", 0);
      set(mesh, "alphaCutoff", -1.0f);
      set(mesh, "doubleSided", 0);
      gl.DrawElements(GL_TRIANGLES, prepared.looseCount, GL_UNSIGNED_INT, offset(std::size_t{4} * prepared.looseFirst));
    }
  }

  void setSky(Program& program, const Frame& frame) {
    const Camera& camera = *frame.camera;
    float at = -0.6f, span = 2.0f;
    if (!camera.orthographic) {
      at = std::min(static_cast<float>(std::clamp(std::tan(camera.pitch) / std::tan(camera.fieldOfView / 2), -3.0, 6.0)), 1.1f) - 0.15f;
      span = 1.7f;
    }
    set(program, "top", frame.palette.skyTop);
    set(program, "horizon", frame.palette.skyHorizon);
    set(program, "horizonAt", at);
    set(program, "span", span);
  }

  void drawSky(const Frame& frame) {
    gl.UseProgram(sky.id);
    gl.BindVertexArray(emptyArray);
    setSky(sky, frame);
    gl.DrawArrays(GL_TRIANGLES, 0, 3);
  }

  /// The figures' shadow as a texture the ground reads; its colour stays clear where there is none.
  void setShadow(const Frame& frame, const Scene& scene) {
    set(ground, "shadow", 0);
    set(ground, "shadowColour", Colour{0, 0, 0, 0});
    if (!frame.style->shadows) return;
    const ShadowMap map = groundShadow(scene.figures, frame.style->groundHeight);
    if (map.width <= 0) return;
    gl.ActiveTexture(GL_TEXTURE0);
    gl.BindTexture(GL_TEXTURE_2D, shadowTexture);
    gl.PixelStorei(GL_UNPACK_ALIGNMENT, 1);
    gl.TexImage2D(GL_TEXTURE_2D, 0, GL_R8, map.width, map.height, 0, GL_RED, GL_UNSIGNED_BYTE, map.darkness.data());
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR);
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_S, GL_CLAMP_TO_EDGE);
    gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_T, GL_CLAMP_TO_EDGE);
    gl.Uniform4f(place(ground, "shadowArea"), static_cast<float>(map.x), static_cast<float>(map.z), static_cast<float>(1 / map.sizeX), static_cast<float>(1 / map.sizeZ));
    const Colour dark = frame.style->theme == Theme::dark ? colourOf(0x05090c) : colourOf(0x33454e);
    set(ground, "shadowColour", withAlpha(dark, frame.light.shadow));
  }

  void drawGround(const Frame& frame, const Scene& scene) {
    const Camera& camera = *frame.camera;
    const StageStyle& style = *frame.style;
    const float height = static_cast<float>(style.groundHeight);
    gl.UseProgram(ground.id);
    gl.BindVertexArray(emptyArray);
    setSky(ground, frame);
    set(ground, "clipFromWorld", frame.clipFromWorld);
    set(ground, "size", static_cast<float>(frame.width), static_cast<float>(frame.height));
    set(ground, "ground", frame.palette.ground);
    set(ground, "fine", frame.palette.gridFine);
    set(ground, "metre", frame.palette.gridMetre);
    set(ground, "axis", frame.palette.gridAxis);
    set(ground, "grid", style.grid && !style.bare ? 1 : 0);
    set(ground, "pixel", std::max(1.0f, style.pixelRatio));
    set(ground, "strength", 1.0f);
    const bool wall = camera.orthographic && std::abs(camera.pitch) < 0.02;
    if (wall) {
      // Seen edge-on the floor is a line: a wall with the same grid stands behind the figures instead.
      const Vec3d right = camera.right();
      const Vec3d behind = camera.forward() * (dot(camera.target, camera.forward()) + 150.0);
      set(ground, "origin", Vec3f(Vec3d{behind.x, height, behind.z}));
      set(ground, "axisU", Vec3f(right));
      set(ground, "axisV", Vec3f{0, 1, 0});
      set(ground, "middle", static_cast<float>(dot(camera.target, right)), static_cast<float>(camera.target.y - height));
      set(ground, "reach", static_cast<float>(camera.orthographicHeight * 2.2));
      set(ground, "strength", 0.85f);
      set(ground, "shadowColour", Colour{0, 0, 0, 0});
    } else {
      const double away = camera.orthographic ? camera.orthographicHeight * 1.6 : camera.distance;
      set(ground, "origin", Vec3f{0, height, 0});
      set(ground, "axisU", Vec3f{1, 0, 0});
      set(ground, "axisV", Vec3f{0, 0, 1});
      set(ground, "middle", static_cast<float>(camera.target.x), static_cast<float>(camera.target.z));
      set(ground, "reach", static_cast<float>(std::clamp(away * 4.5, 6.0, 120.0)));
      setShadow(frame, scene);
    }
    gl.DrawArrays(GL_TRIANGLE_STRIP, 0, 4);
  }

  void drawStrokes(const std::vector<Stroke>& strokes, int width, int height, bool depthTest) {
    if (strokes.empty()) return;
    gl.UseProgram(stroke.id);
    gl.BindVertexArray(strokeArray);
    gl.BindBuffer(GL_ARRAY_BUFFER, strokeBuffer);
    gl.BufferData(GL_ARRAY_BUFFER, static_cast<GLsizeiptr>(strokes.size() * sizeof(Stroke)), strokes.data(), GL_STREAM_DRAW);
    set(stroke, "size", static_cast<float>(width), static_cast<float>(height));
    if (depthTest) {
      gl.Enable(GL_DEPTH_TEST);
    } else {
      gl.Disable(GL_DEPTH_TEST);
    }
    gl.Disable(GL_CULL_FACE);
    gl.DepthMask(GL_FALSE);
    gl.Enable(GL_BLEND);
    gl.DrawArraysInstanced(GL_TRIANGLE_STRIP, 0, 4, static_cast<GLsizei>(strokes.size()));
    gl.DepthMask(GL_TRUE);
  }

  std::vector<Prepared> prepare(const Scene& scene) {
    std::vector<Prepared> result;
    std::vector<StageVertex> loose;
    std::vector<std::uint32_t> looseOrder;
    paletteTexels.clear();
    for (const FigureInstance& instance : scene.figures) {
      Prepared p{&instance};
      if (instance.figure && instance.showMesh && instance.meshAlpha > 0.004f && !instance.figure->batches.empty()) {
        const std::vector<Affinef> entries = paletteOf(*instance.figure, instance.placement, poseOf(instance));
        const int first = static_cast<int>(paletteTexels.size() / 16);
        if ((first + static_cast<int>(entries.size())) * 4 <= maxTexels) {
          p.firstEntry = first;
          for (std::size_t i = 0; i < entries.size(); ++i) {
            const Affinef& a = entries[i];
            const int joint = instance.figure->palette[i].joint;
            float glow = joint >= 0 && joint == instance.hoveredJoint ? 0.6f : 0.0f;
            if (joint >= 0 && std::find(instance.selectedJoints.begin(), instance.selectedJoints.end(), joint) != instance.selectedJoints.end()) glow = 1;
            p.lit = p.lit || glow > 0;
            const float texels[16] = {a.linear.cx.x, a.linear.cy.x, a.linear.cz.x, a.translation.x, a.linear.cx.y, a.linear.cy.y, a.linear.cz.y, a.translation.y,
                                      a.linear.cx.z, a.linear.cy.z, a.linear.cz.z, a.translation.z, glow, 0, 0, 0};
            paletteTexels.insert(paletteTexels.end(), std::begin(texels), std::end(texels));
            p.mirrored.push_back(determinant(a.linear) < 0 ? 1 : 0);
          }
        }
      }
      if (instance.figure && instance.showBody) {
        p.looseFirst = static_cast<int>(looseOrder.size());
        for (const Capsule& capsule : bodyCapsules(instance)) appendCapsule(capsule, loose, looseOrder);
        p.looseCount = static_cast<int>(looseOrder.size()) - p.looseFirst;
      }
      result.push_back(std::move(p));
    }
    gl.BindBuffer(GL_TEXTURE_BUFFER, paletteBuffer);
    static const float none[16] = {};
    const bool some = !paletteTexels.empty();
    gl.BufferData(GL_TEXTURE_BUFFER, static_cast<GLsizeiptr>(some ? paletteTexels.size() * 4 : sizeof none), some ? paletteTexels.data() : none, GL_STREAM_DRAW);
    gl.ActiveTexture(GL_TEXTURE1);
    gl.BindTexture(GL_TEXTURE_BUFFER, paletteTexture);
    gl.TexBuffer(GL_TEXTURE_BUFFER, GL_RGBA32F, paletteBuffer);
    if (!loose.empty()) {
      gl.BindBuffer(GL_ARRAY_BUFFER, looseBuffer);
      gl.BufferData(GL_ARRAY_BUFFER, static_cast<GLsizeiptr>(loose.size() * sizeof(StageVertex)), loose.data(), GL_STREAM_DRAW);
      gl.BindVertexArray(looseArray);
      gl.BufferData(GL_ELEMENT_ARRAY_BUFFER, static_cast<GLsizeiptr>(looseOrder.size() * 4), looseOrder.data(), GL_STREAM_DRAW);
      gl.BindVertexArray(0);
    }
    return result;
  }

  void draw(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height, GLuint target) {
    if (width <= 0 || height <= 0) return;
    forgetExpired();
    ++frameNumber;
    const int samples = std::clamp(style.samples, 1, maxSamples);
    const bool sampled = samples > 1 && bindSampled(width, height, samples);
    if (!sampled) gl.BindFramebuffer(GL_FRAMEBUFFER, target);
    if (sampled) {
      gl.Enable(GL_MULTISAMPLE);
    }
    gl.Viewport(0, 0, width, height);
    gl.Disable(GL_SCISSOR_TEST);
    gl.Disable(GL_STENCIL_TEST);
    gl.Disable(GL_FRAMEBUFFER_SRGB);
    gl.ColorMask(GL_TRUE, GL_TRUE, GL_TRUE, GL_TRUE);
    gl.DepthMask(GL_TRUE);
    gl.Enable(GL_DEPTH_TEST);
    gl.DepthFunc(GL_LEQUAL);
    gl.CullFace(GL_BACK);
    gl.Disable(GL_BLEND);
    gl.BlendFuncSeparate(GL_SRC_ALPHA, GL_ONE_MINUS_SRC_ALPHA, GL_ONE, GL_ONE_MINUS_SRC_ALPHA);
    const Colour clear = style.background.value_or(Colour{0, 0, 0, 1});
    gl.ClearColor(clear.r, clear.g, clear.b, clear.a);
    gl.ClearDepth(1.0);
    gl.Clear(GL_COLOR_BUFFER_BIT | GL_DEPTH_BUFFER_BIT);

    Frame frame{multiply(projectionMatrix(camera, static_cast<double>(width) / height), viewMatrix(camera)), &camera, &style,
                stagePalette(style.theme), lightOf(style.theme), width, height};
    const std::vector<Prepared> prepared = prepare(scene);

    const auto opaque = [](const Prepared& p) { return p.instance->meshAlpha >= 0.999f; };
    for (const Prepared& p : prepared) {
      if (p.instance->figure && opaque(p)) drawMeshes(frame, p);
    }
    gl.Disable(GL_CULL_FACE);
    if (!style.background) {
      // From below the floor is left away: it would hide the figures.
      if (camera.position().y >= style.groundHeight || (camera.orthographic && camera.pitch >= -0.02)) drawGround(frame, scene);
      gl.DepthMask(GL_FALSE);
      drawSky(frame);
      gl.DepthMask(GL_TRUE);
    }

    // Seen through: depth first, then colour where it is nearest, so that a figure does not show its own inside.
    for (const Prepared& p : prepared) {
      if (!p.instance->figure || opaque(p)) continue;
      gl.ColorMask(GL_FALSE, GL_FALSE, GL_FALSE, GL_FALSE);
      gl.Disable(GL_BLEND);
      drawMeshes(frame, p);
      gl.ColorMask(GL_TRUE, GL_TRUE, GL_TRUE, GL_TRUE);
      gl.Enable(GL_BLEND);
      drawMeshes(frame, p);
    }

    if (!style.bare) {
      StrokeBuilder inside(camera, width, height, style.pixelRatio), over(camera, width, height, style.pixelRatio);
      if (style.grid && style.distanceMarks && !style.background) addDistanceMarks(inside, camera, style.groundHeight, frame.palette);
      for (const FigureInstance& instance : scene.figures) {
        if (instance.showSkeleton) addSkeleton(instance.xray ? over : inside, instance, frame.palette);
      }
      for (const Trail& trail : scene.trails) addTrail(over, trail, frame.palette);
      for (const Segment& s : scene.segments) over.line(s.from, s.to, s.width / 2, s.width / 2, s.colour, s.dashed ? 9.0f : 0.0f);
      for (const Mark& m : scene.marks) over.dot(m.at, m.radius, m.colour, m.ring ? 1.0f : 0.0f);
      drawStrokes(inside.strokes, width, height, true);
      drawStrokes(over.strokes, width, height, false);
    }

    if (sampled) {
      gl.BindFramebuffer(GL_READ_FRAMEBUFFER, sampledFramebuffer);
      gl.BindFramebuffer(GL_DRAW_FRAMEBUFFER, target);
      gl.BlitFramebuffer(0, 0, width, height, 0, 0, width, height, GL_COLOR_BUFFER_BIT, GL_NEAREST);
      gl.BindFramebuffer(GL_FRAMEBUFFER, target);
    }
    gl.Disable(GL_BLEND);
    gl.Disable(GL_DEPTH_TEST);
    gl.Disable(GL_CULL_FACE);
    gl.FrontFace(GL_CCW);
    gl.BindVertexArray(0);
    gl.UseProgram(0);
    gl.BindBuffer(GL_ARRAY_BUFFER, 0);
    gl.BindBuffer(GL_TEXTURE_BUFFER, 0);
    gl.ActiveTexture(GL_TEXTURE1);
    gl.BindTexture(GL_TEXTURE_BUFFER, 0);
    gl.ActiveTexture(GL_TEXTURE0);
    gl.BindTexture(GL_TEXTURE_2D, 0);
  }
};

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
  const struct {
    Program& program;
    const char *vertex, *fragment, *name;
  } programs[] = {{impl->sky, shaders::skyVertex, shaders::skyFragment, "sky"},
                  {impl->ground, shaders::groundVertex, shaders::groundFragment, "ground"},
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
