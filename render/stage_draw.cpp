// A picture of the stage, pass by pass: figures, ground and shadow, sky, what is seen through, marks.
#include <algorithm>
#include <cmath>

#include "render/ground_shadow.h"
#include "render/stage_impl.h"

namespace understudy {

Vec3f linearOf(const Colour& c) {
  const auto f = [](float v) { return v <= 0.04045f ? v / 12.92f : std::pow((v + 0.055f) / 1.055f, 2.4f); };
  return {f(c.r), f(c.g), f(c.b)};
}

Light lightOf(Theme theme) {
  if (theme == Theme::dark) return {{0.86f, 0.80f, 0.70f}, {0.34f, 0.50f, 0.60f}, {0.40f, 0.47f, 0.54f}, {0.16f, 0.17f, 0.18f}, 0.78f};
  return {{0.74f, 0.70f, 0.63f}, {0.30f, 0.33f, 0.35f}, {0.60f, 0.64f, 0.68f}, {0.36f, 0.36f, 0.34f}, 0.50f};
}

void StageRenderer::Impl::setSky(Program& program, const Frame& frame) {
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

void StageRenderer::Impl::drawSky(const Frame& frame) {
  gl.UseProgram(sky.id);
  gl.BindVertexArray(emptyArray);
  setSky(sky, frame);
  gl.DrawArrays(GL_TRIANGLES, 0, 3);
}

void StageRenderer::Impl::drawShadow(const Frame& frame, const Scene& scene, float reach) {
  if (!frame.style->shadows) return;
  const ShadowMap map = groundShadow(scene.figures, frame.style->groundHeight);
  if (map.width <= 0) return;
  gl.UseProgram(shade.id);
  gl.ActiveTexture(GL_TEXTURE0);
  gl.BindTexture(GL_TEXTURE_2D, shadowTexture);
  gl.PixelStorei(GL_UNPACK_ALIGNMENT, 1);
  gl.TexImage2D(GL_TEXTURE_2D, 0, GL_R8, map.width, map.height, 0, GL_RED, GL_UNSIGNED_BYTE, map.darkness.data());
  gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR);
  gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_LINEAR);
  gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_S, GL_CLAMP_TO_EDGE);
  gl.TexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_T, GL_CLAMP_TO_EDGE);
  set(shade, "clipFromWorld", frame.clipFromWorld);
  gl.Uniform4f(place(shade, "area"), static_cast<float>(map.x), static_cast<float>(map.z), static_cast<float>(map.sizeX), static_cast<float>(map.sizeZ));
  set(shade, "height", static_cast<float>(frame.style->groundHeight));
  set(shade, "middle", static_cast<float>(frame.camera->target.x), static_cast<float>(frame.camera->target.z));
  set(shade, "reach", reach);
  set(shade, "shadow", 0);
  const Colour dark = frame.style->theme == Theme::dark ? colourOf(0x05090c) : colourOf(0x33454e);
  set(shade, "shadowColour", withAlpha(dark, frame.light.shadow));
  gl.Enable(GL_BLEND);
  gl.DepthMask(GL_FALSE);
  gl.DrawArrays(GL_TRIANGLE_STRIP, 0, 4);
  gl.DepthMask(GL_TRUE);
  gl.Disable(GL_BLEND);
}

void StageRenderer::Impl::drawGround(const Frame& frame, const Scene& scene) {
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
    gl.DrawArrays(GL_TRIANGLE_STRIP, 0, 4);
  } else {
    const double away = camera.orthographic ? camera.orthographicHeight * 1.6 : camera.distance;
    set(ground, "origin", Vec3f{0, height, 0});
    set(ground, "axisU", Vec3f{1, 0, 0});
    set(ground, "axisV", Vec3f{0, 0, 1});
    set(ground, "middle", static_cast<float>(camera.target.x), static_cast<float>(camera.target.z));
    const auto reach = static_cast<float>(std::clamp(away * 4.5, 6.0, 120.0));
    set(ground, "reach", reach);
    gl.DrawArrays(GL_TRIANGLE_STRIP, 0, 4);
    drawShadow(frame, scene, reach);
  }
}

void StageRenderer::Impl::drawStrokes(const std::vector<Stroke>& strokes, int width, int height, bool depthTest) {
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

void StageRenderer::Impl::draw(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height, GLuint target) {
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

  for (const Prepared& p : prepared) {
    if (p.instance->figure) drawMeshes(frame, p, false);
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
    const auto& how = p.instance->hiddenMeshes;
    if (!p.instance->figure || (p.instance->meshAlpha >= opaqueAlpha && std::find(how.begin(), how.end(), 2) == how.end())) continue;
    gl.ColorMask(GL_FALSE, GL_FALSE, GL_FALSE, GL_FALSE);
    gl.Disable(GL_BLEND);
    drawMeshes(frame, p, true);
    gl.ColorMask(GL_TRUE, GL_TRUE, GL_TRUE, GL_TRUE);
    gl.Enable(GL_BLEND);
    drawMeshes(frame, p, true);
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

}  // namespace understudy
