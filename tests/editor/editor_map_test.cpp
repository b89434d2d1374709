// The map over the character: limbs as they are mapped, clicks, picking, and the other side in a mirror.
#include "app/editor/panels/map_figure.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorMapFigure : public EditorRun {
 protected:
  MapFigure& figure() { return window->map().figure(); }
  void click(QPointF at) {
    QTest::mouseClick(&figure(), Qt::LeftButton, Qt::NoModifier, at.toPoint());
    settle();
  }
};

TEST_F(EditorMapFigure, EveryMappedLimbIsThereAndAMissingOneIsAGap) {
  EXPECT_TRUE(mapLimbs(document()).empty());
  load();
  const auto limbs = mapLimbs(document());
  for (Role role : {Role::hips, Role::head, Role::leftUpperArm, Role::rightLowerLeg, Role::leftFoot}) {
    const auto at = std::find_if(limbs.begin(), limbs.end(), [&](const MapLimb& limb) { return limb.role == role; });
    ASSERT_NE(at, limbs.end()) << roleName(role);
    EXPECT_EQ(at->state, stateOf(document().map(), role));
    EXPECT_GT(length(at->to - at->from), 0.01);
  }
  const auto before = *figure().lineOf(Role::leftLowerArm);
  assignRole(document(), Cast::character, Role::leftLowerArm, {});
  settle();
  const auto gaps = mapLimbs(document());
  const auto gap = std::find_if(gaps.begin(), gaps.end(), [](const MapLimb& limb) { return limb.role == Role::leftLowerArm; });
  ASSERT_NE(gap, gaps.end());
  EXPECT_EQ(gap->state, RowState::missing);
  EXPECT_LT(QLineF(figure().lineOf(Role::leftLowerArm)->p2(), before.p2()).length(), 3) << "it lies where the limb was";
}

TEST_F(EditorMapFigure, AClickOnALimbChoosesItsRoleAndArrowsGoOn) {
  load();
  const auto arm = figure().lineOf(Role::leftUpperArm);
  ASSERT_TRUE(arm);
  click(arm->center());
  EXPECT_EQ(session().role(), Role::leftUpperArm);
  EXPECT_EQ(session().selected(), (Bone{Cast::character, joint("upperarm_l")}));
  EXPECT_EQ(window->map().table().currentIndex().row(), window->map().model().rowOf(Role::leftUpperArm));
  figure().setFocus();
  QTest::keyClick(&figure(), Qt::Key_Down);
  EXPECT_EQ(session().role(), Role::leftLowerArm);
}

TEST_F(EditorMapFigure, PickingFillsBothSidesInAMirror) {
  load();
  window->map().findChild<QToolButton*>(QStringLiteral("mirrorMap"))->click();
  selectRole(Role::leftHand);
  key(Qt::Key_P);
  ASSERT_TRUE(session().picking());
  const auto elbow = figure().pointOf(joint("lowerarm_l"));
  ASSERT_TRUE(elbow);
  const Take before = document().take();
  click(*elbow);
  EXPECT_EQ(document().map().character.joint(Role::leftHand), joint("lowerarm_l"));
  EXPECT_EQ(document().map().character.joint(Role::rightHand), joint("lowerarm_r"));
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take(), before) << "both sides are one step";
  EXPECT_EQ(mirroredJoint(document(), Cast::character, joint("thigh_r")), joint("thigh_l"));
  EXPECT_EQ(otherSide(Role::hips), std::nullopt);
}

TEST_F(EditorMapFigure, ThePictureIsTheCharactersOwnSkin) {
  load();
  if (figure().lane().busy()) {
    QSignalSpy drawn(&figure(), &MapFigure::drawn);
    ASSERT_TRUE(drawn.wait(20000));
  }
  const QImage shown = figure().grab().toImage();
  // Somewhere beside the limbs' lines there is skin where the ground would be.
  const auto body = figure().lineOf(Role::hips);
  ASSERT_TRUE(body);
  int other = 0;
  const QColor ground = shown.pixelColor(4, shown.height() / 2);
  for (int dx = -14; dx <= 14; ++dx)
    if (shown.pixelColor((body->center() + QPointF(dx, 0)).toPoint()) != ground) ++other;
  EXPECT_GT(other, 12);
}

}  // namespace
}  // namespace understudy::editor
