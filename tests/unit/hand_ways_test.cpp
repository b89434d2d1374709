// The last ways of hands whose arms have been cleared.
#include <gtest/gtest.h>

#include "core/repair/clearance.h"
#include "core/repair/hand_ways.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

struct Arm {
  std::shared_ptr<Figure> figure = test::puppet();
  std::shared_ptr<const RepairContext> context = test::puppetContext(figure, {60, 1}, 61);
  TiledMotion motion = TiledMotion(test::puppetWalk(*figure, 61, {60, 1}, 0));
  [[nodiscard]] const LimbRig& limb() const { return context->arms[0]; }
  /// Radians between upper arm and forearm.
  [[nodiscard]] double bend(const Poser& poser) const {
    return angleBetween(poser.position(limb().mid) - poser.position(limb().root), poser.position(limb().end) - poser.position(limb().mid));
  }
  /// Its elbow bent by so much.
  void pose(Poser& poser, double bent) const {
    poser.load(motion, 0);
    const Vec3d upper = normalised(poser.position(limb().mid) - poser.position(limb().root)), hinge = -rotate(poser.rotation(limb().root), limb().hinge);
    poser.setRotation(limb().mid, rotationBetween(normalised(poser.position(limb().end) - poser.position(limb().mid)), upper) * poser.rotation(limb().mid));
    poser.turn(limb().mid, fromAxisAngle(hinge, bent));
  }
  /// How far its elbow is bent in the end at a frame.
  [[nodiscard]] double after(const std::function<double(int)>& bent, int frame, double give) const {
    ArmClearer clearer(*context, bodyModelOf(*context), 0, {});
    HandWays ways(*context, clearer, 0, 2, 61, {[&](Poser& poser, int f) { pose(poser, bent(f)); }, [](int) { return 0.0; }, [&](int) { return give; }});
    Poser poser(*context);
    pose(poser, bent(frame));
    LimbGoal goal;
    goal.target = poser.position(limb().end) + ways.at(frame);
    poser.solveLimb(limb(), goal);
    return bend(poser);
  }
};

TEST(HandWays, AnElbowNearFullStretchThatJerksYields) {
  const Arm arm;
  const auto jerks = [](int f) { return f == 30 ? 0.45 : 0.2; };
  const double before = 0.45, after = arm.after(jerks, 30, 1);
  EXPECT_LT(after, before - 0.12);
  EXPECT_GT(after, 0.2 - 1e-6);
  EXPECT_NEAR(arm.after(jerks, 30, 0), before, 1e-6) << "a hand that must not leave its way";
  EXPECT_NEAR(arm.after(jerks, 10, 1), 0.2, 1e-6);
}

TEST(HandWays, AnElbowThatBendsEvenlyIsLeftAlone) {
  const Arm arm;
  for (const int f : {5, 30, 55}) EXPECT_NEAR(arm.after([](int k) { return 0.2 + 0.02 * k; }, f, 1), 0.2 + 0.02 * f, 1e-6) << f;
}

TEST(HandWays, AnElbowFarFromFullStretchIsLeftAloneAsItsHandWouldGoFar) {
  const Arm arm;
  EXPECT_NEAR(arm.after([](int f) { return f == 30 ? 1.6 : 1.2; }, 30, 1), 1.6, 1e-6);
}

}  // namespace
}  // namespace understudy
