// Curves: angles there and back, and keys, handles and boxes by real events, asserted on the evaluated and the exported motion.
#include <QListWidget>
#include <QWheelEvent>
#include <random>

#include "app/editor/document/angles.h"
#include "app/editor/timeline/curves_page.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

TEST(EditorAngles, AnyRotationComesBackFromItsAngles) {
  std::mt19937 random(20);
  std::normal_distribution<double> normal;
  for (int i = 0; i < 2000; ++i) {
    Quatd q = normalised(Quatd{normal(random), normal(random), normal(random), normal(random)});
    // Every tenth with Y at a right angle, where X and Z cannot be told apart.
    if (i % 10 == 0) q = fromAxisAngle(Vec3d{1, 0, 0}, normal(random)) * fromAxisAngle(Vec3d{0, 1, 0}, (i % 20 ? 1 : -1) * M_PI / 2) * fromAxisAngle(Vec3d{0, 0, 1}, normal(random));
    const Vec3d axis = normalised(Vec3d{normal(random), normal(random), normal(random)});
    const Triple near{normal(random) * 200, normal(random) * 200, normal(random) * 200};
    for (const Angles angles : {Angles::turns, Angles::limb})
      EXPECT_LT(angleBetween(rotationOf(anglesOf(q, angles, axis, near), angles, axis), q), 1e-6) << i;
  }
}

TEST(EditorAngles, ALimbsTwistAndSwingAreToldApart) {
  const Vec3d axis{0, 1, 0};
  const Quatd q = expOf(Vec3d{0.4, 0, 0}) * fromAxisAngle(axis, 1.1);
  const Triple t = anglesOf(q, Angles::limb, axis, {});
  EXPECT_NEAR(t[0] * M_PI / 180, 0.4, 1e-9);
  EXPECT_NEAR(t[1], 0, 1e-9);
  EXPECT_NEAR(t[2] * M_PI / 180, 1.1, 1e-9);
}

class EditorCurveKeys : public EditorRun {
 protected:
  void openCurves() {
    load();
    selectRole(Role::leftUpperArm);
    key(Qt::Key_C);
    ASSERT_TRUE(view().isVisible());
    ASSERT_EQ(view().lines().size(), 1U);
  }
  CurvesView& view() { return window->timeline().curves().view(); }
  const CurvesView::Line& line() { return view().lines().front(); }
  double now(int channel, int frame) { return line().after[static_cast<std::size_t>(channel)][static_cast<std::size_t>(frame)]; }
  QPointF at(int frame, double y) { return {window->timeline().scale().x(frame), y}; }
  void doubleClick(int frame) {
    QTest::mouseDClick(&view(), Qt::LeftButton, Qt::NoModifier, at(frame, view().height() - 12.0).toPoint());
    settle();
  }
  std::uint64_t keyAt(int frame) {
    for (const CurveKey& k : line().keys)
      if (k.frame == frame) return k.nudge;
    return 0;
  }
};

TEST_F(EditorCurveKeys, AKeyIsSetAndDraggedAndOnlyItsAngleChanges) {
  openCurves();
  const auto before = document().evaluated()->motion;
  doubleClick(20);
  ASSERT_EQ(line().keys.size(), 1U);
  EXPECT_TRUE(document().take().nudges->front()->late) << "curve edits come after all repairs";
  EXPECT_TRUE(turnedJoints(before, document().evaluated()->motion).empty()) << "a new key changes nothing";
  const Triple was = line().keys[0].value;
  const auto dot = view().pointOf({keyAt(20), 2});
  ASSERT_TRUE(dot);
  // Another angle of the same key is not under the mouse.
  window->timeline().curves().findChild<QToolButton*>(QStringLiteral("channel0"))->click();
  window->timeline().curves().findChild<QToolButton*>(QStringLiteral("channel1"))->click();
  view().fitValues();
  const auto grab = view().pointOf({keyAt(20), 2});
  ASSERT_TRUE(grab);
  const QPointF to(grab->x(), grab->y() - 30);
  drag(&view(), *grab, to);
  const double wanted = now(2, 20);
  EXPECT_GT(wanted, was[2] + 1);
  EXPECT_NEAR(now(0, 20), was[0], 0.01);
  EXPECT_NEAR(now(1, 20), was[1], 0.01);
  EXPECT_EQ(turnedJoints(before, document().evaluated()->motion), std::vector<int>{joint("upperarm_l")});
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(turnedJoints(before, document().evaluated()->motion).empty()) << "one drag is one step";
  key(Qt::Key_Z, Qt::ControlModifier | Qt::ShiftModifier);
  settle();
  EXPECT_NEAR(now(2, 20), wanted, 1e-3);

  // The same angle is in the exported file.
  const std::string out = folder.file("curves.glb");
  HandOver settings;
  settings.path = out;
  QSignalSpy handed(&document(), &Document::handedOver);
  document().handOver(settings, 1);
  settle();
  ASSERT_EQ(handed.size(), 1);
  const auto read = readFigure(out);
  ASSERT_TRUE(read);
  const auto motion = sample(read->clips.back(), read->skeleton);
  ASSERT_TRUE(motion);
  const auto curves = rotationCurves(read->skeleton, TiledMotion(std::make_shared<const Motion>(*motion)), findJoint(read->skeleton, "upperarm_l").value());
  EXPECT_NEAR(curves[2][20], wanted, 0.02);
}

TEST_F(EditorCurveKeys, ABoxIsStretchedInTimeAndScaledInAngle) {
  openCurves();
  doubleClick(10);
  doubleClick(22);
  ASSERT_EQ(line().keys.size(), 2U);
  const std::uint64_t first = keyAt(10), second = keyAt(22);
  EXPECT_EQ(line().keys[0].after, 12) << "keys that stand near each other make one curve";
  EXPECT_EQ(line().keys[1].before, 12);
  // Up by keys, so that there is something to scale: both keys, all angles.
  view().setFocus();
  QTest::keyClick(&view(), Qt::Key_A, Qt::ControlModifier);
  EXPECT_EQ(view().picked().size(), 6U);
  QTest::keyClick(&view(), Qt::Key_Up, Qt::ShiftModifier);
  settle();
  const double raised = now(0, 10);
  const QRectF box = view().box();
  ASSERT_FALSE(box.isNull());
  drag(&view(), QPointF(box.right(), box.center().y()), QPointF(box.right() + window->timeline().scale().perFrame() * 12, box.center().y()));
  EXPECT_EQ(keyAt(10), first);
  EXPECT_EQ(keyAt(34), second) << "stretched to twice the length";
  EXPECT_EQ(line().keys[0].after, 24) << "and still one curve";
  EXPECT_NEAR(now(0, 10), raised, 0.05);
  const QRectF tall = view().box();
  const double low = std::min({line().keys[0].value[0], line().keys[0].value[1], line().keys[0].value[2], line().keys[1].value[0], line().keys[1].value[1], line().keys[1].value[2]});
  const double height = tall.height() - 20;
  drag(&view(), QPointF(tall.center().x(), tall.top()), QPointF(tall.center().x(), tall.top() + height / 2));
  const double factor = 1 - std::round(height / 2) / height;
  EXPECT_NEAR(now(0, 10) - low, (raised - low) * factor, std::max(1.0, (raised - low) * 0.05));
  QTest::keyClick(&view(), Qt::Key_Delete);
  settle();
  EXPECT_TRUE(document().take().nudges->empty());
}

TEST_F(EditorCurveKeys, AHandleBendsTheCurveThroughItsKey) {
  openCurves();
  doubleClick(30);
  window->timeline().curves().findChild<QToolButton*>(QStringLiteral("channel1"))->click();
  window->timeline().curves().findChild<QToolButton*>(QStringLiteral("channel2"))->click();
  view().fitValues();
  const CurvesView::Dot dot{keyAt(30), 0};
  const auto grab = view().pointOf(dot, CurvePart::handleAfter);
  ASSERT_TRUE(grab);
  const double perFrame = window->timeline().scale().perFrame();
  const auto flat = document().evaluated()->motion;
  drag(&view(), *grab, QPointF(window->timeline().scale().x(30) + 6 * perFrame, grab->y() - 25));
  const CurveKey bent = line().keys[0];
  EXPECT_EQ(bent.after, 18) << "the handle stands at a third of the ease";
  EXPECT_GT(bent.slopeAfter[0], 0.1);
  EXPECT_NEAR(bent.slopeBefore[0], bent.slopeAfter[0], 0.05) << "both sides, unless Shift is held";
  EXPECT_NEAR(bent.slopeAfter[1], 0, 0.05);
  // The change's own slope, seen at the frames beside the key, by the Hermite form with zero turn: d·(1 − d/ease)².
  const double rise = line().after[0][31] - line().before[0][31];
  EXPECT_NEAR(rise, bent.slopeAfter[0] * std::pow(1 - 1 / 18.0, 2), 0.05);
  EXPECT_NEAR(line().after[0][30], line().before[0][30], 0.01);
  QTest::mouseClick(window->timeline().curves().findChild<QToolButton*>(QStringLiteral("keyHere")), Qt::LeftButton);
  view().setFocus();
  view().pickAll();
  view().level();
  settle();
  EXPECT_TRUE(document().take().nudges->front()->slopes.empty());
}

TEST_F(EditorCurveKeys, AKeySetOnABentCurveLeavesItAsItIs) {
  openCurves();
  doubleClick(10);
  doubleClick(40);
  view().setFocus();
  view().pickAll();
  QTest::keyClick(&view(), Qt::Key_Up, Qt::ShiftModifier);
  settle();
  const auto curve = line().after;
  doubleClick(21);
  ASSERT_EQ(line().keys.size(), 3U);
  for (std::size_t i = 0; i < 3; ++i)
    for (std::size_t f = 0; f < curve[i].size(); ++f) EXPECT_NEAR(line().after[i][f], curve[i][f], 0.6) << i << " at " << f;
  EXPECT_NEAR(line().after[0][21], curve[0][21], 0.01);
}

TEST_F(EditorCurveKeys, KeysOutliveRepairsMadeLater) {
  openCurves();
  doubleClick(20);
  view().setFocus();
  view().pickAll();
  QTest::keyClick(&view(), Qt::Key_Up, Qt::ShiftModifier);
  settle();
  const Nudge made = *document().take().nudges->front();
  // An offset of the same bone comes first; the key's change is added to its result.
  Repair offset;
  offset.action = OffsetRepair{{{"@leftUpperArm", {0, 0.3, 0}, {}}}, NudgeSpace::bone, false};
  addItem(document(), offset);
  settle();
  EXPECT_EQ(*document().take().nudges->front(), made);
  const int arm = joint("upperarm_l");
  const auto& evaluated = *document().evaluated();
  const Quatd input(evaluated.stageInputs[static_cast<std::size_t>(RepairStage::late)].rotationsAt(20)[static_cast<std::size_t>(arm)]);
  const Quatd result(evaluated.motion.rotationsAt(20)[static_cast<std::size_t>(arm)]);
  EXPECT_NEAR(angleBetween(input, result), length(made.joints[0].rotation), 1e-3);
  EXPECT_GT(angleBetween(Quatd(evaluated.base.rotationsAt(20)[static_cast<std::size_t>(arm)]), input), 0.2);
}

TEST_F(EditorCurveKeys, BonesAreFilteredByNameAndRole) {
  openCurves();
  CurvesPage& page = window->timeline().curves();
  QTest::keyClicks(&page.filter(), QStringLiteral("left lower"));
  ASSERT_GT(page.bones().count(), 0);
  for (int i = 0; i < page.bones().count(); ++i) EXPECT_TRUE(page.bones().item(i)->text().contains(QStringLiteral("left lower"))) << page.bones().item(i)->text().toStdString();
  page.filter().clear();
  QTest::keyClicks(&page.filter(), QStringLiteral("_l"));
  ASSERT_GT(page.bones().count(), 1);
  page.bones().setFocus();
  page.bones().selectAll();
  settle();
  EXPECT_EQ(static_cast<int>(view().lines().size()), page.bones().count()) << "the curves of all chosen bones are shown";
}

}  // namespace
}  // namespace understudy::editor
