#include "samples/feet.h"

#include <algorithm>
#include <cmath>

#include "samples/track.h"

namespace understudy::samples {
namespace {

Quatd turned(double yaw, double pitch) {
  return fromAxisAngle(Vec3d{0, 1, 0}, yaw) * fromAxisAngle(Vec3d{1, 0, 0}, pitch);
}

double pitchOf(const Quatd& q) {
  const Vec3d z = rotate(q, Vec3d{0, 0, 1});
  return -std::asin(std::clamp(z.y, -1.0, 1.0));
}

template <class T>
T hermite(const T& a, const T& va, const T& b, const T& vb, double span, double u) {
  return a * ((1 + 2 * u) * (1 - u) * (1 - u)) + va * (span * u * (1 - u) * (1 - u)) + b * (u * u * (3 - 2 * u)) +
         vb * (span * u * u * (u - 1));
}

}  // namespace

FootPath::FootPath(FootShape shape, std::vector<Stance> stances) : shape_(shape), stances_(std::move(stances)) {
  for (std::size_t i = 0; i + 1 < stances_.size(); ++i) {
    // The smallest lift that keeps heel and toes clear of the floor on the way.
    double lift = 0.012;
    for (; lift < 0.25; lift += 0.004) {
      bool clear = true;
      for (int k = 1; k < 20 && clear; ++k) {
        const double u = k / 20.0;
        const FootPose p = swinging(i, stances_[i].toeOff + u * (stances_[i + 1].strike - stances_[i].toeOff), lift);
        const Vec3d ball = p.ankle + rotate(p.foot, shape_.ankleToBall());
        const double low = std::min(
            {(p.ankle + rotate(p.foot, shape_.ankleToHeel())).y, (ball + rotate(p.toes, shape_.ballToTip())).y, ball.y - shape_.ball});
        clear = low > 0.016 * std::min(1.0, 4 * u * (1 - u));
      }
      if (clear) break;
    }
    lifts_.push_back(lift);
  }
}

FootPose FootPath::standing(const Stance& s, double time) const {
  const double yaw = s.yaw + s.spin * (s.spin != 0 ? eased((time - s.spinStart) / (s.spinEnd - s.spinStart)) : 0);
  const Vec3d ball{s.x, shape_.ball, s.z};
  FootPose pose;
  pose.down = true;
  pose.yaw = yaw;
  if (time < s.flat) {
    const double left = 1 - std::clamp((time - s.strike) / (s.flat - s.strike), 0.0, 1.0);
    const double pitch = s.strikePitch * left * left;
    const Quatd level = turned(yaw, 0);
    const Vec3d heel = ball - rotate(level, shape_.ankleToBall()) + rotate(level, shape_.ankleToHeel());
    pose.foot = turned(yaw, pitch);
    pose.toes = pose.foot;
    pose.ankle = heel - rotate(pose.foot, shape_.ankleToHeel());
    return pose;
  }
  double pitch = 0, toePitch = 0;
  if (time > s.heelOff) {
    const double u = std::clamp((time - s.heelOff) / (s.toeOff - s.heelOff), 0.0, 1.0);
    pitch = s.offPitch * u * u * (1.6 - 0.6 * u);
    const double v = std::clamp((u - 0.72) / 0.28, 0.0, 1.0);
    toePitch = 0.4 * s.offPitch * v * v;
  } else if (s.spin != 0 && time > s.spinStart && time < s.spinEnd) {
    const double u = (time - s.spinStart) / (s.spinEnd - s.spinStart);
    pitch = 0.16 * 16 * u * u * (1 - u) * (1 - u);  // the heel comes up so that the ball can turn
  }
  const Vec3d tip = ball + rotate(turned(yaw, 0), shape_.ballToTip());
  pose.toes = turned(yaw, toePitch);
  pose.foot = turned(yaw, pitch);
  pose.ankle = tip - rotate(pose.toes, shape_.ballToTip()) - rotate(pose.foot, shape_.ankleToBall());
  return pose;
}

FootPose FootPath::swinging(std::size_t index, double time, double lift) const {
  const Stance &from = stances_[index], &to = stances_[index + 1];
  const double span = to.strike - from.toeOff, u = std::clamp((time - from.toeOff) / span, 0.0, 1.0), h = 1e-3;
  const FootPose a0 = standing(from, from.toeOff - h), a = standing(from, from.toeOff), b = standing(to, to.strike),
                 b1 = standing(to, to.strike + h);
  const Vec3d va = (a.ankle - a0.ankle) / h, vb = (b1.ankle - b.ankle) / h;
  FootPose pose;
  pose.ankle = hermite(a.ankle, va, b.ankle, vb, span, u);
  pose.ankle.y += lift * 16 * u * u * (1 - u) * (1 - u);
  const double pa = pitchOf(a.foot), pb = pitchOf(b.foot);
  const double pitch = hermite(pa, (pa - pitchOf(a0.foot)) / h, pb, (pitchOf(b1.foot) - pb) / h, span, u);
  const double bend = (pitchOf(a.toes) - pa) * (1 - eased(u / 0.6));
  pose.yaw = a.yaw + (b.yaw - a.yaw) * eased(u);
  pose.foot = turned(pose.yaw, pitch);
  pose.toes = turned(pose.yaw, pitch + bend);
  return pose;
}

FootPose FootPath::at(double time) const {
  for (std::size_t i = 0; i < stances_.size(); ++i) {
    if (time <= stances_[i].toeOff || i + 1 == stances_.size()) return standing(stances_[i], time);
    if (time < stances_[i + 1].strike) return swinging(i, time, lifts_[i]);
  }
  return standing(stances_.back(), time);
}

}  // namespace understudy::samples
