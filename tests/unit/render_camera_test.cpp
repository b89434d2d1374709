#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <numbers>

#include "render/camera.h"

namespace understudy {
namespace {

constexpr double pi = std::numbers::pi;

Camera somewhere(bool orthographic) {
  Camera camera;
  camera.target = {0.3, 1.1, -0.4};
  camera.yaw = 0.8;
  camera.pitch = 0.35;
  camera.distance = 4;
  camera.orthographic = orthographic;
  return camera;
}

TEST(RenderCamera, LooksFromWhereItSays) {
  Camera camera;
  camera.target = {0, 1, 0};
  camera.distance = 3;
  camera.pitch = 0;
  camera.yaw = 0;  // in front of a figure that faces +Z
  EXPECT_NEAR(distance(camera.position(), Vec3d{0, 1, 3}), 0, 1e-12);
  EXPECT_NEAR(distance(camera.right(), Vec3d{1, 0, 0}), 0, 1e-12);
  camera.yaw = pi / 2;  // at its left
  EXPECT_NEAR(distance(camera.position(), Vec3d{3, 1, 0}), 0, 1e-12);
  EXPECT_NEAR(distance(camera.up(), Vec3d{0, 1, 0}), 0, 1e-12);
}

TEST(RenderCamera, RayThroughAProjectedPointMeetsThePoint) {
  for (const bool orthographic : {false, true}) {
    const Camera camera = somewhere(orthographic);
    for (const Vec3d point : {Vec3d{0.3, 1.1, -0.4}, Vec3d{-0.7, 0.2, 0.5}, Vec3d{1.1, 1.9, -1.3}}) {
      const Projected p = project(camera, 1280, 720, point);
      ASSERT_TRUE(p.visible);
      const Ray ray = rayThrough(camera, 1280, 720, p.x, p.y);
      const Vec3d to = point - ray.origin;
      EXPECT_NEAR(length(cross(to, ray.direction)), 0, 1e-9);
      EXPECT_NEAR(length(ray.direction), 1, 1e-12);
    }
    const Projected centre = project(camera, 1280, 720, camera.target);
    EXPECT_NEAR(centre.x, 640, 1e-9);
    EXPECT_NEAR(centre.y, 360, 1e-9);
  }
}

TEST(RenderCamera, MatricesAgreeWithProjection) {
  for (const bool orthographic : {false, true}) {
    const Camera camera = somewhere(orthographic);
    const Mat4f m = multiply(projectionMatrix(camera, 16.0 / 9), viewMatrix(camera));
    const Vec3d point{0.9, 0.4, 0.2};
    const std::array<double, 4> in{point.x, point.y, point.z, 1};
    std::array<double, 4> out{};
    for (int r = 0; r < 4; ++r) {
      for (int c = 0; c < 4; ++c) out[r] += static_cast<double>(m[c * 4 + r]) * in[c];
    }
    const Projected p = project(camera, 1280, 720, point);
    EXPECT_NEAR((out[0] / out[3] * 0.5 + 0.5) * 1280, p.x, 0.01);
    EXPECT_NEAR((0.5 - out[1] / out[3] * 0.5) * 720, p.y, 0.01);
    EXPECT_LT(std::abs(out[2] / out[3]), 1);
  }
}

TEST(RenderCamera, PointBehindAPerspectiveCameraIsNotVisible) {
  const Camera camera = somewhere(false);
  EXPECT_FALSE(project(camera, 100, 100, camera.position() - camera.forward()).visible);
}

TEST(RenderCamera, FramingShowsTheWholeBoxAndNoMoreThanNeeded) {
  Bounds box;
  box.add({-0.4, 0, -2.3});
  box.add({1.9, 1.8, 0.6});
  for (const bool orthographic : {false, true}) {
    for (const double aspect : {0.5, 1.0, 16.0 / 9}) {
      const double height = 600, width = height * aspect, margin = 0.1;
      const Camera camera = framed(somewhere(orthographic), box, aspect, margin);
      double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9;
      for (int i = 0; i < 8; ++i) {
        const Projected p = project(camera, width, height, {i & 1 ? box.high.x : box.low.x, i & 2 ? box.high.y : box.low.y, i & 4 ? box.high.z : box.low.z});
        ASSERT_TRUE(p.visible);
        left = std::min(left, p.x), right = std::max(right, p.x), top = std::min(top, p.y), bottom = std::max(bottom, p.y);
      }
      EXPECT_GE(left, width * margin - 0.01);
      EXPECT_LE(right, width * (1 - margin) + 0.01);
      EXPECT_GE(top, height * margin - 0.01);
      EXPECT_LE(bottom, height * (1 - margin) + 0.01);
      // One of the two directions is used up to its margins.
      EXPECT_TRUE(right - left > width * (1 - 2 * margin) - 0.5 || bottom - top > height * (1 - 2 * margin) - 0.5);
    }
  }
}

TEST(RenderCamera, PanMovesTheWorldWithThePointer) {
  for (const bool orthographic : {false, true}) {
    Camera camera = somewhere(orthographic);
    const Vec3d grabbed = camera.target;
    camera.pan(35, -20, 720);
    const Projected p = project(camera, 1280, 720, grabbed);
    EXPECT_NEAR(p.x, 640 + 35, 1e-6);
    EXPECT_NEAR(p.y, 360 - 20, 1e-6);
  }
}

TEST(RenderCamera, TurningToAViewKeepsTargetAndSize) {
  const Camera start = somewhere(false);
  const double shown = 2 * start.distance * std::tan(start.fieldOfView / 2);
  const Camera front = turnedTo(start, View::front), side = turnedTo(start, View::side), top = turnedTo(start, View::top);
  EXPECT_NEAR(distance(front.forward(), Vec3d{0, 0, -1}), 0, 1e-12);
  EXPECT_NEAR(distance(side.forward(), Vec3d{-1, 0, 0}), 0, 1e-12);
  EXPECT_NEAR(distance(top.forward(), Vec3d{0, -1, 0}), 0, 1e-12);
  for (const Camera& camera : {front, side, top}) {
    EXPECT_TRUE(camera.orthographic);
    EXPECT_EQ(camera.target, start.target);
    EXPECT_NEAR(camera.orthographicHeight, shown, 1e-12);
  }
  const Camera back = turnedTo(side, View::free);
  EXPECT_FALSE(back.orthographic);
  EXPECT_NEAR(back.distance, start.distance, 1e-9);
}

TEST(RenderCamera, ZoomAndOrbitStayWithinBounds) {
  Camera camera;
  for (int i = 0; i < 400; ++i) camera.zoom(0.5);
  EXPECT_GE(camera.distance, 0.01);
  for (int i = 0; i < 400; ++i) camera.zoom(2);
  EXPECT_LE(camera.distance, 1000);
  camera.zoom(std::nan(""));
  EXPECT_TRUE(std::isfinite(camera.distance));
  camera.orbit(100, 100);
  EXPECT_LE(camera.pitch, pi / 2);
  EXPECT_LE(std::abs(camera.yaw), pi);
}

TEST(RenderCamera, FollowingKeepsTheHeight) {
  const Camera camera = followed(somewhere(false), {5, 9, -3});
  EXPECT_EQ(camera.target, (Vec3d{5, 1.1, -3}));
  EXPECT_EQ(followed(camera, {std::nan(""), 0, 0}), camera);
}

}  // namespace
}  // namespace understudy
