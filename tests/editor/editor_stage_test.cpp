// What the stage shows and how it is handled, by real events.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "app/editor/panels/stage_bar.h"
#include "app/editor/window/actions.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorStage : public EditorRun {
 protected:
  StageWidget& stage() { return window->stage(); }
  /// Moves the mouse without a button, as hovering does.
  void hover(QPointF at) {
    QMouseEvent move(QEvent::MouseMove, at, stage().mapToGlobal(at), Qt::NoButton, Qt::NoButton, Qt::NoModifier);
    QApplication::sendEvent(&stage(), &move);
  }
  void dragWith(QPointF from, QPointF to, Qt::KeyboardModifiers modifiers) {
    QTest::mousePress(&stage(), Qt::LeftButton, modifiers, from.toPoint());
    for (int i = 1; i <= 6; ++i) {
      const QPointF at = from + (to - from) * (i / 6.0);
      QMouseEvent move(QEvent::MouseMove, at, stage().mapToGlobal(at), Qt::NoButton, Qt::LeftButton, modifiers);
      QApplication::sendEvent(&stage(), &move);
    }
    QTest::mouseRelease(&stage(), Qt::LeftButton, modifiers, to.toPoint());
    settle();
  }
  Quatd pose(const char* name) { return Quatd(document().evaluated()->motion.rotationsAt(session().frame())[static_cast<std::size_t>(joint(name))]); }
};

TEST_F(EditorStage, KeysShowEchoesGhostPathAndDistances) {
  load();
  session().setFrame(30);
  selectRole(Role::leftHand);
  drawn();
  const std::size_t figures = stage().scene().figures.size();
  key(Qt::Key_U);
  drawn();
  EXPECT_EQ(stage().scene().figures.size(), figures + 4) << "two poses before and two after";
  key(Qt::Key_U);
  key(Qt::Key_U, Qt::ShiftModifier);
  drawn();
  ASSERT_EQ(stage().scene().figures.size(), figures + 1);
  EXPECT_LT(stage().scene().figures.back().meshAlpha, 1);
  key(Qt::Key_U, Qt::ShiftModifier);
  key(Qt::Key_T);
  drawn();
  ASSERT_EQ(stage().scene().trails.size(), 1U);
  const Trail& trail = stage().scene().trails.front();
  EXPECT_EQ(trail.tickEvery, 5);
  const auto at = stage().pointOf(*session().selected());
  const Projected p = project(stage().camera(), stage().width(), stage().height(), trail.points[static_cast<std::size_t>(trail.now)]);
  ASSERT_TRUE(at);
  EXPECT_NEAR(p.x, at->x(), 0.5) << "the path goes through the bone where it is now";
  key(Qt::Key_T);
  key(Qt::Key_I);
  drawn();
  EXPECT_FALSE(stage().scene().segments.empty() && stage().scene().marks.empty()) << "soles near the ground are told";
  key(Qt::Key_H);
  EXPECT_TRUE(session().bare());
}

TEST_F(EditorStage, NoTwoCommandsShareAKey) {
  std::map<QString, QString> known;
  for (const QAction* action : window->actions().all())
    for (const QKeySequence& key : action->shortcuts()) {
      const auto [at, fresh] = known.emplace(key.toString(), action->text());
      EXPECT_TRUE(fresh) << key.toString().toStdString() << ": " << at->second.toStdString() << " and " << action->text().toStdString();
    }
  EXPECT_GT(known.size(), 40U);
}

TEST_F(EditorStage, BeforeAndAfterStandSideBySide) {
  load();
  nudgeArm(10);
  key(Qt::Key_9);
  drawn();
  ASSERT_GE(stage().scene().figures.size(), 2U);
  const auto arm = static_cast<std::size_t>(joint("upperarm_l"));
  const auto turned = [&](std::size_t figure) { return polarParts(stage().scene().figures[figure].jointWorld[arm]).rotation; };
  EXPECT_GT(angleBetween(turned(0), turned(1)), 0.05) << "the left one is without the nudge";
  EXPECT_EQ(stage().scene().figures[0].figure, stage().scene().figures[1].figure);
}

TEST_F(EditorStage, ViewsKeepTheirFraming) {
  load();
  drawn();
  key(Qt::Key_2);
  QWheelEvent wheel(QPointF(300, 200), stage().mapToGlobal(QPointF(300, 200)), QPoint(), QPoint(0, 360), Qt::NoButton, Qt::NoModifier, Qt::NoScrollPhase, false);
  QApplication::sendEvent(&stage(), &wheel);
  const Camera front = stage().camera();
  ASSERT_TRUE(front.orthographic);
  key(Qt::Key_3);
  EXPECT_NE(stage().camera().yaw, front.yaw);
  key(Qt::Key_2);
  EXPECT_EQ(stage().camera().orthographicHeight, front.orthographicHeight);
  EXPECT_EQ(stage().camera().target, front.target);
  key(Qt::Key_V);
  EXPECT_NE(stage().camera().orthographicHeight, front.orthographicHeight) << "fitting all frames anew";
}

TEST_F(EditorStage, TheCameraGoesAlongWithAHand) {
  load();
  drawn();
  window->actions().find(QStringLiteral("Camera follows the left hand"))->trigger();
  drawn();
  const auto before = stage().pointOf({Cast::character, joint("hand_l")});
  session().setFrame(40);
  drawn();
  const auto after = stage().pointOf({Cast::character, joint("hand_l")});
  ASSERT_TRUE(before && after);
  EXPECT_LT(QLineF(*before, *after).length(), 2) << "the hand stays where it is in the picture";
}

TEST_F(EditorStage, ABoxSelectsBonesAndCtrlTakesOneOut) {
  load();
  drawn();
  session().setLayout(StageLayout::characterAlone);
  drawn();
  const auto foot = stage().pointOf({Cast::character, joint("foot_l")}), other = stage().pointOf({Cast::character, joint("foot_r")});
  ASSERT_TRUE(foot && other);
  QRectF box = QRectF(*foot, *other).normalized().adjusted(-14, -14, 14, 14);
  dragWith(box.topLeft(), box.bottomRight(), Qt::ControlModifier);
  const std::vector<Bone> chosen = session().selection();
  const auto holds = [&](const char* name) { return std::find(chosen.begin(), chosen.end(), Bone{Cast::character, joint(name)}) != chosen.end(); };
  EXPECT_TRUE(holds("foot_l") && holds("foot_r"));
  EXPECT_FALSE(holds("hand_l"));
  addByKeys("smooth");
  EXPECT_EQ(std::get<SmoothRepair>(onlyRepair().action).bones.size(), chosen.size()) << "a repair takes all that are selected";
  session().selectAll(chosen);
  drawn();
  const auto point = stage().pointOf({Cast::character, joint("foot_r")});
  QTest::mouseClick(&stage(), Qt::LeftButton, Qt::ControlModifier, point->toPoint());
  EXPECT_EQ(session().selection().size(), chosen.size() - 1);
}

TEST_F(EditorStage, RingsFollowTheChosenAxesAndTakeNumbers) {
  load();
  session().setFrame(20);
  selectRole(Role::leftUpperArm);
  window->actions().find(QStringLiteral("Handles along the axes: world"))->trigger();
  stage().frameSelection();
  drawn();
  const Quatd before = pose("upperarm_l");
  std::optional<QPointF> at = stage().ringPoint(1);
  ASSERT_TRUE(at);
  stage().setFocus();
  hover(*at);
  QTest::keyClick(&stage(), Qt::Key_3);
  auto* number = stage().findChild<QLineEdit*>(QStringLiteral("stageNumber"));
  ASSERT_TRUE(number && number->isVisible()) << "a digit on a ring opens the field, not a view";
  EXPECT_EQ(stage().view(), View::free);
  QTest::keyClicks(number, QStringLiteral("0"));
  QTest::keyClick(number, Qt::Key_Return);
  settle();
  EXPECT_NEAR(angleBetween(before, pose("upperarm_l")) * 57.29577951, 30, 0.05);
  // About the world's up: the bone's world rotation is the old one turned about +Y.
  const auto world = [&](const TiledMotion& motion) {
    return polarParts(document().worldFromFile(Cast::character) * worldAt(document().figure(Cast::character)->skeleton, motion, 20)[static_cast<std::size_t>(joint("upperarm_l"))]).rotation;
  };
  const Vec3d turn = logOf(normalised(world(document().evaluated()->motion) * conjugate(world(document().evaluated()->base))));
  EXPECT_NEAR(std::abs(turn.y) * 57.29577951, 30, 0.1);
  EXPECT_NEAR(turn.x, 0, 2e-3);
  EXPECT_NEAR(turn.z, 0, 2e-3);
}

TEST_F(EditorStage, CtrlTurnsInWholeSteps) {
  load();
  session().setFrame(20);
  selectRole(Role::leftUpperArm);
  stage().frameSelection();
  drawn();
  const auto at = stage().ringPoint(3);
  ASSERT_TRUE(at);
  const Quatd before = pose("upperarm_l");
  dragWith(*at, *at + QPointF(23, 37), Qt::ControlModifier);
  const double turned = angleBetween(before, pose("upperarm_l")) * 57.29577951;
  EXPECT_GT(turned, 4);
  EXPECT_NEAR(turned, 5 * std::round(turned / 5), 0.05);
}

TEST_F(EditorStage, AnArrowMovesALimbAlongItsAxisAndByNumber) {
  load();
  session().setFrame(20);
  selectRole(Role::leftHand);
  window->actions().find(QStringLiteral("Handles along the axes: world"))->trigger();
  stage().frameSelection();
  drawn();
  const auto handles = stage().handles();
  const auto up = std::find_if(handles.begin(), handles.end(), [](const StageHandle& h) { return h.kind == HandleKind::limbAxis && h.number == 1; });
  ASSERT_NE(up, handles.end());
  const auto place = [&] { return apply(document().worldFromFile(Cast::character), worldAt(document().figure(Cast::character)->skeleton, document().evaluated()->motion, 20)[static_cast<std::size_t>(joint("hand_l"))].translation); };
  const Vec3d before = place();
  const auto tip = stage().pictureOf(up->tip);
  ASSERT_TRUE(tip);
  stage().setFocus();
  hover(*tip);
  QTest::keyClick(&stage(), Qt::Key_5);
  auto* number = stage().findChild<QLineEdit*>(QStringLiteral("stageNumber"));
  ASSERT_TRUE(number && number->isVisible());
  QTest::keyClicks(number, QStringLiteral("0"));
  QTest::keyClick(number, Qt::Key_Return);
  settle();
  const Vec3d moved = place() - before;
  EXPECT_NEAR(moved.y, 0.05, 1e-3);
  EXPECT_NEAR(moved.x, 0, 1e-3);
  EXPECT_NEAR(moved.z, 0, 1e-3);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(document().take().nudges->empty()) << "one step of undo";
}

TEST_F(EditorStage, MeshesAreSeenThroughHiddenAndShownByOneKey) {
  load();
  session().setLayout(StageLayout::characterAlone);
  stage().change([](StageOptions& o) { o.bones = false; });
  drawn();
  const auto chest = stage().middleOf({Cast::character, document().map().character.joint(Role::leftUpperLeg)});
  ASSERT_TRUE(chest);
  hover(*chest);
  key(Qt::Key_Q);
  ASSERT_FALSE(stage().options().meshes.empty());
  const auto at = static_cast<std::size_t>(std::find(stage().options().meshes.begin(), stage().options().meshes.end(), 2) - stage().options().meshes.begin());
  ASSERT_LT(at, stage().options().meshes.size()) << "first it is seen through";
  drawn();
  hover(*chest);
  key(Qt::Key_Q);
  EXPECT_EQ(stage().options().meshes[at], 1) << "then hidden";
  key(Qt::Key_Q, Qt::ShiftModifier);
  EXPECT_TRUE(stage().options().meshes.empty()) << "and all come back";
}

}  // namespace
}  // namespace understudy::editor
