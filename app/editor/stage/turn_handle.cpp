#include "app/editor/stage/turn_handle.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy::editor {
namespace {

constexpr int ringPoints = 72;
constexpr double tau = 2 * std::numbers::pi;

/// From the point towards the camera.
Vec3d towardsCamera(const Sight& sight, const Vec3d& point) {
  return sight.camera.orthographic ? -sight.camera.forward() : normalised(sight.camera.position() - point, -sight.camera.forward());
}

double distanceTo(double x, double y, const Projected& a, const Projected& b) {
  const double dx = b.x - a.x, dy = b.y - a.y, l = dx * dx + dy * dy;
  const double t = l > 0 ? std::clamp(((x - a.x) * dx + (y - a.y) * dy) / l, 0.0, 1.0) : 0;
  return std::hypot(x - a.x - t * dx, y - a.y - t * dy);
}

}  // namespace

Vec3d ringAxis(const HandleFrame& frame, const Sight& sight, int ring) {
  if (ring >= 3) return towardsCamera(sight, frame.origin);
  Vec3d axis;
  axis[ring] = 1;
  return rotate(frame.axes.value_or(frame.rotation), axis);
}

RingLine ringLine(const HandleFrame& frame, const Sight& sight, int ring) {
  RingLine line;
  const Vec3d axis = ringAxis(frame, sight, ring), u = anyPerpendicular(axis), v = cross(axis, u), eye = towardsCamera(sight, frame.origin);
  const double radius = frame.radius * (ring == 3 ? 1.18 : 1);
  for (int i = 0; i <= ringPoints; ++i) {
    const double a = tau * i / ringPoints;
    const Vec3d out = u * std::cos(a) + v * std::sin(a);
    line.points.push_back(project(sight.camera, sight.width, sight.height, frame.origin + out * radius));
    line.front.push_back(ring == 3 || dot(out, eye) > -0.08);
  }
  return line;
}

int ringAt(const HandleFrame& frame, const Sight& sight, double x, double y, double reach) {
  int best = -1;
  double nearest = reach;
  for (int ring = 0; ring < handleRings; ++ring) {
    const RingLine line = ringLine(frame, sight, ring);
    for (std::size_t i = 0; i + 1 < line.points.size(); ++i) {
      if (!line.front[i] || !line.points[i].visible) continue;
      // The outer ring gives way where it meets another.
      const double d = distanceTo(x, y, line.points[i], line.points[i + 1]) + (ring == 3 ? 1 : 0);
      if (d < nearest) nearest = d, best = ring;
    }
  }
  return best;
}

void TurnDrag::beginRing(const HandleFrame& frame, const Sight& sight, int ring, double x, double y) {
  frame_ = frame;
  sight_ = sight;
  pull_ = false;
  startX_ = x;
  startY_ = y;
  axis_ = ringAxis(frame, sight, ring);
  edgeOn_ = std::abs(dot(axis_, towardsCamera(sight, frame.origin))) < 0.35;
  // Seen edge-on the ring is a line in the picture: the mouse's way along it is what turns.
  const Vec3d along = cross(axis_, towardsCamera(sight, frame.origin));
  const Projected a = project(sight.camera, sight.width, sight.height, frame.origin);
  const Projected b = project(sight.camera, sight.width, sight.height, frame.origin + normalised(along) * frame.radius);
  across_ = {b.x - a.x, b.y - a.y, 0};
}

void TurnDrag::beginPull(const HandleFrame& frame, const Sight& sight, const Vec3d& grabbed, double x, double y) {
  frame_ = frame;
  sight_ = sight;
  pull_ = true;
  startX_ = x;
  startY_ = y;
  grabRadius_ = std::max(1e-4, distance(grabbed, frame.origin));
  from_ = normalised(grabbed - frame.origin, Vec3d{0, 1, 0});
}

Vec3d TurnDrag::onSphere(double x, double y) const {
  // The grabbed point moves with the mouse in the plane facing the camera, then back onto the sphere, on its own side.
  const double perPixel = sight_.camera.metresPerPixel(frame_.origin, sight_.height);
  const Vec3d eye = towardsCamera(sight_, frame_.origin), start = from_ * grabRadius_;
  const double depth = dot(start, eye);
  Vec3d flat = start - eye * depth;
  flat += sight_.camera.right() * ((x - startX_) * perPixel) - sight_.camera.up() * ((y - startY_) * perPixel);
  const double l = length(flat);
  if (l >= grabRadius_) return flat / l;
  const double rise = std::sqrt(grabRadius_ * grabRadius_ - l * l);
  return normalised(flat + eye * (depth < 0 ? -rise : rise), from_);
}

Quatd TurnDrag::turnBy(const HandleFrame& frame, const Sight& sight, int ring, double radians) {
  return normalised(conjugate(frame.rotation) * fromAxisAngle(ringAxis(frame, sight, ring), radians) * frame.rotation);
}

Quatd TurnDrag::turnAt(double x, double y, bool fine, double step) const {
  Quatd world;
  if (pull_) {
    world = rotationBetween(from_, onSphere(x, y));
  } else {
    double angle = 0;
    if (edgeOn_) {
      const double l2 = across_.x * across_.x + across_.y * across_.y;
      angle = l2 > 1 ? ((x - startX_) * across_.x + (y - startY_) * across_.y) / l2 : 0;
    } else {
      const Projected o = project(sight_.camera, sight_.width, sight_.height, frame_.origin);
      // Pixels run down, angles up.
      angle = std::remainder(std::atan2(o.y - y, x - o.x) - std::atan2(o.y - startY_, startX_ - o.x), tau);
      if (dot(axis_, towardsCamera(sight_, frame_.origin)) < 0) angle = -angle;
    }
    world = fromAxisAngle(axis_, angle);
  }
  if (fine) world = expOf(logOf(world) * 0.2);
  if (step > 0) {
    const Vec3d turn = logOf(world);
    const double angle = length(turn);
    if (angle > 0) world = expOf(turn * (step * std::round(angle / step) / angle));
  }
  return normalised(conjugate(frame_.rotation) * world * frame_.rotation);
}

double TurnDrag::degrees(const Quatd& turn) { return length(logOf(turn)) * 180 / std::numbers::pi; }

}  // namespace understudy::editor
