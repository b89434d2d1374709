#include "core/repair/hand_onto_skin.h"

#include <algorithm>

#include "core/math/smooth_step.h"
#include "core/repair/touch_skin.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) between the skins at which a hand touches, and up to which it is brought back to them while the arm is no
/// deeper in the body.
constexpr double touchesFrom = 0.0005, touchesTo = 0.002, mostBack = 0.012, mostLeft = 0.004;
/// Metres (at a height of 1.7) by which the arm may come to lie in the body for that.
constexpr double mostPressed = 0.002;

/// The way of the hand to where it touches; none where there is no room for it.
Vec3d wayToSkin(const TouchSkin& skin, const Poser& poser, int side, double left, double size) {
  Vec3d shift;
  const TouchSkin::Posed posed(skin, poser, side, TouchSkin::Against::body);
  for (int pass = 0; pass < 8; ++pass) {
    const TouchSkin::Posed::Nearest now = posed.exact(shift);
    const double wanted = std::clamp(now.distance, touchesFrom * size, touchesTo * size), steep = length(now.gradient);
    if (wanted == now.distance || steep < 1e-6) break;
    const Vec3d way = now.gradient * ((wanted - now.distance) / (steep * std::max(steep, 0.5)));
    // From farther off it is not brought back: the arm has no room there.
    if (pass == 0 && wanted < now.distance) {
      const double away = std::max((now.distance - wanted) / (mostBack * size), left / (mostLeft * size));
      if (away >= 2) return {};
      shift += way * smoothStep(2 - away);
      if (away > 1) break;
      continue;
    }
    shift += way;
  }
  return shift;
}

void reach(Poser& poser, const LimbRig& limb, const Vec3d& target) {
  LimbGoal goal;
  goal.endRotation = poser.rotation(limb.end);
  goal.target = target;
  poser.solveLimb(limb, goal);
}

/// How much of a way a hand may go, and how deep the arm lies in the body then, metres.
std::pair<double, double> partOf(const Poser& poser, ArmClearer& arm, const LimbRig& limb, const Vec3d& way, double left) {
  const auto deepAfter = [&](double part) {
    Poser moved = poser;
    reach(moved, limb, poser.position(limb.end) + way * part);
    arm.load(moved);
    return arm.deepest();
  };
  const double most = std::max(left, mostPressed * poser.context().height / 1.7);
  double part = 1, deep = deepAfter(1);
  if (deep <= most) return {part, deep};
  double far = 1;
  part = 0;
  deep = left;
  for (int k = 0; k < 8; ++k) {
    const double half = (part + far) / 2, there = deepAfter(half);
    if (there > most)
      far = half;
    else
      part = half, deep = there;
  }
  return {part, deep};
}

}  // namespace

Vec3d wayOntoSkin(const Poser& poser, ArmClearer& arm, int side, double hold, double left) {
  const RepairContext& context = poser.context();
  const LimbRig& limb = context.arms[static_cast<std::size_t>(side)];
  if (hold <= 0 || !limb.complete()) return {};
  const std::shared_ptr<const TouchSkin> skin = TouchSkin::of(context);
  if (!skin->hasHand(side) || !skin->hasBody()) return {};
  const Vec3d way = wayToSkin(*skin, poser, side, left, context.height / 1.7) * hold;
  if (length(way) < 1e-7) return {};
  return way * partOf(poser, arm, limb, way, left).first;
}

double moveHand(Poser& poser, ArmClearer& arm, int side, const Vec3d& way, double left) {
  const LimbRig& limb = poser.context().arms[static_cast<std::size_t>(side)];
  if (length(way) < 1e-7 || !limb.complete()) return left;
  const auto [part, deep] = partOf(poser, arm, limb, way, left);
  reach(poser, limb, poser.position(limb.end) + way * part);
  return deep;
}

}  // namespace understudy
