// Figures: palettes of joints, skinned meshes, stand-in bodies.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "render/stage_impl.h"

namespace understudy {

namespace {

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

/// The program for so many influences a vertex, ready to draw this frame.
Program& StageRenderer::Impl::beginMesh(const Frame& frame, int influences, bool lit) {
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

void StageRenderer::Impl::drawMeshes(const Frame& frame, const Prepared& prepared, bool through) {
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
      const bool faint = meshThrough(instance, batch.mesh);
      if ((faint || instance.meshAlpha < opaqueAlpha) != through) continue;
      static const Material plain;
      const Material& material = batch.material >= 0 ? figure.materials[batch.material] : plain;
      const bool bare = batch.material < 0 && figure.meshes[batch.mesh].colours.empty();
      const auto& b = material.baseColour;
      Program& mesh = beginMesh(frame, batch.influences, prepared.lit);
      set(mesh, "alpha", faint ? std::min(instance.meshAlpha, throughAlpha) : instance.meshAlpha);
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
  if (prepared.looseCount > 0 && (instance.meshAlpha < opaqueAlpha) == through) {
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

std::vector<StageRenderer::Impl::Prepared> StageRenderer::Impl::prepare(const Scene& scene) {
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

}  // namespace understudy
