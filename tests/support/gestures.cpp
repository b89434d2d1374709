#include "tests/support/gestures.h"

#include <cmath>
#include <numbers>

#include "core/io/read.h"
#include "tests/support/fixtures.h"

namespace understudy::test {
namespace {

constexpr double pi = std::numbers::pi;

/// 0 before `from`, 1 after `to`, smooth between.
double rise(double t, double from, double to) {
  const double u = std::clamp((t - from) / (to - from), 0.0, 1.0);
  return u * u * (3 - 2 * u);
}

Quatd frame(const Vec3d& fingers, const Vec3d& palm) {
  const Vec3d x = normalised(fingers), y = normalised(palm - x * dot(palm, x), anyPerpendicular(x));
  return toQuat(Mat3d{x, y, cross(x, y)});
}

double sideOfHand(int side) { return side == 0 ? 1 : -1; }

HandPlace hanging(int side) {
  const double s = sideOfHand(side);
  return {{0.26 * s, 0.88, 0.0}, {0, -1, 0}, {-s, 0, 0}, {0, 0, -1}};
}

/// On the way the hand keeps away from the body, towards `bow`.
HandPlace between(const HandPlace& a, const HandPlace& b, double t, const Vec3d& bow) {
  return {lerp(a.wrist, b.wrist, t) + bow * std::sin(pi * t), normalised(lerp(a.fingers, b.fingers, t)), normalised(lerp(a.palm, b.palm, t)), normalised(lerp(a.elbow, b.elbow, t))};
}

}  // namespace

Gesture makeGesture(double seconds, double hertz, const std::function<HandPlace(int, double)>& hand) {
  const TemporaryFolder folder;
  writeFile(folder.file("body.bvh"), makeWalkBvh({.frames = 1}));
  Result<Figure> figure = readFigure(folder.file("body.bvh"));
  if (!figure.ok()) throw std::runtime_error(figure.error().text());
  Gesture out;
  out.performer = std::make_shared<const Figure>(std::move(*figure));
  const SkeletonMap map = mapRoles(*out.performer);
  out.map = std::make_shared<const BoneMap>(BoneMap{map, map});
  const int frames = static_cast<int>(std::lround(seconds * hertz)) + 1;
  const FrameRate rate = snapFrameRate(hertz);
  out.motion = restMotion(out.performer->skeleton, frames, rate);
  const auto context = repairContext(out.performer, out.map, {}, rate, frames);
  if (!context.ok()) throw std::runtime_error(context.error().text());
  TiledMotion motion = TiledMotion(std::make_shared<const Motion>(out.motion)).writable(0, frames);
  Poser poser(**context);
  for (int f = 0; f < frames; ++f) {
    poser.load(motion, f);
    for (int side = 0; side < 2; ++side) {
      const HandPlace place = hand(side, f / hertz);
      const LimbRig& arm = (*context)->arms[static_cast<std::size_t>(side)];
      // T-pose: fingers point sideways, palms down.
      const Quatd rest = frame({sideOfHand(side), 0, 0}, {0, -1, 0});
      LimbGoal goal;
      goal.target = place.wrist;
      goal.pole = place.elbow;
      if (length(place.fingers) > 0) goal.endRotation = frame(place.fingers, place.palm) * conjugate(rest) * (*context)->body.rotation[static_cast<std::size_t>(arm.end)];
      poser.solveLimb(arm, goal);
    }
    poser.store(motion, f);
  }
  out.motion = motion.flat();
  makeContinuous(out.motion);
  return out;
}

Gesture clap(double seconds, double hertz) {
  return makeGesture(seconds, hertz, [](int side, double t) {
    const double s = sideOfHand(side), half = 0.015 + 0.17 * std::abs(std::sin(2 * pi * t));
    return HandPlace{{half * s, 1.30, 0.25}, {0, 0.5, 0.87}, {-s, 0, 0}, {s, -1, 0}};
  });
}

Gesture palmsTogether(double seconds, double hertz) {
  return makeGesture(seconds, hertz, [](int side, double t) {
    const double s = sideOfHand(side);
    return HandPlace{{0.015 * s, 1.25 + 0.05 * std::sin(2 * t), 0.22}, {0, 1, 0.2}, {-s, 0, 0}, {s, -1, 0}};
  });
}

Gesture handsOnHips(double hertz) {
  return makeGesture(4, hertz, [](int side, double t) {
    const double s = sideOfHand(side);
    // Hip breadth .191 of the stature (Drillis and Contini): the palm's axis 15 mm outside of its half. Wrists behind, fingers to the front.
    const HandPlace hip{{(0.5 * 0.191 * 1.7 + 0.015) * s, 1.0, -0.03}, {0, -0.3, 0.95}, {-s, 0, 0}, {s, 0, -0.5}};
    return between(hanging(side), hip, rise(t, 0.5, 1.0) - rise(t, 3.0, 3.5), {0.15 * s, 0, -0.05});
  });
}

Gesture handToHead(double hertz) {
  return makeGesture(3, hertz, [](int side, double t) {
    if (side == 0) return hanging(0);
    // The head's middle at .935 of the stature, its breadth .088 (ANSUR II): 15 mm outside of its half.
    const HandPlace head{{-(0.044 * 1.7 + 0.02), 0.935 * 1.7 - 0.05, 0.02}, {0, 1, 0}, {1, 0, 0}, {-1, -0.5, 0}};
    return between(hanging(1), head, rise(t, 0.4, 1.0) - rise(t, 2.0, 2.6), {-0.2, 0, 0.1});
  });
}

Gesture strokeChest(double hertz) {
  return makeGesture(4, hertz, [](int side, double t) {
    if (side == 1) return hanging(1);
    // Chest depth .145 of the stature (ANSUR II): 15 mm in front of its half.
    const HandPlace on{{0.06, 1.33 - 0.15 * rise(t, 1.0, 3.0), 0.0725 * 1.7 + 0.015}, {-1, 0, 0}, {0, 0, -1}, {1, -0.5, 0}};
    return between(hanging(0), on, rise(t, 0.5, 1.0) - rise(t, 3.0, 3.5), {0.05, 0, 0.2});
  });
}

Gesture stickInHands(double apart, double seconds, double hertz) {
  return makeGesture(seconds, hertz, [apart](int side, double t) {
    const double s = sideOfHand(side);
    const Vec3d middle{0.12 * std::sin(2.1 * t), 1.15 + 0.12 * std::sin(1.3 * t), 0.33 + 0.04 * std::sin(1.7 * t)};
    const Vec3d along = normalised(Vec3d{1, 0.8 * std::sin(2.6 * t), 0.3 * std::sin(1.9 * t)});
    return HandPlace{middle + along * (0.5 * apart * s), {0, 0.2, 1}, {0, -1, 0}, {s, -1, 0}};
  });
}

Gesture waving(double seconds, double hertz) {
  return makeGesture(seconds, hertz, [](int side, double t) {
    const double s = sideOfHand(side), k = side == 0 ? 1.0 : 1.37;
    return HandPlace{{s * (0.25 + 0.12 * std::sin(3 * k * t)), 1.2 + 0.2 * std::sin(2.3 * k * t + s), 0.3 + 0.1 * std::sin(4 * k * t)}, {0, 0, 1}, {-s, 0, 0}, {s, -1, 0}};
  });
}

Gesture armsSwingAlike(double seconds, double hertz) {
  return makeGesture(seconds, hertz, [](int side, double t) {
    const double s = sideOfHand(side), swing = 0.9 * std::sin(3 * t), roll = 0.6 + 0.3 * std::sin(3 * t);
    const Vec3d down{0, -std::cos(swing), std::sin(swing)}, up{0, std::sin(swing), std::cos(swing)};
    const Vec3d palm = Vec3d{-s, 0, 0} * std::cos(roll) - up * std::sin(roll);
    return HandPlace{Vec3d{0.22 * s, 1.4, 0} + down * 0.5, down, palm, {s, 0, -1}};
  });
}

}  // namespace understudy::test
