#include "core/repair/arm_fit.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr int ways = 48;
/// Half of the range, radians, over which what is led and what stays go over into each other.
constexpr double soft = 0.1;

}  // namespace

ArmFit::ArmFit(const RepairContext& context, const BodyModel& model, int side) : outwards_(side == 0 ? 1 : -1) {
  const LimbRig& limb = context.arms[static_cast<std::size_t>(side)];
  const ArmPoints& skin = model.arms[static_cast<std::size_t>(side)];
  const BodySolid* torso = model.solid(BodyPart::torso);
  if (!limb.complete() || !torso) return;
  const Vec3d root = model.position[static_cast<std::size_t>(limb.root)];
  const Vec3d own = normalised(model.position[static_cast<std::size_t>(limb.mid)] - root, Vec3d{outwards_, 0, 0});
  std::vector<char> moves(model.position.size(), 0);
  moves[static_cast<std::size_t>(limb.root)] = 1;
  for (const int j : context.below[static_cast<std::size_t>(limb.root)]) moves[static_cast<std::size_t>(j)] = 1;
  struct Point {
    Vec3d at;
    double share = 0, allowed = 0;
  };
  std::vector<Point> points;
  for (const ArmPoint& p : skin.points) {
    if (p.part != BodyPart::leftUpperArm && p.part != BodyPart::rightUpperArm) continue;
    Point point{p.reference - root, 0, p.allowed};
    for (std::uint32_t k = p.first; k < p.first + p.count; ++k)
      if (moves[static_cast<std::size_t>(skin.joint[k])]) point.share += static_cast<double>(skin.weight[k]);
    points.push_back(point);
  }
  const double bar = 0.002 * context.height / 1.7;
  const auto inside = [&](const Vec3d& direction) {
    const Mat3d turn = toMatrix(rotationBetween(own, direction));
    return std::any_of(points.begin(), points.end(), [&](const Point& p) {
      return -torso->grid.at(root + (turn * p.at) * p.share + p.at * (1 - p.share)) - p.allowed > (p.allowed > 0 ? bar : 0);
    });
  };
  const Vec3d in{-outwards_, 0, 0};
  std::vector<double> least(ways, 0);
  bool any = false;
  for (int w = 0; w < ways; ++w) {
    const double way = 2 * std::numbers::pi * w / ways;
    const Vec3d across{0, std::cos(way), std::sin(way)};
    const auto at = [&](double angle) { return in * std::cos(angle) + across * std::sin(angle); };
    // From outwards inwards to the first that is inside.
    constexpr int steps = 45;
    int s = steps;
    while (s > 0 && !inside(at(std::numbers::pi * s / steps))) --s;
    if (s == steps) return;  // an arm that is inside wherever it points is not led
    if (s == 0) continue;
    double low = std::numbers::pi * s / steps, high = std::numbers::pi * (s + 1) / steps;
    for (int k = 0; k < 4; ++k) (inside(at((low + high) / 2)) ? low : high) = (low + high) / 2;
    least[static_cast<std::size_t>(w)] = high;
    any = any || high > 0;
  }
  if (!any) return;
  // Evened out without coming to lie inside again.
  const auto around = [&](int w) { return static_cast<std::size_t>((w + ways) % ways); };
  std::vector<double> wide(ways);
  for (int w = 0; w < ways; ++w) wide[around(w)] = std::max({least[around(w - 1)], least[around(w)], least[around(w + 1)]});
  for (int pass = 0; pass < 2; ++pass) {
    for (int w = 0; w < ways; ++w) least[around(w)] = (wide[around(w - 1)] + 2 * wide[around(w)] + wide[around(w + 1)]) / 4;
    std::swap(least, wide);
  }
  least_ = wide;
}

double ArmFit::least(double way) const {
  // Uniform cubic B-spline around.
  const double v = (way / (2 * std::numbers::pi) + 1) * ways;
  const int cell = static_cast<int>(std::floor(v));
  const double t = v - cell, s = 1 - t;
  const auto at = [&](int k) { return least_[static_cast<std::size_t>((cell + k + ways) % ways)]; };
  return (at(-1) * s * s * s + at(0) * (4 - 6 * t * t + 3 * t * t * t) + at(1) * (4 - 6 * s * s + 3 * s * s * s) + at(2) * t * t * t) / 6;
}

Vec3d ArmFit::turn(const Vec3d& direction) const {
  if (none()) return {};
  const double angle = std::acos(std::clamp(-outwards_ * direction.x, -1.0, 1.0));
  const double least = this->least(std::atan2(direction.z, direction.y));
  const double over = angle - least;
  if (over >= soft) return {};
  const double to = least + (over > -soft ? (over + soft) * (over + soft) / (4 * soft) : 0);
  return normalised(cross(Vec3d{-outwards_, 0, 0}, direction), Vec3d{0, 0, 1}) * (to - angle);
}

std::shared_ptr<const std::array<ArmFit, 2>> armFits(const RepairContext& context, const BodyModel& model) {
  return context.parts->get<std::array<ArmFit, 2>>([&] { return std::array<ArmFit, 2>{ArmFit(context, model, 0), ArmFit(context, model, 1)}; });
}

}  // namespace understudy
