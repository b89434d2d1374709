// The timeline by keys and mouse: merging, eases, timecode, the play range, locks, the set, who holds a prop.
#include <gtest/gtest.h>

#include <QListWidget>

#include "app/editor/document/repairing.h"
#include "app/editor/document/set_and_locks.h"
#include "app/editor/timeline/timecode.h"
#include "app/editor/window/actions.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

TEST(EditorTimecode, CountsFramesOfWholeSecondsAndReadsItBack) {
  EXPECT_EQ(timecode(0, 24), QStringLiteral("00:00:00:00"));
  EXPECT_EQ(timecode(24 * 3723 + 7, 24), QStringLiteral("01:02:03:07"));
  EXPECT_EQ(timecode(30, 30000.0 / 1001), QStringLiteral("00:00:01:00")) << "29.97 counts thirty frames a second, none dropped";
  EXPECT_EQ(timecode(-25, 25), QStringLiteral("-00:00:01:00"));
  for (const double hertz : {24.0, 25.0, 30000.0 / 1001, 60.0, 120.0})
    for (int frame : {0, 1, 59, 719, 36000, 1234567}) EXPECT_EQ(frameOfTimecode(timecode(frame, hertz), hertz), frame);
  EXPECT_EQ(frameOfTimecode(QStringLiteral("1:12"), 24), 36);
  EXPECT_EQ(frameOfTimecode(QStringLiteral("480"), 24), 480);
  for (const char* bad : {"", "1:x", "1:2:3:4:5", "a", "::"}) EXPECT_FALSE(frameOfTimecode(QString::fromLatin1(bad), 24)) << bad;
}

TEST(EditorMerge, TwoPlantsBecomeOneAndOthersDoNot) {
  const FrameRate rate{30, 1};
  const auto plant = [&](int first, int last, PlantPart part) {
    PlantRepair p;
    p.part = part;
    p.marks = {{rate.seconds(first), PlantPhase::heel}, {rate.seconds(first + 4), PlantPhase::flat}};
    p.release = rate.seconds(last - 2);
    p.anchored = true;
    p.anchor = {0.1 * first, 0, 0};
    Repair repair;
    repair.id = static_cast<std::uint64_t>(first);
    repair.span = TimeRange{rate.seconds(first), rate.seconds(last)};
    repair.action = p;
    return repair;
  };
  const Repair a = plant(10, 30, PlantPart::leftFoot), b = plant(34, 60, PlantPart::leftFoot);
  const auto whole = merged(b, a, rate);
  ASSERT_TRUE(whole);
  EXPECT_EQ(repairFrames(*whole, rate, 100).span, (FrameSpan{10, 60}));
  const auto& made = std::get<PlantRepair>(whole->action);
  EXPECT_EQ(made.anchor.x, 1.0) << "it stands where the earlier one stood";
  EXPECT_EQ(made.marks.size(), 4U);
  EXPECT_EQ(frameAt(*made.release, rate), 58) << "only the end lets go";
  EXPECT_FALSE(merged(a, plant(34, 60, PlantPart::rightFoot), rate));
  Repair still = a;
  still.action = StillRepair{};
  EXPECT_FALSE(merged(a, still, rate));
  Repair all = a;
  all.span.reset();
  EXPECT_FALSE(merged(a, all, rate));
  const auto parts = split(a, 20, rate, 100);
  ASSERT_TRUE(parts);
  EXPECT_EQ(repairFrames(*merged(parts->first, parts->second, rate), rate, 100).span, (FrameSpan{10, 30})) << "merging takes a split back";
}

TEST(EditorHolders, ALaneNamesWhoHasThePropWhen) {
  Take take;
  Evaluated evaluated;
  evaluated.rate = {30, 1};
  evaluated.clipFrames = 100;
  PropItem prop;
  prop.id = 3;
  prop.holders = {{0, "", {}}, {evaluated.rate.seconds(60), "@hips", {}}};
  Repair grip;
  grip.id = 1;
  grip.span = TimeRange{evaluated.rate.seconds(20), evaluated.rate.seconds(39)};
  GripRepair action;
  action.prop = 3;
  grip.action = action;
  take.repairs = Node<Repairs>(Repairs{Node<Repair>(grip)});
  const auto bars = holdersOf(take, prop, evaluated);
  ASSERT_EQ(bars.size(), 4U);
  EXPECT_EQ(bars[0].text, QStringLiteral("the world"));
  EXPECT_EQ(bars[1].first, 20);
  EXPECT_EQ(bars[1].last, 39);
  EXPECT_TRUE(bars[1].text.contains(QStringLiteral("right")));
  EXPECT_EQ(bars[2].text, QStringLiteral("the world"));
  EXPECT_EQ(bars[3].text, QStringLiteral("hips"));
  EXPECT_EQ(bars[3].last, 99);
}

TEST_F(EditorRun, SplitMergeAndEasesByKeys) {
  load();
  session().setFrame(30);
  selectRole(Role::leftHand);
  session().setRange(10, 50);
  addByKeys("smooth");
  const std::uint64_t id = onlyRepair().id;
  session().setRepair(id);
  const int before = repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).before;
  key(Qt::Key_BracketLeft, Qt::AltModifier);
  key(Qt::Key_BracketLeft, Qt::AltModifier);
  settle();
  EXPECT_EQ(repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).before, before + 2);
  key(Qt::Key_S);
  settle();
  ASSERT_EQ(document().take().repairs->size(), 2U);
  session().setRepair(id);
  key(Qt::Key_S, Qt::ShiftModifier);
  settle();
  ASSERT_EQ(document().take().repairs->size(), 1U);
  EXPECT_EQ(repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).span, (FrameSpan{10, 50}));
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take().repairs->size(), 2U) << "merging is one step of undo";
}

TEST_F(EditorRun, FramesAreShownAndTypedAsTimecode) {
  load();
  key(Qt::Key_G, Qt::ShiftModifier);
  auto* field = window->timeline().findChild<QSpinBox*>(QStringLiteral("frame"));
  ASSERT_TRUE(field);
  session().setFrame(29);
  EXPECT_EQ(field->text(), timecode(30, session().rate()));
  key(Qt::Key_G);
  EXPECT_TRUE(field->hasFocus());
  QTest::keyClicks(field, QStringLiteral("0:41"));
  QTest::keyClick(field, Qt::Key_Return);
  EXPECT_EQ(session().frame(), 40);
  window->stage().setFocus();
  key(Qt::Key_G, Qt::ShiftModifier);
  EXPECT_EQ(field->text(), QStringLiteral("41"));
}

TEST_F(EditorRun, ShiftOnTheRulerDrawsTheRangeThatPlays) {
  load();
  LanesView& lanes = window->timeline().lanes();
  const FrameScale& scale = window->timeline().scale();
  const QPointF from(scale.x(12), 12), to(scale.x(33), 12);
  QTest::mousePress(&lanes, Qt::LeftButton, Qt::ShiftModifier, from.toPoint());
  QMouseEvent move(QEvent::MouseMove, to, lanes.mapToGlobal(to), Qt::NoButton, Qt::LeftButton, Qt::ShiftModifier);
  QApplication::sendEvent(&lanes, &move);
  QTest::mouseRelease(&lanes, Qt::LeftButton, Qt::ShiftModifier, to.toPoint());
  EXPECT_EQ(session().rangeFirst(), 12);
  EXPECT_EQ(session().rangeLast(), 33);
  key(Qt::Key_Home);
  EXPECT_EQ(session().frame(), 12);
}

TEST_F(EditorRun, BonesAreLockedAndUnlockedAndALaneSaysSo) {
  load();
  selectRole(Role::leftHand);
  session().setRange(5, 25);
  key(Qt::Key_J, Qt::ControlModifier);
  settle();
  ASSERT_EQ(document().take().locks->size(), 1U);
  EXPECT_EQ(document().take().locks->front().bones, std::vector<std::string>{"@leftHand"});
  bool lane = false;
  for (const auto& named : window->timeline().lanes().names()) lane = lane || named.name == laneName(LaneGroup::locks);
  EXPECT_TRUE(lane);
  session().setFrame(40);
  key(Qt::Key_J, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_EQ(document().take().locks->size(), 1U) << "outside its frames it stays";
  session().setFrame(10);
  key(Qt::Key_J, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_TRUE(document().take().locks->empty());
}

TEST_F(EditorRun, AThingOfTheSetIsAddedMovedAndRemoved) {
  load();
  drawn();
  const std::size_t figures = window->stage().scene().figures.size();
  window->actions().find(QStringLiteral("Set: add box"))->trigger();
  settle();
  drawn();
  ASSERT_EQ(document().take().set->size(), 1U);
  EXPECT_EQ(window->stage().scene().figures.size(), figures + 1) << "it stands in the stage";
  QDoubleSpinBox* across = nullptr;
  for (auto* box : window->findChildren<QDoubleSpinBox*>())
    if (box->isVisible() && box->accessibleName().startsWith(QStringLiteral("Place along X"))) across = box;
  ASSERT_TRUE(across);
  across->setFocus();
  across->selectAll();
  QTest::keyClicks(across, QStringLiteral("250"));
  QTest::keyClick(across, Qt::Key_Return);
  settle();
  EXPECT_NEAR(document().take().set->front().place.position.x, 0.25, 1e-9);
  window->stage().setFocus();
  key(Qt::Key_Z, Qt::ControlModifier);
  EXPECT_NE(document().take().set->front().place.position.x, 0.25);
  removeFromSet(document(), document().take().set->front().id);
  EXPECT_TRUE(document().take().set->empty());
}

TEST_F(EditorRun, LanesWithoutRoomScroll) {
  load();
  LanesView& lanes = window->timeline().lanes();
  for (const char* kind : {"smooth", "clearance", "plant", "touch"}) {
    selectRole(Role::leftHand);
    addByKeys(kind);
  }
  lockSelection(document(), session());
  settle();
  lanes.resize(lanes.width(), 120);
  const auto top = [&] {
    for (const auto& named : lanes.names())
      if (named.name != LanesView::tr("Findings")) return named.name;
    return QString();
  };
  const QString first = top();
  lanes.scrollLanes(1000);
  EXPECT_NE(top(), first);
  EXPECT_EQ(lanes.names().back().name, laneName(LaneGroup::nudges));
  for (const auto& named : lanes.names()) EXPECT_GE(named.rect.height(), 24);
}

}  // namespace
}  // namespace understudy::editor
