// Marks in the picture plane, built on the CPU and drawn in one go. Internal to render/.
#pragma once

#include <string_view>
#include <vector>

#include "render/stage.h"

namespace understudy {

/// As it lies in the instance buffer; pixels from the top left, radii in pixels, depth in normalised device units.
struct Stroke {
  float ax = 0, ay = 0, bx = 0, by = 0;
  float ra = 1, rb = 1, za = 0, zb = 0;
  float colour[4] = {1, 1, 1, 1};
  float ring = 0, dash = 0;
};

/// Turns world positions into strokes for one camera and picture.
class StrokeBuilder {
 public:
  StrokeBuilder(const Camera& camera, int width, int height, float pixelRatio);

  void line(const Vec3d& a, const Vec3d& b, float radiusA, float radiusB, const Colour& colour, float dash = 0);
  void dot(const Vec3d& at, float radius, const Colour& colour, float ring = 0);
  /// Text whose baseline starts at a world point moved by (dx, dy) pixels; capitals `size` pixels high.
  void text(const Vec3d& at, std::string_view text, float dx, float dy, float size, float weight, const Colour& colour);
  /// Pixels a metre covers at a point.
  [[nodiscard]] double pixelsPerMetre(const Vec3d& at) const;
  [[nodiscard]] float ratio() const { return ratio_; }

  std::vector<Stroke> strokes;

 private:
  struct Point {
    float x, y, z;
  };
  [[nodiscard]] bool clipLine(Vec3d& a, Vec3d& b) const;
  [[nodiscard]] bool place(const Vec3d& at, Point& out) const;

  Camera camera_;
  int width_, height_;
  float ratio_;
  Mat4f clipFromWorld_;
  Vec3d eye_, forward_;
  double nearest_;
};

/// The skeleton of an instance.
void addSkeleton(StrokeBuilder& builder, const FigureInstance& instance, const StagePalette& palette);
void addTrail(StrokeBuilder& builder, const Trail& trail, const StagePalette& palette);
/// Numbers along the ground's axes, each metre.
void addDistanceMarks(StrokeBuilder& builder, const Camera& camera, double groundHeight, const StagePalette& palette);

}  // namespace understudy
