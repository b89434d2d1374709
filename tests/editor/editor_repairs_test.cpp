// Repairs by real events: added by keys, changed by fields, dragged on lanes and in the stage.
#include "app/editor/panels/field_widgets.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorRepairs : public EditorRun {
 protected:
  FrameSpan span(const Repair& repair) { return repairFrames(repair, document().evaluated()->rate, document().evaluated()->clipFrames).span; }
  /// A plant of the left foot around frame 20.
  void plant() {
    load();
    session().setFrame(20);
    selectRole(Role::leftFoot);
    addByKeys("plant");
    ASSERT_EQ(document().take().repairs->size(), 1U);
  }
  NumberField* field(const char* name) {
    for (auto* f : window->repairs().form().findChildren<NumberField*>(QString::fromLatin1(name)))
      if (f->isVisible()) return f;
    return nullptr;
  }
  void type(QWidget* field, const QString& text) {
    field->setFocus();
    QTest::keyClick(field, Qt::Key_A, Qt::ControlModifier);
    QTest::keyClicks(field, text);
    QTest::keyClick(field, Qt::Key_Return);
    settle();
  }
};

TEST_F(EditorRepairs, APlantIsAddedByKeysAndStandsWhereTheFootStood) {
  plant();
  const auto& action = std::get<PlantRepair>(onlyRepair().action);
  EXPECT_EQ(action.part, PlantPart::leftFoot);
  EXPECT_TRUE(action.anchored) << "its place is read off the motion once";
  EXPECT_TRUE(span(onlyRepair()).holds(20));
  EXPECT_EQ(session().repair(), onlyRepair().id);
  EXPECT_EQ(window->repairs().model().rowCount(), 1);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(document().take().repairs->empty()) << "adding it and reading its place are one step";
}

TEST_F(EditorRepairs, EveryKindCanBeAddedAndShowsItsParameters) {
  load();
  selectRole(Role::leftHand);
  for (std::size_t kind = 0; kind < repairKinds().size(); ++kind) {
    window->repairs().add(kind);
    settle();
    ASSERT_EQ(document().take().repairs->size(), kind + 1) << repairKinds()[kind];
    const Repair* made = findRepair(document().take(), session().repair());
    ASSERT_TRUE(made);
    EXPECT_EQ(made->action.index(), kind);
    EXPECT_TRUE(field("weight")) << repairKinds()[kind];
    EXPECT_GE(window->repairs().form().findChildren<QWidget*>().size(), 12) << repairKinds()[kind];
  }
  // Shown in the order they apply, whatever the order they were made in.
  const auto items = itemsOf(document().take());
  for (std::size_t i = 1; i < items.size(); ++i) EXPECT_LE(items[i - 1].stage, items[i].stage);
}

TEST_F(EditorRepairs, FieldsAreInFramesMillimetresAndDegrees) {
  plant();
  type(field("easeBefore"), QStringLiteral("6"));
  EXPECT_EQ(repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).before, 6);
  type(field("ground"), QStringLiteral("12.5"));
  EXPECT_NEAR(std::get<PlantRepair>(onlyRepair().action).ground, 0.0125, 1e-9);
  type(field("last"), QStringLiteral("41"));
  EXPECT_EQ(span(onlyRepair()).last, 40) << "frames are typed from 1";
  type(field("weight"), QStringLiteral("40"));
  EXPECT_NEAR(onlyRepair().weight, 0.4, 1e-9);
  type(field("weight"), QStringLiteral("900"));
  EXPECT_LE(onlyRepair().weight, 1) << "limits are kept";
}

TEST_F(EditorRepairs, DraggingAFieldsNameIsOneStepOfUndo) {
  plant();
  const Take before = document().take();
  NumberField* ground = field("ground");
  ScrubLabel* name = nullptr;
  for (auto* label : window->repairs().form().findChildren<ScrubLabel*>())
    if (label->buddy() == ground) name = label;
  ASSERT_TRUE(name);
  drag(name, QPointF(4, 5), QPointF(44, 5));
  EXPECT_NEAR(std::get<PlantRepair>(onlyRepair().action).ground - std::get<PlantRepair>(before.repairs->front()->action).ground, 0.020, 1e-9);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take(), before);
}

TEST_F(EditorRepairs, BarsOnTheLanesAreMovedAndStretched) {
  plant();
  LanesView& lanes = window->timeline().lanes();
  const FrameScale& scale = window->timeline().scale();
  const std::uint64_t id = onlyRepair().id;
  const Take before = document().take();
  const FrameSpan was = span(onlyRepair());
  const double frame = scale.perFrame();
  auto grip = lanes.gripOf(id, SpanPart::last);
  ASSERT_TRUE(grip);
  drag(&lanes, *grip, *grip + QPointF(5 * frame, 0));
  EXPECT_EQ(span(onlyRepair()), (FrameSpan{was.first, was.last + 5}));
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take(), before) << "one drag is one step";
  grip = lanes.gripOf(id, SpanPart::first);
  drag(&lanes, *grip, *grip - QPointF(4 * frame, 0));
  EXPECT_EQ(span(onlyRepair()), (FrameSpan{was.first - 4, was.last}));
  grip = lanes.gripOf(id, SpanPart::body);
  drag(&lanes, *grip, *grip + QPointF(3 * frame, 0));
  EXPECT_EQ(span(onlyRepair()), (FrameSpan{was.first - 1, was.last + 3}));
  type(field("easeAfter"), QStringLiteral("6"));
  const int ease = repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).after;
  ASSERT_EQ(ease, 6);
  grip = lanes.gripOf(id, SpanPart::easeAfter);
  drag(&lanes, *grip, *grip + QPointF(2 * frame, 0));
  EXPECT_EQ(repairFrames(onlyRepair(), document().evaluated()->rate, document().evaluated()->clipFrames).after, ease + 2);
  EXPECT_EQ(span(onlyRepair()), (FrameSpan{was.first - 1, was.last + 3})) << "an ease is stretched without the span";
}

TEST_F(EditorRepairs, KeysMoveSplitMirrorDuplicateMuteAndRemove) {
  plant();
  const FrameSpan was = span(onlyRepair());
  key(Qt::Key_Right, Qt::ControlModifier);
  key(Qt::Key_Right, Qt::ControlModifier);
  settle();
  EXPECT_EQ(span(onlyRepair()).first, was.first + 2);
  session().setFrame(was.first + 8);
  key(Qt::Key_S);
  settle();
  ASSERT_EQ(document().take().repairs->size(), 2U);
  EXPECT_EQ(span(*findRepair(document().take(), session().repair())).first, was.first + 8);
  key(Qt::Key_Delete);
  settle();
  EXPECT_EQ(span(onlyRepair()).last, was.first + 7);
  EXPECT_EQ(session().repair(), onlyRepair().id) << "the neighbour is next";
  key(Qt::Key_D, Qt::ShiftModifier);
  settle();
  ASSERT_EQ(document().take().repairs->size(), 2U);
  EXPECT_EQ(std::get<PlantRepair>(findRepair(document().take(), session().repair())->action).part, PlantPart::rightFoot);
  key(Qt::Key_M);
  settle();
  EXPECT_TRUE(findRepair(document().take(), session().repair())->muted);
  key(Qt::Key_O);
  settle();
  EXPECT_TRUE(findRepair(document().take(), session().repair())->solo);
  key(Qt::Key_D);
  settle();
  EXPECT_EQ(document().take().repairs->size(), 3U);
  for (int i = 0; i < 3; ++i) key(Qt::Key_Delete);
  settle();
  EXPECT_TRUE(document().take().repairs->empty());
}

TEST_F(EditorRepairs, TheEyeOfACardMutes) {
  plant();
  window->showRepairs();
  QListView& list = window->repairs().list();
  const QRect row = list.visualRect(window->repairs().model().index(0));
  QTest::mouseClick(list.viewport(), Qt::LeftButton, Qt::NoModifier, RepairDelegate::muteRect(row).center().toPoint());
  settle();
  EXPECT_TRUE(onlyRepair().muted);
  QTest::mouseClick(list.viewport(), Qt::LeftButton, Qt::NoModifier, RepairDelegate::soloRect(row).center().toPoint());
  settle();
  EXPECT_TRUE(onlyRepair().solo);
}

TEST_F(EditorRepairs, APlantIsDraggedOverTheGround) {
  plant();
  drawn();
  const PlantRepair before = std::get<PlantRepair>(onlyRepair().action);
  const auto at = window->stage().pictureOf({before.anchor.x, before.ground, before.anchor.z});
  ASSERT_TRUE(at);
  drag(&window->stage(), *at, *at + QPointF(40, 0));
  const PlantRepair after = std::get<PlantRepair>(onlyRepair().action);
  EXPECT_GT(length(after.anchor - before.anchor), 0.02);
  EXPECT_NEAR(after.anchor.y, before.anchor.y, 1e-12) << "it stays on its ground";
  EXPECT_EQ(after.ground, before.ground);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(std::get<PlantRepair>(onlyRepair().action), before);
}

TEST_F(EditorRepairs, ADraggedHandTakesItsLimbAlong) {
  load();
  session().setFrame(20);
  selectRole(Role::leftHand);
  drawn();
  const Bone hand{Cast::character, joint("hand_l")};
  const auto at = window->stage().pointOf(hand);
  ASSERT_TRUE(at);
  drag(&window->stage(), *at, *at + QPointF(0, -40));
  ASSERT_EQ(document().take().nudges->size(), 1U) << "one drag writes one nudge";
  EXPECT_EQ(turnedJoints(document().evaluated()->base, document().evaluated()->motion),
            (std::vector<int>{joint("upperarm_l"), joint("lowerarm_l"), joint("hand_l")}));
  drawn();
  const auto now = window->stage().pointOf(hand);
  ASSERT_TRUE(now);
  EXPECT_LT(QLineF(*now, *at + QPointF(0, -40)).length(), 4) << "the hand is under the mouse";
}

TEST_F(EditorRepairs, TurningABoneOfTheSelectedOffsetChangesTheOffset) {
  load();
  session().setFrame(20);
  selectRole(Role::leftUpperArm);
  addByKeys("offset");
  drawn();
  const auto grab = window->stage().middleOf(*session().selected());
  ASSERT_TRUE(grab);
  drag(&window->stage(), *grab, *grab + QPointF(40, -50));
  EXPECT_TRUE(document().take().nudges->empty());
  EXPECT_GT(length(std::get<OffsetRepair>(onlyRepair().action).bones[0].rotation), 0.05);
  // Of the whole clip: frames far away turn too.
  EXPECT_EQ(turnedJoints(document().evaluated()->base, document().evaluated()->motion), std::vector<int>{joint("upperarm_l")});
}

TEST_F(EditorRepairs, AnotherCharacterKeepsPlantsAndTellsWhatIsLost) {
  plant();
  const PlantRepair before = std::get<PlantRepair>(onlyRepair().action);
  OffsetRepair odd;
  odd.bones.push_back({"no such bone", {0.1, 0, 0}, {}});
  Repair lost;
  lost.action = odd;
  document().edit(QStringLiteral("test"), addRepair(document().take(), lost));
  settle();
  // What has lost its bones stays in the list and says why it does nothing; what has them says nothing.
  const RepairsModel& listed = window->repairs().model();
  ASSERT_EQ(listed.rowCount(), 2);
  for (int row = 0; row < 2; ++row) {
    const QString complaint = listed.data(listed.index(row), RepairsModel::complaintRole).toString();
    const bool boneless = findRepair(document().take(), listed.idAt(row))->action.index() == lost.action.index();
    EXPECT_EQ(complaint.contains(QStringLiteral("no such bone")), boneless) << complaint.toStdString();
    EXPECT_EQ(complaint.isEmpty(), !boneless) << complaint.toStdString();
  }
  const std::string tall = folder.file("tall.glb");
  writeFile(tall, makeStickCharacterGlb({.scale = 1, .legLength = 1.1}));
  QSignalSpy told(&document(), &Document::message);
  drop({tall});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  const auto& plant = std::get<PlantRepair>(onlyRepair().action);
  EXPECT_TRUE(plant.anchored);
  EXPECT_GT(length(plant.anchor - before.anchor), 1e-3) << "it stands where the new character's foot stands";
  bool named = false;
  for (const auto& call : told) named = named || QString::fromStdString(call[0].value<Issue>().text()).contains(QStringLiteral("no such bone"));
  EXPECT_TRUE(named);
}

TEST_F(EditorRepairs, ARepairIsCopiedToAnotherTake) {
  plant();
  const Take first = document().take();
  document().editReel(QStringLiteral("test"), addTake(document().reel(), setRepairs(first, {})));
  settle();
  document().editReel(QStringLiteral("test"), selectTake(document().reel(), 0));
  settle();
  copyItemToTake(document(), onlyRepair().id, 1);
  EXPECT_EQ(document().reel().takes[1]->repairs->size(), 1U);
  EXPECT_EQ(document().take(), first);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(document().reel().takes[1]->repairs->empty());
}

}  // namespace
}  // namespace understudy::editor
