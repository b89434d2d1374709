// How a standing foot rolls, and where its sole is in a pose.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/repair/plant_leg.h"

namespace understudy {
namespace {

constexpr Vec3d up{0, 1, 0};
constexpr double degree = std::numbers::pi / 180;

}  // namespace

PlantLeg::Rolled PlantLeg::roughlyRolled(double pitch) const {
  const std::vector<Rolled>& table = table_[pitch > 0 ? 0 : 1];
  if (table.size() < 2) return {};
  const double at = std::min(std::abs(pitch) / cell, static_cast<double>(table.size()) - 1.001);
  const auto k = static_cast<std::size_t>(at);
  const double t = at - static_cast<double>(k);
  return {table[k].forward + (table[k + 1].forward - table[k].forward) * t, table[k].up + (table[k + 1].up - table[k].up) * t};
}

PlantLeg::Rolled PlantLeg::rolled(double pitch) const {
  if (flat_.empty() || pitch == 0) return {};
  const std::vector<Cell>& roll = roll_[pitch > 0 ? 0 : 1];
  const double size = std::min(std::abs(pitch), steepest);
  const auto k = static_cast<std::size_t>(size / cell);
  pitch = std::copysign(size, pitch);
  const Cell& now = roll[k + 1];
  Rolled out;
  out.forward = now.at - placeFlat(flat_[static_cast<std::size_t>(now.pivot)], pitch).forward;
  double low = 1e300;
  for (std::size_t i = k; i <= k + 2 && i < roll.size(); ++i) low = std::min(low, placeFlat(flat_[static_cast<std::size_t>(roll[i].pivot)], pitch).up);
  out.up = -low - height;
  return out;
}

FootPose PlantLeg::turned(const GroundPlane& plane, double yaw, double pitch, double toePitch) const {
  const Quatd heading = plane.tilt * fromAxisAngle(up, yaw);
  FootPose pose;
  pose.foot = heading * fromAxisAngle(side, pitch) * level;
  pose.toe = heading * fromAxisAngle(side, toePitch) * level * toeLocal;
  return pose;
}

Vec3d PlantLeg::heading(const GroundPlane& plane, double yaw) const { return rotate(plane.tilt * fromAxisAngle(up, yaw), forward); }

Vec3d PlantLeg::spinArm(const GroundPlane& plane, double yaw, bool onHeel) const {
  return rotate(plane.tilt * fromAxisAngle(up, yaw), onHeel ? heelSpin_ : ballSpin_);
}

FootPose PlantLeg::standing(const GroundPlane& plane, const Vec3d& base, double yaw, double pitch) const {
  FootPose pose = turned(plane, yaw, pitch, bends && pitch < 0 ? 0 : pitch);
  const Rolled r = rolled(pitch);
  pose.at = base + heading(plane, yaw) * r.forward + plane.normal * (height + r.up);
  return pose;
}

Vec3d PlantLeg::place(std::size_t point, const FootPose& pose) const { return place(point, pose, rotate(pose.foot, toeOffset)); }

Vec3d PlantLeg::place(std::size_t point, const FootPose& pose, const Vec3d& toeAt) const {
  const Point& p = points_[point];
  if (p.toeWeight <= 0) return rotate(pose.foot, p.foot);
  const Vec3d toe = toeAt + rotate(pose.toe, p.toe);
  return p.toeWeight >= 1 ? toe : rotate(pose.foot, p.foot) * (1 - p.toeWeight) + toe * p.toeWeight;
}

PlantLeg::Lowest PlantLeg::lowest(const FootPose& pose, const Vec3d& normal) const {
  // Heights are linear in the points, so the normal is taken to their frames once.
  const Vec3d inFoot = rotate(conjugate(pose.foot), normal), inToe = rotate(conjugate(pose.toe), normal);
  const double joint = dot(inFoot, toeOffset);
  if (points_.empty()) return {0, -height};
  Lowest best{0, 1e300};
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const Point& p = points_[i];
    const double h = dot(inFoot, p.foot) * (1 - p.toeWeight) + (joint + dot(inToe, p.toe)) * p.toeWeight;
    if (h < best.height) best = {i, h};
  }
  return best;
}

PlantLeg::Print PlantLeg::print(const FootPose& pose, const Vec3d& normal) const {
  Print out;
  out.places.reserve(bearing_.size());
  const Vec3d toeAt = rotate(pose.foot, toeOffset);
  for (const std::size_t i : bearing_) {
    out.places.push_back(pose.at + place(i, pose, toeAt));
    const double h = dot(out.places.back(), normal);
    out.low = std::min(out.low, h);
    if (points_[i].end < 0) out.rear = std::min(out.rear, h);
    if (points_[i].end > 0) out.front = std::min(out.front, h);
  }
  return out;
}

PlantLeg::Give PlantLeg::give(const Print& wanted, double pitch, const FootPose& now, const Quatd& shank, const Vec3d& knee, const Vec3d& normal) const {
  Give out;
  if (bearing_.empty()) return out;
  thread_local std::vector<double> heights;
  std::vector<Vec3d> moved = skinned(now, shank, knee);
  heights.resize(bearing_.size());
  double low = 1e300, rear = 1e300, front = 1e300;
  for (std::size_t k = 0; k < bearing_.size(); ++k) {
    const Point& p = points_[bearing_[k]];
    const double h = dot(moved[k], normal);
    heights[k] = h;
    moved[k] = moved[k] - wanted.places[k];
    low = std::min(low, h);
    if (p.end < 0) rear = std::min(rear, h);
    if (p.end > 0) front = std::min(front, h);
  }
  pitch /= 8 * degree;
  if (rear < 1e299 && front < 1e299 && soleLength_ > 0) out.tilt = ((rear - wanted.rear) - (front - wanted.front)) / soleLength_ * std::exp(-pitch * pitch);
  // Of what is down, the stiffest says how far the sole has gone.
  const double near = std::max(0.003 * soleLength_, 1e-6);
  Vec3d drift;
  double sum = 0;
  for (std::size_t k = 0; k < bearing_.size(); ++k) {
    const double h = (heights[k] - low) / near;
    if (h > 30) continue;
    const double w = points_[bearing_[k]].stiff / (1 + h * h * h * h);
    drift += moved[k] * w;
    sum += w;
  }
  if (sum > 1e-12) drift = drift / sum;
  out.shift = normal * (wanted.low - low) - (drift - normal * dot(drift, normal));
  return out;
}

std::vector<Vec3d> PlantLeg::skinned(const FootPose& pose, const Quatd& shank, const Vec3d& knee) const {
  const Mat3d foot = toMatrix(pose.foot), toe = toMatrix(pose.toe), leg = toMatrix(shank);
  const Vec3d toeAt = pose.at + foot * toeOffset;
  std::vector<Vec3d> out;
  out.reserve(bearing_.size());
  for (const std::size_t i : bearing_) {
    const Point& p = points_[i];
    Vec3d at = pose.at + foot * p.foot;
    if (p.toeWeight > 0) at = at * (1 - p.toeWeight) + (toeAt + toe * p.toe) * p.toeWeight;
    if (p.shankWeight > 0) at = at * (1 - p.shankWeight) + (knee + leg * p.shank) * p.shankWeight;
    out.push_back(at);
  }
  return out;
}

Vec3d PlantLeg::slid(const std::vector<Vec3d>& from, const std::vector<Vec3d>& to, const Vec3d& normal) const {
  double low = 1e300, was = 1e300;
  for (std::size_t k = 0; k < bearing_.size(); ++k) {
    low = std::min(low, dot(to[k], normal));
    was = std::min(was, dot(from[k], normal));
  }
  const double near = std::max(0.002 * soleLength_, 1e-6);
  // What is down, in `near`, and stiff enough to say how far the sole has gone.
  constexpr double bears = 1.8, softest = 0.3;
  Vec3d sum, least, leastSoft;
  double weight = 0, leastLength = 1e300, leastSoftLength = 1e300;
  for (std::size_t k = 0; k < bearing_.size(); ++k) {
    const double a = (dot(to[k], normal) - low) / near, b = (dot(from[k], normal) - was) / near;
    if (a > 30 || b > 30) continue;
    const double stiff = points_[bearing_[k]].stiff, w = stiff / ((1 + a * a * a * a) * (1 + b * b * b * b));
    const Vec3d moved = to[k] - from[k];
    sum += moved * w;
    weight += w;
    const Vec3d across = moved - normal * dot(moved, normal);
    if (a >= bears || b >= bears) continue;
    if (stiff > softest && length(across) < leastLength) least = across, leastLength = length(across);
    if (length(across) < leastSoftLength) leastSoft = across, leastSoftLength = length(across);
  }
  // A sole that rolls turns about one of the points it stands on: the one that stays most.
  if (leastLength < 1e299) return least;
  if (leastSoftLength < 1e299) return leastSoft;
  if (weight <= 1e-12) return {};
  sum = sum / weight;
  return sum - normal * dot(sum, normal);
}

FootPose PlantLeg::given(FootPose pose, const Give& give, double part) const {
  const Quatd turn = fromAxisAngle(normalised(rotate(pose.foot * conjugate(level), side), side), give.tilt * part);
  pose.foot = normalised(turn * pose.foot);
  pose.toe = normalised(turn * pose.toe);
  pose.at += give.shift * part;
  return pose;
}

Vec3d PlantLeg::carried(const FootPose& last, const FootPose& now, const Vec3d& normal) const {
  const Lowest low = lowest(now, normal);
  const double near = std::max(0.01 * soleLength_, 1e-9);
  Vec3d sum;
  double weight = 0;
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const Vec3d p = place(i, now);
    const double h = (dot(p, normal) - low.height) / near;
    if (h > 12) continue;
    const double w = std::exp(-h);
    sum += (place(i, last) - p) * w;
    weight += w;
  }
  return weight > 0 ? sum / weight : Vec3d{};
}

FootPose PlantLeg::pitched(FootPose pose, double by) const {
  const Quatd turn = fromAxisAngle(rotate(pose.foot * conjugate(level), side), by);
  pose.foot = normalised(turn * pose.foot);
  pose.toe = normalised(turn * pose.toe);
  return pose;
}

double PlantLeg::pitchOf(const Quatd& foot, const Vec3d& normal) const {
  return std::asin(std::clamp(dot(rotate(foot * conjugate(level), forward), normal), -1.0, 1.0));
}

double PlantLeg::toePitchOf(const Quatd& toe, const Vec3d& normal) const {
  return std::asin(std::clamp(dot(rotate(toe * conjugate(level * toeLocal), forward), normal), -1.0, 1.0));
}

double PlantLeg::yawOf(const Quatd& foot) const {
  const Vec3d way = rotate(foot * conjugate(level), forward);
  return std::atan2(dot(cross(forward, way), up), dot(forward, way));
}

}  // namespace understudy
