// The whole run by real events: drop files, change the map, nudge by dragging, undo, redo, save, open again, hand over.
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

TEST_F(EditorRun, DroppedFilesBecomePerformerAndCharacterByContent) {
  drop({stick});
  EXPECT_TRUE(document().figure(Cast::character));
  EXPECT_FALSE(document().figure(Cast::performer));
  drop({walk});
  ASSERT_TRUE(document().figure(Cast::performer));
  ASSERT_TRUE(document().evaluated());
  EXPECT_TRUE(document().evaluated()->complete());
  EXPECT_EQ(session().frames(), 61);
  EXPECT_EQ(document().map().character.joint(Role::leftUpperArm), joint("upperarm_l"));
}

TEST_F(EditorRun, FromTwoFilesToTheExportedFile) {
  load();
  // Map: the right hand's row is emptied by keys, and filled again by clicking in the stage.
  MapModel& model = window->map().model();
  QTableView& table = window->map().table();
  selectRole(Role::rightHand);
  table.setCurrentIndex(model.index(model.rowOf(Role::rightHand), MapModel::characterColumn));
  table.setFocus();
  QTest::keyClick(&table, Qt::Key_F2);
  auto* box = table.viewport()->findChild<QComboBox*>();
  ASSERT_TRUE(box);
  QTest::keyClick(box, Qt::Key_A, Qt::ControlModifier);
  QTest::keyClicks(box->lineEdit(), QStringLiteral("lowerarm_r"));
  QTest::keyClick(box->lineEdit(), Qt::Key_Return);
  settle();
  EXPECT_EQ(document().map().character.joint(Role::rightHand), joint("lowerarm_r"));
  key(Qt::Key_P);
  ASSERT_TRUE(session().picking());
  drawn();
  const auto hand = window->stage().middleOf({Cast::character, joint("hand_r")});
  ASSERT_TRUE(hand);
  QTest::mouseClick(&window->stage(), Qt::LeftButton, Qt::NoModifier, hand->toPoint());
  settle();
  EXPECT_EQ(document().map().character.joint(Role::rightHand), joint("hand_r"));
  EXPECT_EQ(document().take().map->character[static_cast<std::size_t>(indexOf(Role::rightHand))].joints, std::vector<std::string>{"hand_r"});
  key(Qt::Key_Escape);
  ASSERT_FALSE(session().picking());

  // Nudge by dragging the bone, then undo and redo by keys: one drag is one step.
  const Take before = document().take();
  nudgeArm(20);
  ASSERT_EQ(document().take().nudges->size(), 1U);
  const Nudge nudge = *document().take().nudges->front();
  EXPECT_GT(length(nudge.joints[0].rotation), 0.05);
  EXPECT_EQ(frameOf(*document().evaluated(), nudge), 20);
  EXPECT_EQ(turnedJoints(document().evaluated()->base, document().evaluated()->motion), std::vector<int>{joint("upperarm_l")});
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take(), before);
  EXPECT_TRUE(turnedJoints(document().evaluated()->base, document().evaluated()->motion).empty());
  key(Qt::Key_Z, Qt::ControlModifier | Qt::ShiftModifier);
  settle();
  ASSERT_EQ(document().take().nudges->size(), 1U);

  // Save under a name, start anew, open again.
  const std::string reel = folder.file("evening.reel");
  answerFileWindow(reel);
  key(Qt::Key_S, Qt::ControlModifier);
  EXPECT_FALSE(document().modified());
  const Take saved = document().take();
  key(Qt::Key_N, Qt::ControlModifier);
  settle();
  EXPECT_FALSE(document().figure(Cast::character));
  drop({reel});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  EXPECT_EQ(*document().take().nudges, *saved.nudges);
  EXPECT_EQ(document().map().character.joint(Role::rightHand), joint("hand_r"));

  // Hand over, and read the file as another program would.
  const std::string out = folder.file("stick_walk.glb");
  key(Qt::Key_E, Qt::ControlModifier);
  HandOverDialog& dialog = window->handOverDialog();
  ASSERT_TRUE(dialog.isVisible());
  auto* path = dialog.findChild<QLineEdit*>(QStringLiteral("handOverPath"));
  path->selectAll();
  QTest::keyClicks(path, QString::fromStdString(out));
  QSignalSpy handed(&document(), &Document::handedOver);
  QTest::mouseClick(dialog.findChild<QPushButton*>(QStringLiteral("handOverGo")), Qt::LeftButton);
  settle();
  ASSERT_EQ(handed.size(), 1) << dialog.findChild<QLabel*>(QStringLiteral("handOverReport"))->text().toStdString();
  const auto report = handed[0][0].value<HandOverReport>();
  ASSERT_TRUE(report.measured);
  EXPECT_LT(report.fidelity.worstMillimetres, 0.1);
  const auto read = readFigure(out);
  ASSERT_TRUE(read) << read.error().text();
  const Clip* clip = nullptr;
  for (const Clip& c : read->clips)
    if (c.name == "Understudy") clip = &c;
  ASSERT_TRUE(clip);
  EXPECT_EQ(read->clips.size(), 2U) << "the character's own animation must stay";
  const auto motion = sample(*clip, read->skeleton);
  ASSERT_TRUE(motion);
  ASSERT_EQ(motion->frames, 61);
  const int arm = findJoint(read->skeleton, "upperarm_l").value();
  const auto angle = [&](int frame, const TiledMotion& other) {
    return angleBetween(Quatd(motion->rotationsAt(frame)[static_cast<std::size_t>(arm)]),
                        Quatd(other.rotationsAt(frame)[static_cast<std::size_t>(joint("upperarm_l"))]));
  };
  EXPECT_LT(angle(20, document().evaluated()->motion), 2e-3);
  EXPECT_NEAR(angle(20, document().evaluated()->base), length(nudge.joints[0].rotation), 3e-3);
  EXPECT_LT(angle(60, document().evaluated()->base), 2e-3) << "outside its ease a nudge changes nothing";
}

TEST_F(EditorRun, AnEmptyRowKeepsTheSelectionAndIsFilledByPicking) {
  load();
  selectRole(Role::leftUpperLeg);
  assignRole(document(), Cast::character, Role::leftHand, {});
  settle();
  EXPECT_EQ(stateOf(document().map(), Role::leftHand), RowState::missing);
  EXPECT_TRUE(stepsOf(document(), false)[1].next) << "filling the map comes next";
  selectRole(Role::leftHand);
  EXPECT_EQ(session().role(), Role::leftHand);
  EXPECT_EQ(session().selected(), (Bone{Cast::performer, document().map().performer.joint(Role::leftHand)}));
  key(Qt::Key_P);
  drawn();
  const auto hand = window->stage().pointOf({Cast::character, joint("hand_l")});
  ASSERT_TRUE(hand);
  QTest::mouseClick(&window->stage(), Qt::LeftButton, Qt::NoModifier, hand->toPoint());
  settle();
  EXPECT_EQ(document().map().character.joint(Role::leftHand), joint("hand_l"));
  EXPECT_FALSE(stepsOf(document(), false)[1].next);
}

TEST_F(EditorRun, AClickOnABoneSelectsItsRow) {
  load();
  drawn();
  const auto foot = window->stage().middleOf({Cast::character, joint("calf_r")});
  ASSERT_TRUE(foot);
  QTest::mouseClick(&window->stage(), Qt::LeftButton, Qt::NoModifier, foot->toPoint());
  EXPECT_EQ(session().selected(), (Bone{Cast::character, joint("calf_r")}));
  EXPECT_EQ(session().role(), Role::rightLowerLeg);
  EXPECT_EQ(window->map().table().currentIndex().row(), window->map().model().rowOf(Role::rightLowerLeg));
}

TEST_F(EditorRun, TheMatchOfARoleIsChangedAndTakenBack) {
  load();
  window->showStep(Step::match);
  const Quatd before(document().evaluated()->motion.rotationsAt(5)[static_cast<std::size_t>(joint("upperarm_l"))]);
  session().selectRole(Role::leftUpperArm, {});
  QDoubleSpinBox* turn = nullptr;
  for (auto* spin : window->findChildren<QDoubleSpinBox*>())
    if (spin->isVisible() && spin->prefix() == QStringLiteral("Z ")) turn = spin;
  ASSERT_TRUE(turn);
  turn->setFocus();
  turn->selectAll();
  QTest::keyClicks(turn, QStringLiteral("25"));
  QTest::keyClick(turn, Qt::Key_Return);
  settle();
  ASSERT_EQ(document().take().retarget->alignmentOffsets.size(), 1U);
  const Quatd turned(document().evaluated()->motion.rotationsAt(5)[static_cast<std::size_t>(joint("upperarm_l"))]);
  EXPECT_NEAR(angleBetween(before, turned) * 57.29577951, 25, 0.05);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(document().take().retarget->alignmentOffsets.empty());
}

TEST_F(EditorRun, BadFilesLeaveTheTakeAsItIs) {
  load();
  nudgeArm(10);
  const Take before = document().take();
  const std::string garbage = folder.file("garbage.glb"), cut = folder.file("cut.bvh"), broken = folder.file("broken.reel");
  writeFile(garbage, "glTF this is no model");
  writeFile(cut, makeWalkBvh().substr(0, 400));
  writeFile(broken, "{\"reel\": [");
  for (const std::string& bad : {garbage, cut, broken, folder.file("missing.bvh")}) {
    QSignalSpy told(&document(), &Document::message);
    drop({bad});
    // A reel would take the place of unsaved changes: that is asked first, and even then only a readable one does.
    if (auto* asked = qobject_cast<QMessageBox*>(QApplication::activeModalWidget())) {
      for (QAbstractButton* button : asked->buttons())
        if (asked->buttonRole(button) == QMessageBox::DestructiveRole) QTest::mouseClick(button, Qt::LeftButton);
      settle();
    }
    ASSERT_GE(told.size(), 1) << bad;
    EXPECT_EQ(told[0][0].value<Issue>().severity, Severity::error) << bad;
    EXPECT_FALSE(window->messages().text().isEmpty()) << bad;
    EXPECT_EQ(document().take(), before) << bad;
    EXPECT_TRUE(document().evaluated() && document().evaluated()->complete()) << bad;
  }
  EXPECT_TRUE(window->isVisible());
}

TEST_F(EditorRun, HandingOverOntoAFolderThatIsNotThereSaysSo) {
  load();
  key(Qt::Key_E, Qt::ControlModifier);
  HandOverDialog& dialog = window->handOverDialog();
  auto* path = dialog.findChild<QLineEdit*>(QStringLiteral("handOverPath"));
  path->selectAll();
  QTest::keyClicks(path, QString::fromStdString(folder.file("nowhere/out.glb")));
  QTest::mouseClick(dialog.findChild<QPushButton*>(QStringLiteral("handOverGo")), Qt::LeftButton);
  settle();
  EXPECT_FALSE(dialog.findChild<QLabel*>(QStringLiteral("handOverReport"))->text().isEmpty());
  EXPECT_FALSE(window->messages().text().isEmpty());
  EXPECT_FALSE(QFile::exists(QString::fromStdString(folder.file("nowhere/out.glb"))));
  path->selectAll();
  QTest::keyClicks(path, QString::fromStdString(stick));
  EXPECT_FALSE(dialog.findChild<QPushButton*>(QStringLiteral("handOverGo"))->isEnabled()) << "own files are never written over";
}

TEST_F(EditorRun, KeysStepAndPlayAndTheFrameFieldShowsTheNumber) {
  load();
  key(Qt::Key_Right);
  key(Qt::Key_Right);
  EXPECT_EQ(session().frame(), 2);
  EXPECT_EQ(window->timeline().findChild<QSpinBox*>(QStringLiteral("frame"))->value(), 3) << "frames are shown from 1";
  key(Qt::Key_End);
  EXPECT_EQ(session().frame(), 60);
  key(Qt::Key_Home);
  EXPECT_EQ(session().frame(), 0);
  QSignalSpy moved(&session(), &Session::frameChanged);
  key(Qt::Key_Space);
  EXPECT_TRUE(session().playing());
  ASSERT_TRUE(moved.wait(5000));
  key(Qt::Key_Space);
  EXPECT_FALSE(session().playing());
}

TEST_F(EditorRun, AButtonWithTheFocusKeepsTheSpaceKey) {
  load();
  auto* loop = window->timeline().findChild<QToolButton*>(QStringLiteral("loop"));
  ASSERT_TRUE(loop);
  ASSERT_TRUE(session().looping());
  loop->setFocus(Qt::TabFocusReason);
  QTest::keyClick(loop, Qt::Key_Space);
  EXPECT_FALSE(session().looping());
  EXPECT_FALSE(session().playing());
}

TEST_F(EditorRun, ScrubbingAndMovingAPinOnTheTimeline) {
  load();
  nudgeArm(20);
  LanesView& lanes = window->timeline().lanes();
  const FrameScale& scale = window->timeline().scale();
  drag(&lanes, QPointF(scale.x(5), 15), QPointF(scale.x(40), 15));
  EXPECT_EQ(session().frame(), 40);
  const std::uint64_t id = document().take().nudges->front()->id;
  drag(&lanes, lanes.pinOf(id), QPointF(scale.x(33), lanes.pinOf(id).y()));
  EXPECT_EQ(frameOf(*document().evaluated(), *document().take().nudges->front()), 33);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(frameOf(*document().evaluated(), *document().take().nudges->front()), 20) << "one drag is one step";
}

TEST_F(EditorRun, ARunThatEndedBadlyIsOfferedAndRecovered) {
  load();
  nudgeArm(12);
  const Reel lost = document().reel();
  ASSERT_TRUE(autosave(window->files().autosaveFolder().toStdString(), "4194305-0badf0", lost, ""));
  document().clear();
  settle();
  window->files().offerRecovery();
  auto* recover = window->messages().findChild<QPushButton*>(QStringLiteral("messageAction"));
  ASSERT_TRUE(recover->isVisible());
  QTest::mouseClick(recover, Qt::LeftButton);
  settle();
  EXPECT_EQ(*document().take().nudges, *lost.currentTake()->nudges);
  EXPECT_TRUE(document().modified());
  EXPECT_TRUE(document().evaluated() && document().evaluated()->complete());
}

TEST_F(EditorRun, UnsavedChangesAreAutosaved) {
  load();
  window->files().autosaveNow();
  EXPECT_EQ(findRecoveries(window->files().autosaveFolder().toStdString()).size(), 1U);
}

}  // namespace
}  // namespace understudy::editor
