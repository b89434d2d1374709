// To which side arms bend, evened out over time.
#include <gtest/gtest.h>

#include <cstring>

#include "core/repair/arm_around.h"
#include "core/repair/clearance.h"
#include "core/repair/touch.h"
#include "tests/support/layer_checks.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

test::Stand walking(const test::PuppetOptions& options, int frames, double bend) {
  const std::shared_ptr<Figure> figure = test::puppet(options);
  return {test::puppetContext(figure, {60, 1}, frames), TiledMotion(test::puppetWalk(*figure, frames, {60, 1}, 0.2, bend))};
}

TEST(ArmAround, AnArmThatIsStraightForAMomentKeepsTheSideOfItsElbow) {
  test::Stand s = walking({}, 60, 0.5);
  const LimbRig& limb = s.context->arms[0];
  // Bent by 0.6 rad but for frame 30, where it is bent by 0.02 rad about an axis a right angle off.
  s.motion = s.motion.writable(0, 60);
  Poser poser(*s.context);
  for (int f = 0; f < 60; ++f) {
    poser.load(s.motion, f);
    const Vec3d upper = normalised(poser.position(limb.mid) - poser.position(limb.root)), hinge = -rotate(poser.rotation(limb.root), limb.hinge);
    poser.setRotation(limb.mid, rotationBetween(normalised(poser.position(limb.end) - poser.position(limb.mid)), upper) * poser.rotation(limb.mid));
    poser.turn(limb.mid, f == 30 ? fromAxisAngle(cross(upper, hinge), 0.02) : fromAxisAngle(hinge, 0.6));
    poser.store(s.motion, f);
  }
  ArmClearanceSettings settings;
  settings.handStays = true;
  ArmClearer arm(*s.context, bodyModelOf(*s.context), 0, settings);
  ASSERT_TRUE(arm.able() && arm.byWrist());
  ArmAround around(*s.context, s.motion, 2, {&arm});
  const auto own = [&](int f) {
    ArmClearer::Pose pose;
    poser.load(s.motion, f);
    arm.read(poser, pose);
    const Vec3d line = normalised(pose.end - pose.root), off = pose.mid - pose.root;
    return rotate(conjugate(pose.frame), off - line * dot(off, line));
  };
  EXPECT_GT(angleBetween(own(30), own(29)), 1.0);
  EXPECT_LT(angleBetween(around.side(0, 30), own(29)), 0.2);
  EXPECT_LT(angleBetween(around.side(0, 30), around.side(0, 29)), 0.05);
  // And its elbow comes out there as in the frames beside it.
  const auto elbowAt = [&](int f) {
    ArmClearer::Pose pose;
    poser.load(s.motion, f);
    arm.read(poser, pose);
    pose.side = around.side(0, f);
    arm.load(pose);
    // The wrist comes nearer to the shoulder, so that the elbow bends out.
    const Vec3d back = rotate(conjugate(pose.frame), normalised(pose.root - pose.end)) * 0.1;
    arm.write(poser, {{0, 0, 0, back.x, back.y, back.z}});
    const Vec3d line = normalised(poser.position(limb.end) - poser.position(limb.root)), off = poser.position(limb.mid) - poser.position(limb.root);
    return off - line * dot(off, line);
  };
  EXPECT_LT(angleBetween(elbowAt(30), elbowAt(29)), 0.4);
}

TEST(ArmAround, HandsThatTouchComeOutTheSameWhateverRangeIsAsked) {
  const test::Stand s = walking({0.3, 1, false, false}, 160, 1.2);
  Repair clearance, touch;
  clearance.id = 1;
  clearance.action = ClearanceRepair{};
  touch.id = 2;
  TouchRepair what;
  what.bone = "@leftHand";
  what.target = TouchTarget::body;
  what.on = "@chest";
  what.skin = true;
  touch.action = what;
  Issues issues;
  const RepairLayerPtr layer = makeClearanceLayer(s.context, {&clearance, &touch}, ClearedHands::stay, issues);
  ASSERT_TRUE(layer);
  const auto cleared = [&](FrameSpan frames) {
    TiledMotion out = s.motion.writable(frames.first, frames.count());
    std::vector<Residual> residuals(2);
    for (std::size_t k = 0; k < 2; ++k) residuals[k] = {k + 1, 0, std::vector<Miss>(160)};
    layer->apply(s.motion, frames, out, residuals);
    return out;
  };
  const TiledMotion whole = cleared({0, 159});
  int differ = 0;
  for (const FrameSpan part : {FrameSpan{0, 9}, FrameSpan{63, 64}, FrameSpan{97, 121}, FrameSpan{159, 159}}) {
    // Nothing that was solved before is known there.
    const test::Stand fresh = walking({0.3, 1, false, false}, 160, 1.2);
    Issues told;
    const RepairLayerPtr other = makeClearanceLayer(fresh.context, {&clearance, &touch}, ClearedHands::stay, told);
    TiledMotion some = fresh.motion.writable(part.first, part.count());
    std::vector<Residual> residuals(2);
    for (std::size_t k = 0; k < 2; ++k) residuals[k] = {k + 1, 0, std::vector<Miss>(160)};
    other->apply(fresh.motion, part, some, residuals);
    for (int f = part.first; f <= part.last; ++f)
      for (std::size_t j = 0; j < static_cast<std::size_t>(whole.joints()); ++j) {
        ASSERT_EQ(std::memcmp(&whole.rotationsAt(f)[j], &some.rotationsAt(f)[j], sizeof(Quatf)), 0) << f << " " << j;
        differ += std::memcmp(&whole.rotationsAt(f)[j], &s.motion.rotationsAt(f)[j], sizeof(Quatf)) != 0;
      }
  }
  EXPECT_GT(differ, 0);
}

}  // namespace
}  // namespace understudy
