// Geometry of turning a bone by hand: rings about its axes, and pulling it towards the mouse. No widgets, no drawing.
#pragma once

#include <optional>
#include <vector>

#include "core/math/transform.h"
#include "render/camera.h"

namespace understudy::editor {

/// A bone as the handle sees it; world frame, metres.
struct HandleFrame {
  Vec3d origin;
  Quatd rotation;      ///< world from bone
  std::optional<Quatd> axes;  ///< world from the rings' axes; none: the bone's own
  double radius = 0.1; ///< of the rings, metres
};

/// A picture of the stage: camera and size in device-independent pixels.
struct Sight {
  Camera camera;
  double width = 1, height = 1;
};

/// Rings 0, 1, 2 turn about X, Y, Z of the frame's axes; ring 3 about the line of sight.
inline constexpr int handleRings = 4;
[[nodiscard]] Vec3d ringAxis(const HandleFrame& frame, const Sight& sight, int ring);
/// Points of a ring in the picture; `front` says which lie on the near half.
struct RingLine {
  std::vector<Projected> points;
  std::vector<bool> front;
};
[[nodiscard]] RingLine ringLine(const HandleFrame& frame, const Sight& sight, int ring);
/// The ring within `reach` pixels of a point, −1 for none. Near halves come first.
[[nodiscard]] int ringAt(const HandleFrame& frame, const Sight& sight, double x, double y, double reach = 7);

/// A drag under way. Turns are given in the bone's own frame at the start of the drag.
class TurnDrag {
 public:
  /// About one ring's axis: follows the angle of the mouse around the origin, or its path along a ring seen edge-on.
  void beginRing(const HandleFrame& frame, const Sight& sight, int ring, double x, double y);
  /// The grabbed point (world) follows the mouse on the sphere around the bone's origin.
  void beginPull(const HandleFrame& frame, const Sight& sight, const Vec3d& grabbed, double x, double y);
  /// Rotation in the bone's frame since the start. `fine` takes a fifth of the way.
  /// `step` > 0: in whole steps of so many radians.
  [[nodiscard]] Quatd turnAt(double x, double y, bool fine = false, double step = 0) const;
  /// By an angle about a ring's axis, in the bone's frame.
  [[nodiscard]] static Quatd turnBy(const HandleFrame& frame, const Sight& sight, int ring, double radians);
  /// Degrees turned.
  [[nodiscard]] static double degrees(const Quatd& turn);

 private:
  [[nodiscard]] Vec3d onSphere(double x, double y) const;
  HandleFrame frame_;
  Sight sight_;
  bool pull_ = false, edgeOn_ = false;
  Vec3d axis_, from_, across_;
  double startX_ = 0, startY_ = 0, grabRadius_ = 0.1;
};

}  // namespace understudy::editor
