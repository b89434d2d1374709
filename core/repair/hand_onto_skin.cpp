#include "core/repair/hand_onto_skin.h"

#include <algorithm>

#include "core/math/smooth_step.h"
#include "core/repair/touch_skin.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) between the skins at which a hand touches, and up to which it is brought back to them while the arm is no
/// deeper in the body.
constexpr double touchesFrom = 0, touchesTo = 0.0045, mostBack = 0.012, mostLeft = 0.004;
/// Metres (at a height of 1.7) by which the arm may come to lie in the body for that.
constexpr double mostPressed = 0.002;

/// The way of the hand to where it touches; none where there is no room for it.
Vec3d wayToSkin(const TouchSkin& skin, const Poser& poser, int side, double left, double size) {
  Vec3d shift;
  const TouchSkin::Posed posed(skin, poser, side, TouchSkin::Against::body);
  for (int pass = 0; pass < 8; ++pass) {
    const TouchSkin::Posed::Nearest now = posed.nearest(shift);
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

}  // namespace

double handOntoSkin(Poser& poser, ArmClearer& arm, int side, double hold, double left) {
  const RepairContext& context = poser.context();
  const LimbRig& limb = context.arms[static_cast<std::size_t>(side)];
  if (hold <= 0 || !limb.complete()) return left;
  const std::shared_ptr<const TouchSkin> skin = TouchSkin::of(context);
  if (!skin->hasHand(side) || !skin->hasBody()) return left;
  const double size = context.height / 1.7;
  const Vec3d shift = wayToSkin(*skin, poser, side, left, size);
  if (length(shift) < 1e-7) return left;
  LimbGoal goal;
  const Vec3d from = poser.position(limb.end);
  goal.endRotation = poser.rotation(limb.end);
  const auto deepAfter = [&](double part) {
    Poser moved = poser;
    goal.target = from + shift * (hold * part);
    moved.solveLimb(limb, goal);
    arm.load(moved);
    return arm.deepest();
  };
  const double most = std::max(left, mostPressed * size);
  double part = 1, deep = deepAfter(1);
  if (deep > most) {
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
  }
  goal.target = from + shift * (hold * part);
  poser.solveLimb(limb, goal);
  return deep;
}

}  // namespace understudy
