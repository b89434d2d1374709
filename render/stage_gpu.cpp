// The renderer's hold on the driver: programs, buffers, textures, framebuffers.
#include <algorithm>
#include <cstddef>

#include "render/stage_impl.h"

namespace understudy {

StageRenderer::Impl::~Impl() {
  if (!gl.DeleteProgram) return;
  for (Program* p : {&sky, &ground, &shade, &stroke}) {
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

void StageRenderer::Impl::releaseSampled() {
  if (!sampledFramebuffer) return;
  gl.DeleteFramebuffers(1, &sampledFramebuffer);
  gl.DeleteRenderbuffers(1, &sampledColour);
  gl.DeleteRenderbuffers(1, &sampledDepth);
  sampledFramebuffer = sampledColour = sampledDepth = 0;
}

void StageRenderer::Impl::release(Uploaded& upload) {
  gl.DeleteVertexArrays(1, &upload.vertexArray);
  gl.DeleteBuffers(1, &upload.vertexBuffer);
  gl.DeleteBuffers(1, &upload.indexBuffer);
  for (const GLuint texture : upload.textures) {
    if (texture) gl.DeleteTextures(1, &texture);
  }
}

/// Empty on success, else the driver's log.
std::string StageRenderer::Impl::build(Program& program, const char* vertex, const char* fragment) {
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

GLint StageRenderer::Impl::place(Program& program, const char* name) {
  const auto found = program.places.find(name);
  if (found != program.places.end()) return found->second;
  return program.places[name] = gl.GetUniformLocation(program.id, name);
}

void StageRenderer::Impl::describeVertices() {
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

void StageRenderer::Impl::setUp() {
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

GLuint StageRenderer::Impl::uploadTexture(const Picture& picture) {
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

Uploaded& StageRenderer::Impl::uploaded(const StageFigurePtr& figure) {
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

void StageRenderer::Impl::forgetExpired() {
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
bool StageRenderer::Impl::bindSampled(int width, int height, int samples) {
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

}  // namespace understudy
