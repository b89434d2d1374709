#include "render/camera.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double nearest = 0.05, furthest = 500;

Vec3d backward(double yaw, double pitch) {
  return {std::sin(yaw) * std::cos(pitch), std::sin(pitch), std::cos(yaw) * std::cos(pitch)};
}

/// Depth range: wide enough for the ground's fading edge, tight enough for 24 bits of depth.
struct DepthRange {
  double nearPlane, farPlane;
};
DepthRange depthRange(const Camera& camera) {
  if (camera.orthographic) return {-200, 200};
  return {std::max(0.01, camera.distance * 0.02), camera.distance + 160};
}

}  // namespace

void Bounds::add(const Vec3d& point) {
  if (!isFinite(point)) return;
  low = {std::min(low.x, point.x), std::min(low.y, point.y), std::min(low.z, point.z)};
  high = {std::max(high.x, point.x), std::max(high.y, point.y), std::max(high.z, point.z)};
}

void Bounds::add(const Bounds& other) {
  if (other.empty()) return;
  add(other.low);
  add(other.high);
}

void Bounds::grow(double margin) {
  if (empty()) return;
  low -= Vec3d{margin, margin, margin};
  high += Vec3d{margin, margin, margin};
}

Vec3d Camera::position() const { return target + backward(yaw, pitch) * distance; }
Vec3d Camera::forward() const { return -backward(yaw, pitch); }
Vec3d Camera::right() const { return {std::cos(yaw), 0, -std::sin(yaw)}; }
Vec3d Camera::up() const { return cross(right(), forward()); }

double Camera::metresPerPixel(const Vec3d& point, double height) const {
  const double pixels = std::max(1.0, height);
  if (orthographic) return orthographicHeight / pixels;
  const double depth = std::max(1e-3, dot(point - position(), forward()));
  return 2 * depth * std::tan(fieldOfView / 2) / pixels;
}

void Camera::orbit(double yawBy, double pitchBy) {
  yaw = std::remainder(yaw + yawBy, 2 * pi);
  pitch = std::clamp(pitch + pitchBy, -pi / 2, pi / 2);
}

void Camera::pan(double dx, double dy, double height) {
  const double scale = metresPerPixel(target, height);
  target += right() * (-dx * scale) + up() * (dy * scale);
}

void Camera::zoom(double factor) {
  if (!(factor > 0) || !std::isfinite(factor)) return;
  const double before = distance;
  distance = std::clamp(distance * factor, nearest, furthest);
  orthographicHeight *= distance / before;
}

Mat4f viewMatrix(const Camera& camera) {
  const Vec3d r = camera.right(), u = camera.up(), b = -camera.forward(), p = camera.position();
  const auto f = [](double v) { return static_cast<float>(v); };
  return {f(r.x), f(u.x), f(b.x), 0, f(r.y), f(u.y), f(b.y), 0, f(r.z), f(u.z), f(b.z), 0, f(-dot(r, p)), f(-dot(u, p)), f(-dot(b, p)), 1};
}

Mat4f projectionMatrix(const Camera& camera, double aspect) {
  const auto [n, far] = depthRange(camera);
  const auto f = [](double v) { return static_cast<float>(v); };
  Mat4f m{};
  if (camera.orthographic) {
    const double h = camera.orthographicHeight / 2, w = h * aspect;
    m[0] = f(1 / w);
    m[5] = f(1 / h);
    m[10] = f(-2 / (far - n));
    m[14] = f(-(far + n) / (far - n));
    m[15] = 1;
    return m;
  }
  const double t = std::tan(camera.fieldOfView / 2);
  m[0] = f(1 / (t * aspect));
  m[5] = f(1 / t);
  m[10] = f(-(far + n) / (far - n));
  m[11] = -1;
  m[14] = f(-2 * far * n / (far - n));
  return m;
}

Mat4f multiply(const Mat4f& a, const Mat4f& b) {
  Mat4f m{};
  for (int c = 0; c < 4; ++c) {
    for (int r = 0; r < 4; ++r) {
      float sum = 0;
      for (int k = 0; k < 4; ++k) sum += a[k * 4 + r] * b[c * 4 + k];
      m[c * 4 + r] = sum;
    }
  }
  return m;
}

Ray rayThrough(const Camera& camera, double width, double height, double x, double y) {
  const double h = std::max(1.0, height);
  const double px = x - width / 2, py = height / 2 - y;
  if (camera.orthographic) {
    const double scale = camera.orthographicHeight / h;
    // Starts far behind the target: an orthographic picture shows what is behind the camera's place as well.
    return {camera.target + camera.right() * (px * scale) + camera.up() * (py * scale) - camera.forward() * 200.0, camera.forward()};
  }
  const double scale = 2 * std::tan(camera.fieldOfView / 2) / h;
  return {camera.position(), normalised(camera.forward() + camera.right() * (px * scale) + camera.up() * (py * scale))};
}

Projected project(const Camera& camera, double width, double height, const Vec3d& point) {
  const Vec3d d = point - camera.position();
  Projected result;
  result.depth = dot(d, camera.forward());
  double scale = 0;
  if (camera.orthographic) {
    scale = height / camera.orthographicHeight;
    result.visible = true;
  } else {
    if (result.depth < 1e-4) return result;
    scale = height / (2 * result.depth * std::tan(camera.fieldOfView / 2));
    result.visible = true;
  }
  result.x = width / 2 + dot(d, camera.right()) * scale;
  result.y = height / 2 - dot(d, camera.up()) * scale;
  return result;
}

Camera turnedTo(const Camera& camera, View view) {
  Camera result = camera;
  const double tangent = std::tan(camera.fieldOfView / 2);
  const double shown = camera.orthographic ? camera.orthographicHeight : 2 * camera.distance * tangent;
  result.orthographic = view != View::free;
  result.orthographicHeight = shown;
  result.distance = std::clamp(shown / (2 * tangent), nearest, furthest);
  switch (view) {
    case View::front: result.yaw = 0, result.pitch = 0; break;
    case View::side: result.yaw = pi / 2, result.pitch = 0; break;
    case View::top: result.yaw = 0, result.pitch = pi / 2; break;
    case View::free:
      if (camera.orthographic) result.yaw = 0.6, result.pitch = 0.2;
      break;
  }
  return result;
}

Camera framed(const Camera& camera, const Bounds& bounds, double aspect, double margin) {
  Camera result = camera;
  if (bounds.empty()) return result;
  const double free = 1 - 2 * std::clamp(margin, 0.0, 0.45);
  const Vec3d r = camera.right(), u = camera.up(), f = camera.forward();
  std::array<Vec3d, 8> corners;
  for (int i = 0; i < 8; ++i) {
    corners[i] = {i & 1 ? bounds.high.x : bounds.low.x, i & 2 ? bounds.high.y : bounds.low.y, i & 4 ? bounds.high.z : bounds.low.z};
  }
  const double ty = std::tan(camera.fieldOfView / 2) * free, tx = ty * std::max(0.01, aspect);
  // The camera's cone of sight touches the box from both sides. In the plane of right and forward each corner gives
  // |x − x0| ≤ tx (d + z − z0); solving both sides together centres the box as seen, not its middle point.
  double left = 1e30, rightmost = -1e30, bottom = 1e30, top = -1e30, sideX = -1e30, sideXn = -1e30, sideY = -1e30, sideYn = -1e30;
  double nearestDepth = 1e30;
  for (const Vec3d& c : corners) {
    const double x = dot(c, r), y = dot(c, u), z = dot(c, f);
    left = std::min(left, x), rightmost = std::max(rightmost, x);
    bottom = std::min(bottom, y), top = std::max(top, y);
    sideX = std::max(sideX, x / tx - z), sideXn = std::max(sideXn, -x / tx - z);
    sideY = std::max(sideY, y / ty - z), sideYn = std::max(sideYn, -y / ty - z);
    nearestDepth = std::min(nearestDepth, z);
  }
  if (camera.orthographic) {
    result.orthographicHeight = std::max({(top - bottom) / free, (rightmost - left) / (free * std::max(0.01, aspect)), 0.01});
    result.target = r * ((left + rightmost) / 2) + u * ((bottom + top) / 2) + f * dot(bounds.centre(), f);
    result.distance = std::clamp(result.orthographicHeight / (2 * std::tan(camera.fieldOfView / 2)), nearest, furthest);
    return result;
  }
  const double backX = (sideX + sideXn) / 2, backY = (sideY + sideYn) / 2;   // camera depth = −back
  const double x0 = tx * (sideX - sideXn) / 2, y0 = ty * (sideY - sideYn) / 2;
  const double depth = std::min(-std::max(backX, backY), nearestDepth - nearest);
  const double middle = dot(bounds.centre(), f);
  result.distance = std::clamp(middle - depth, nearest, furthest);
  result.target = r * x0 + u * y0 + f * middle;
  return result;
}

Camera followed(const Camera& camera, const Vec3d& point) {
  Camera result = camera;
  if (!isFinite(point)) return result;
  result.target.x = point.x;
  result.target.z = point.z;
  return result;
}

}  // namespace understudy
