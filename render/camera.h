// The stage's camera: orbiting, framing, projecting. World frame: metres, Y up, +Z front.
#pragma once

#include <array>
#include <span>

#include "core/math/vec.h"

namespace understudy {

/// Box along the world axes; empty until something is added.
struct Bounds {
  Vec3d low{1e30, 1e30, 1e30}, high{-1e30, -1e30, -1e30};

  [[nodiscard]] bool empty() const { return !(low.x <= high.x && low.y <= high.y && low.z <= high.z); }
  [[nodiscard]] Vec3d centre() const { return empty() ? Vec3d{} : (low + high) * 0.5; }
  [[nodiscard]] Vec3d size() const { return empty() ? Vec3d{} : high - low; }
  /// Points that are not finite are left out.
  void add(const Vec3d& point);
  void add(const Bounds& other);
  void grow(double margin);
};

enum class View { free, front, side, top };

struct Ray {
  Vec3d origin;
  Vec3d direction;  ///< unit length
};

/// Where a world point appears: pixels from the top left corner, and its distance along the view direction.
struct Projected {
  double x = 0, y = 0;
  double depth = 0;      ///< metres in front of the camera; ≤ 0 behind a perspective camera
  bool visible = false;  ///< in front of the camera (not necessarily inside the picture)
};

/// Looks at `target` from `distance` away. Yaw 0 looks along −Z (at a figure's front), π/2 from its left (+X);
/// pitch > 0 looks down from above.
struct Camera {
  Vec3d target{0, 0.9, 0};
  double yaw = 0.6;             ///< radians
  double pitch = 0.2;           ///< radians, −π/2 … π/2
  double distance = 5;          ///< metres
  double fieldOfView = 0.56;    ///< vertical, radians (about 32°)
  bool orthographic = false;
  double orthographicHeight = 2.4;  ///< metres shown from bottom to top

  [[nodiscard]] Vec3d position() const;
  [[nodiscard]] Vec3d forward() const;  ///< unit vector from the camera to its target
  [[nodiscard]] Vec3d right() const;
  [[nodiscard]] Vec3d up() const;
  /// Metres a pixel covers at a world point, in a picture `height` pixels high.
  [[nodiscard]] double metresPerPixel(const Vec3d& point, double height) const;

  /// Turns about the target; radians. Leaves the orthographic views alone in kind, not in angle.
  void orbit(double yawBy, double pitchBy);
  /// Moves the target with the picture: a drag by (dx, dy) pixels (y down) in a picture `height` pixels high.
  void pan(double dx, double dy, double height);
  /// Nearer (factor < 1) or further (> 1); kept within 0.05 … 500 m.
  void zoom(double factor);

  friend bool operator==(const Camera&, const Camera&) = default;
};

/// 4×4 matrices by columns, as OpenGL takes them.
using Mat4f = std::array<float, 16>;
[[nodiscard]] Mat4f viewMatrix(const Camera& camera);
[[nodiscard]] Mat4f projectionMatrix(const Camera& camera, double aspect);
[[nodiscard]] Mat4f multiply(const Mat4f& a, const Mat4f& b);

/// The ray through a pixel (centre of the top left one is 0.5, 0.5).
[[nodiscard]] Ray rayThrough(const Camera& camera, double width, double height, double x, double y);
[[nodiscard]] Projected project(const Camera& camera, double width, double height, const Vec3d& point);

/// The camera turned to a view: front, side (from the figure's left) and top are orthographic; free is perspective.
/// Target and the height shown stay the same.
[[nodiscard]] Camera turnedTo(const Camera& camera, View view);
/// The camera moved so that `bounds` fit the picture, `margin` a part of its size left free on every side. Angles stay.
[[nodiscard]] Camera framed(const Camera& camera, const Bounds& bounds, double aspect, double margin = 0.08);
/// The camera moved along with a point: its target keeps its own height and takes the point's x and z.
[[nodiscard]] Camera followed(const Camera& camera, const Vec3d& point);

}  // namespace understudy
