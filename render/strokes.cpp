#include "render/strokes.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "render/stage_figure.h"
#include "render/stroke_font.h"

namespace understudy {

StrokeBuilder::StrokeBuilder(const Camera& camera, int width, int height, float pixelRatio)
    : camera_(camera), width_(width), height_(height), ratio_(pixelRatio),
      clipFromWorld_(multiply(projectionMatrix(camera, static_cast<double>(width) / std::max(1, height)), viewMatrix(camera))),
      eye_(camera.position()), forward_(camera.forward()), nearest_(camera.orthographic ? -1e9 : std::max(0.02, camera.distance * 0.03)) {}

bool StrokeBuilder::clipLine(Vec3d& a, Vec3d& b) const {
  if (!isFinite(a) || !isFinite(b)) return false;
  const double da = understudy::dot(a - eye_, forward_) - nearest_, db = understudy::dot(b - eye_, forward_) - nearest_;
  if (da <= 0 && db <= 0) return false;
  if (da <= 0) a = lerp(a, b, da / (da - db));
  if (db <= 0) b = lerp(b, a, db / (db - da));
  return true;
}

bool StrokeBuilder::place(const Vec3d& at, Point& out) const {
  const auto& m = clipFromWorld_;
  const float x = static_cast<float>(at.x), y = static_cast<float>(at.y), z = static_cast<float>(at.z);
  const float cx = m[0] * x + m[4] * y + m[8] * z + m[12], cy = m[1] * x + m[5] * y + m[9] * z + m[13];
  const float cz = m[2] * x + m[6] * y + m[10] * z + m[14], cw = m[3] * x + m[7] * y + m[11] * z + m[15];
  if (!(cw > 1e-5f)) return false;
  out = {(cx / cw * 0.5f + 0.5f) * static_cast<float>(width_), (0.5f - cy / cw * 0.5f) * static_cast<float>(height_), cz / cw};
  return std::abs(out.x) < 1e5f && std::abs(out.y) < 1e5f;
}

void StrokeBuilder::line(const Vec3d& from, const Vec3d& to, float radiusA, float radiusB, const Colour& c, float dash) {
  Vec3d a = from, b = to;
  Point pa{}, pb{};
  if (!clipLine(a, b) || !place(a, pa) || !place(b, pb)) return;
  strokes.push_back({pa.x, pa.y, pb.x, pb.y, radiusA * ratio_, radiusB * ratio_, pa.z, pb.z, {c.r, c.g, c.b, c.a}, 0, dash * ratio_});
}

void StrokeBuilder::dot(const Vec3d& at, float radius, const Colour& c, float ring) {
  Vec3d a = at, b = at;
  Point p{};
  if (!clipLine(a, b) || !place(a, p)) return;
  strokes.push_back({p.x, p.y, p.x, p.y, radius * ratio_, radius * ratio_, p.z, p.z, {c.r, c.g, c.b, c.a}, ring * ratio_, 0});
}

void StrokeBuilder::text(const Vec3d& at, std::string_view words, float dx, float dy, float size, float weight, const Colour& c) {
  Vec3d a = at, b = at;
  Point p{};
  if (!clipLine(a, b) || !place(a, p)) return;
  // Nearer than the floor it stands on, which rises in front of its lower edge.
  if (Point lifted{}; place(camera_.orthographic ? a - forward_ : lerp(a, eye_, 0.1), lifted)) p.z = lifted.z;
  const float scale = size * ratio_, r = weight * ratio_ / 2;
  const float x0 = p.x + dx * ratio_, y0 = p.y + dy * ratio_;
  for (const StrokeLine& run : strokeText(words)) {
    for (std::size_t i = 0; i + 1 < run.size() || i == 0; ++i) {
      const Vec2f from = run[i], to = run[std::min(i + 1, run.size() - 1)];
      strokes.push_back({x0 + from.x * scale, y0 - from.y * scale, x0 + to.x * scale, y0 - to.y * scale, r, r, p.z, p.z, {c.r, c.g, c.b, c.a}, 0, 0});
    }
  }
}

double StrokeBuilder::pixelsPerMetre(const Vec3d& at) const { return 1 / camera_.metresPerPixel(at, height_) / ratio_; }

void addSkeleton(StrokeBuilder& builder, const FigureInstance& instance, const StagePalette& palette) {
  if (!instance.figure) return;
  const StageFigure& figure = *instance.figure;
  const std::span<const Affined> pose = poseOf(instance);
  const std::vector<ShownBone> bones = shownBones(instance);
  const double scale = std::cbrt(std::abs(determinant(instance.placement.linear)));
  const auto at = [&](int joint) { return apply(instance.placement, pose[joint].translation); };
  const auto colourOfJoint = [&](int joint) {
    return static_cast<std::size_t>(joint) < instance.jointColours.size() ? instance.jointColours[joint] : instance.skeletonColour;
  };
  // Dots no larger than the bones beside them allow: a hand is no bunch of grapes.
  std::vector<float> dotRadius(pose.size(), 1e9f);
  struct Line {
    Vec3d a, b;
    int joint, parent;
    float wide, narrow;
  };
  std::vector<Line> lines;
  for (const ShownBone& bone : bones) {
    const Vec3d b = at(bone.joint);
    const double pixels = builder.pixelsPerMetre(b);
    const float body = static_cast<float>(std::clamp(figure.height * scale * pixels * 0.0085, 1.4, 4.6)) * instance.skeletonWidth;
    float& own = dotRadius[bone.joint];
    own = std::min(own, body);
    if (bone.parent < 0) continue;
    const Vec3d a = at(bone.parent);
    const float span = static_cast<float>(distance(a, b) * pixels);
    if (span > 1) {
      own = std::min(own, std::max(1.0f, span * 0.17f));
      if (span > 6) dotRadius[bone.parent] = std::min(dotRadius[bone.parent], std::max(1.2f, span * 0.3f));
    }
    const float wide = std::min(body * 0.72f, std::max(0.7f, span * 0.13f));
    lines.push_back({a, b, bone.joint, bone.parent, wide, wide * 0.5f});
  }
  const auto selected = [&](int joint) {
    return std::find(instance.selectedJoints.begin(), instance.selectedJoints.end(), joint) != instance.selectedJoints.end();
  };
  const Colour edge = withAlpha(palette.selectionEdge, 0.62f);
  for (const Line& l : lines) builder.line(l.a, l.b, l.wide + 1.1f, l.narrow + 1.1f, edge);
  for (const ShownBone& bone : bones) {
    if (!selected(bone.joint)) builder.dot(at(bone.joint), dotRadius[bone.joint] + 1.1f, edge);
  }
  for (const Line& l : lines) {
    const bool hot = l.parent == instance.hoveredJoint || selected(l.parent);
    const Colour c = selected(l.parent) ? palette.selection : hot ? palette.hover : colourOfJoint(l.parent);
    builder.line(l.a, l.b, l.wide * (hot ? 1.25f : 1.0f), l.narrow * (hot ? 1.25f : 1.0f), c);
  }
  for (const ShownBone& bone : bones) {
    const Vec3d p = at(bone.joint);
    const float r = dotRadius[bone.joint];
    if (selected(bone.joint)) {
      builder.dot(p, r + 6.2f, palette.selectionEdge, 2.6f);
      builder.dot(p, r + 6.4f, palette.selection, 0.9f);
      builder.dot(p, r + 3.2f, palette.selection, 0.9f);
      builder.dot(p, r + 0.8f, colourOfJoint(bone.joint));
    } else if (bone.joint == instance.hoveredJoint) {
      builder.dot(p, r + 3.2f, palette.hover, 0.9f);
      builder.dot(p, r + 0.6f, palette.hover);
    } else {
      builder.dot(p, r, colourOfJoint(bone.joint));
      if (r > 2.2f) builder.dot(p, r * 0.5f, withAlpha(palette.selectionEdge, 0.85f));
    }
  }
}

void addTrail(StrokeBuilder& builder, const Trail& trail, const StagePalette& palette) {
  const int n = static_cast<int>(trail.points.size());
  const auto faded = [&](int i) {
    Colour c = trail.colour;
    if (trail.now >= 0 && i > trail.now) c.a *= 0.45f;
    return c;
  };
  for (int i = 0; i + 1 < n; ++i) builder.line(trail.points[i], trail.points[i + 1], trail.width / 2, trail.width / 2, faded(i + 1));
  if (trail.tickEvery > 0) {
    for (int i = 0; i < n; i += trail.tickEvery) builder.dot(trail.points[i], trail.width * 1.25f, faded(i));
  }
  if (trail.now >= 0 && trail.now < n) {
    builder.dot(trail.points[trail.now], trail.width * 2.4f + 1.2f, withAlpha(palette.selectionEdge, 0.8f));
    builder.dot(trail.points[trail.now], trail.width * 2.4f, trail.colour);
  }
}

void addDistanceMarks(StrokeBuilder& builder, const Camera& camera, double groundHeight, const StagePalette& palette) {
  const bool wall = camera.orthographic && std::abs(camera.pitch) < 0.3;
  const double away = std::clamp(camera.orthographic ? camera.orthographicHeight : camera.distance, 0.5, 40.0);
  const int step = away > 24 ? 5 : away > 12 ? 2 : 1;
  const int reach = std::min(24, static_cast<int>(away * 1.1) + 2);
  const auto number = [&](const Vec3d& at, int metres, float dx, float dy) {
    const double far = distance(at, camera.target) / (away * 1.25);
    const float alpha = static_cast<float>(std::clamp(1.25 - far, 0.0, 0.85));
    if (alpha > 0.04f) builder.text(at, std::to_string(std::abs(metres)), dx, dy, 7, 1.15f, withAlpha(palette.text, alpha));
  };
  const int cx = static_cast<int>(std::lround(camera.target.x)), cz = static_cast<int>(std::lround(camera.target.z));
  if (wall) {
    const bool side = std::abs(camera.right().x) < 0.5;
    const int c = side ? cz : cx;
    for (int i = c - reach; i <= c + reach; ++i) {
      if (i % step == 0) number(side ? Vec3d{camera.target.x, groundHeight, static_cast<double>(i)} : Vec3d{static_cast<double>(i), groundHeight, camera.target.z}, i, 3, 12);
    }
    return;
  }
  if (camera.position().y < groundHeight) return;
  for (int i = cx - reach; i <= cx + reach; ++i) {
    if (i % step == 0 && i != 0) number({static_cast<double>(i), groundHeight, 0}, i, 4, 11);
  }
  for (int i = cz - reach; i <= cz + reach; ++i) {
    if (i % step == 0) number({0, groundHeight, static_cast<double>(i)}, i, 4, 11);
  }
}

}  // namespace understudy
