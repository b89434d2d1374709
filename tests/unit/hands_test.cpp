// Palms and fingers found on a character's skin, and how fingers close.
#include "core/repair/hands.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "core/io/read.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

struct Read {
  Figure figure;
  SkeletonMap map;
  PosedBody body;
};

/// The demo's keeper: gloves with thumb, index and middle finger, arms 40° below the horizontal, palms down.
std::unique_ptr<Read> keeper() {
  auto out = std::make_unique<Read>();
  Result<Figure> figure = readFigure(std::string(UNDERSTUDY_SOURCE) + "/samples/keeper.glb");
  if (!figure) return nullptr;
  out->figure = std::move(*figure);
  out->map = mapRoles(out->figure);
  Result<PosedBody> body = posedBody(out->figure, out->map, nullptr, {});
  if (!body) return nullptr;
  out->body = std::move(*body);
  return out;
}

TEST(Hands, PalmsFaceDownAndThumbsForwardInAnAPose) {
  const auto k = keeper();
  ASSERT_TRUE(k);
  const std::array<Hand, 2> hands = findHands(k->body);
  for (int side = 0; side < 2; ++side) {
    const Hand& hand = hands[side];
    ASSERT_GE(hand.joint, 0);
    EXPECT_TRUE(hand.fromSkin);
    const Rigid palm = Rigid{k->body.rotation[hand.joint], k->body.position[hand.joint]} * hand.palm;
    const Vec3d thumb = rotate(palm.turn, Vec3d{0, 1, 0}), normal = rotate(palm.turn, Vec3d{0, 0, 1});
    const double outwards = side == 0 ? 1 : -1;
    EXPECT_GT(thumb.z, 0.9);
    EXPECT_LT(normal.y, -0.6);
    EXPECT_LT(normal.x * outwards, -0.5);  // towards the body, for the arm hangs down and out
    // On the skin: beyond the wrist and out of the bones' line on the palm's side.
    EXPECT_GT((palm.at.x - k->body.position[hand.joint].x) * outwards, 0.01);
    EXPECT_GT(dot(palm.at - k->body.position[hand.joint], normal), 0.02);
    ASSERT_EQ(hand.fingers.size(), 3u);
    EXPECT_TRUE(hand.fingers[0].thumb);
  }
}

TEST(Hands, BothHandsMirrorEachOther) {
  const auto k = keeper();
  ASSERT_TRUE(k);
  const std::array<Hand, 2> hands = findHands(k->body);
  const auto world = [&](int side) { return Rigid{k->body.rotation[hands[side].joint], k->body.position[hands[side].joint]} * hands[side].palm; };
  const Rigid l = world(0), r = world(1);
  EXPECT_NEAR(l.at.x, -r.at.x, 2e-3);
  EXPECT_NEAR(l.at.y, r.at.y, 2e-3);
  const Vec3d zl = rotate(l.turn, Vec3d{0, 0, 1}), zr = rotate(r.turn, Vec3d{0, 0, 1});
  EXPECT_NEAR(zl.x, -zr.x, 0.05);
  EXPECT_NEAR(zl.y, zr.y, 0.05);
}

TEST(Hands, FingersCloseUntilTheirSkinMeetsTheHandle) {
  const auto k = keeper();
  ASSERT_TRUE(k);
  const std::array<Hand, 2> hands = findHands(k->body);
  for (const Hand& hand : hands)
    for (const double radius : {0.006, 0.010, 0.014}) {
      const HandClosing closed = handPose(hand, HandPose::grip, {{0, 0, radius}, {0, 1, 0}, radius});
      ASSERT_EQ(closed.gaps.size(), hand.fingers.size());
      for (std::size_t i = 0; i < closed.gaps.size(); ++i)
        if (!hand.fingers[i].thumb) {
          EXPECT_NEAR(closed.gaps[i], 0, 1e-4) << "radius " << radius << " finger " << i;
        }
    }
}

TEST(Hands, AThickerHandleLeavesFingersMoreOpen) {
  const auto k = keeper();
  ASSERT_TRUE(k);
  const Hand hand = findHands(k->body)[1];
  const auto closing = [&](double radius) {
    const HandClosing c = handPose(hand, HandPose::grip, {{0, 0, radius}, {0, 1, 0}, radius});
    double sum = 0;
    for (const FingerTurn& t : c.turns)
      for (const Finger& f : hand.fingers)
        if (!f.thumb && f.bones.back().joint == t.joint) sum += angleBetween(t.turn, f.bones.back().rest.turn);
    return sum;
  };
  EXPECT_GT(closing(0.006), closing(0.02) + 0.1);
}

TEST(Hands, ShapesAreInOrderOfClosing) {
  const auto k = keeper();
  ASSERT_TRUE(k);
  const Hand hand = findHands(k->body)[0];
  const Finger& index = hand.fingers[1];
  const auto tipOut = [&](HandPose pose) {  // how far the index finger's last bone points along the hand
    for (const FingerTurn& t : handPose(hand, pose).turns)
      if (t.joint == index.bones.back().joint)
        return dot(rotate(t.turn * conjugate(index.bones.back().rest.turn), normalised(index.bones.back().end - index.bones.back().rest.at)), hand.along);
    return 0.0;
  };
  EXPECT_GT(tipOut(HandPose::flat), 0.99);
  EXPECT_GT(tipOut(HandPose::point), 0.99);
  EXPECT_LT(tipOut(HandPose::relaxed), 0.8);
  EXPECT_LT(tipOut(HandPose::fist), -0.8);
  for (const FingerTurn& t : handPose(hand, HandPose::own).turns)
    for (const Finger& f : hand.fingers)
      for (const FingerBone& b : f.bones)
        if (b.joint == t.joint) {
          EXPECT_LT(angleBetween(t.turn, b.rest.turn), 1e-12);
        }
}

TEST(Hands, AStickFigureHasHandsWithoutFingers) {
  const TemporaryFolder folder;
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  Result<Figure> figure = readFigure(folder.file("stick.glb"));
  ASSERT_TRUE(figure.ok());
  const SkeletonMap map = mapRoles(*figure);
  Result<PosedBody> body = posedBody(*figure, map, nullptr, {});
  ASSERT_TRUE(body.ok());
  for (const Hand& hand : findHands(*body)) {
    ASSERT_GE(hand.joint, 0);
    EXPECT_TRUE(hand.fingers.empty());
    const Rigid palm = Rigid{body->rotation[hand.joint], body->position[hand.joint]} * hand.palm;
    EXPECT_TRUE(isFinite(palm.at) && isFinite(palm.turn));
    EXPECT_GT(rotate(palm.turn, Vec3d{0, 1, 0}).z, 0.7);
    EXPECT_TRUE(handPose(hand, HandPose::grip).turns.empty());
  }
}

}  // namespace
}  // namespace understudy
