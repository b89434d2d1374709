// Findings by real events: the list, the strip, previews, and the demo from two files to the exported clip.
#include <algorithm>


#include "core/inspect/inspect.h"
#include "core/job/offers.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorFindings : public EditorRun {
 protected:
  void SetUp() override {
    EditorRun::SetUp();
    writeFile(sweep, readFile(std::string(UNDERSTUDY_SOURCE) + "/samples/sweep.bvh"));
    writeFile(keeper, readFile(std::string(UNDERSTUDY_SOURCE) + "/samples/keeper.glb"));
  }
  void loadDemo() {
    drop({sweep, keeper});
    settle();
    ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
    ASSERT_TRUE(document().findings().current());
    ASSERT_GT(document().findings().mendable(), 0) << "the demo is full of flaws";
  }
  FindingsKeeper& keeperOfFindings() { return document().findings(); }
  std::string sweep = folder.file("sweep.bvh"), keeper = folder.file("keeper.glb");
};

TEST_F(EditorFindings, TheDemoIsFinishedFromTwoFilesToTheExportedFile) {
  // Every press, drag, wheel step and typed field is counted.
  int inputs = 0;
  drop({sweep, keeper}), ++inputs;
  settle();
  const int found = keeperOfFindings().mendable();
  ASSERT_GT(found, 0);
  EXPECT_TRUE(stepsOf(document(), false)[3].next) << "repairing comes next";
  QTest::mouseClick(&window->findings().finishButton(), Qt::LeftButton), ++inputs;
  settle();
  EXPECT_EQ(keeperOfFindings().mendable(), 0) << "nothing that could be mended is left";
  for (const Finding& finding : keeperOfFindings().findings()) EXPECT_FALSE(finding.cause.empty()) << finding.sentence << " is left without a reason";
  EXPECT_TRUE(stepsOf(document(), false)[4].next) << "handing over comes next";
  key(Qt::Key_E, Qt::ControlModifier), ++inputs;
  QSignalSpy handed(&document(), &Document::handedOver);
  QTest::mouseClick(window->handOverDialog().findChild<QPushButton*>(QStringLiteral("handOverGo")), Qt::LeftButton), ++inputs;
  settle();
  ASSERT_EQ(handed.size(), 1);
  EXPECT_LE(inputs, 12);
  const std::string out = handed[0][0].value<HandOverReport>().path.toStdString();

  // The exported file alone: its motion is looked at as if it had just been made.
  const auto read = readFigure(out);
  ASSERT_TRUE(read) << read.error().text();
  const Clip* clip = nullptr;
  for (const Clip& c : read->clips)
    if (c.name == "Understudy") clip = &c;
  ASSERT_TRUE(clip);
  // What remains is told beside the curves: nobody has to find out once more that it cannot be mended.
  ASSERT_TRUE(clip->history);
  for (const Finding& finding : keeperOfFindings().findings()) {
    if (finding.hint || finding.cause.empty()) continue;
    EXPECT_NE(clip->history->find(finding.cause.substr(0, finding.cause.find('"'))), std::string::npos) << finding.cause;
  }
  const auto motion = sample(*clip, read->skeleton);
  ASSERT_TRUE(motion);
  Evaluated exported = *document().evaluated();
  ASSERT_EQ(motion->frames, exported.frames);
  exported.motion = exported.untrimmed = TiledMotion(std::make_shared<const Motion>(*motion));
  const auto performance = analysePerformance(*document().figure(Cast::performer), exported.map->performer, exported.performerNative);
  ASSERT_TRUE(performance);
  // Each repair's promise, and what no repair is for, measured on the file's motion.
  const auto left = inspectTake(document().take(), exported, **performance);
  ASSERT_TRUE(left);
  for (const Finding& finding : left->findings) {
    const bool explained = std::any_of(keeperOfFindings().findings().begin(), keeperOfFindings().findings().end(),
                                       [&](const Finding& f) { return f.kind == finding.kind && !common(f.span, finding.span).empty(); });
    EXPECT_TRUE(explained) << "left in the file: " << finding.sentence << ", frames " << finding.span.first + 1 << " to " << finding.span.last + 1;
  }
  // One step takes all of it back.
  window->handOverDialog().close();
  QApplication::setActiveWindow(window.get());
  key(Qt::Key_Z, Qt::ControlModifier);  // the hand-over's settings
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_TRUE(document().take().repairs->empty());
}

TEST_F(EditorFindings, KeysGoFromOneToTheNextAndShowItsFrameAndBone) {
  loadDemo();
  key(Qt::Key_E);
  const Finding* first = keeperOfFindings().chosen();
  ASSERT_TRUE(first);
  EXPECT_EQ(session().frame(), first->worst);
  ASSERT_TRUE(session().selected());
  EXPECT_EQ(window->findings().list().currentIndex().row(), window->findings().model().rowOf(first->key));
  const std::string one = first->key;
  key(Qt::Key_E);
  ASSERT_TRUE(keeperOfFindings().chosen());
  EXPECT_NE(keeperOfFindings().chosen()->key, one);
  key(Qt::Key_E, Qt::ShiftModifier);
  EXPECT_EQ(keeperOfFindings().chosen()->key, one);
}

TEST_F(EditorFindings, HoveringAnOfferPlaysItAndLeavesTheTakeAlone) {
  loadDemo();
  key(Qt::Key_4, Qt::ControlModifier);
  FindingsModel& model = window->findings().model();
  QListView& list = window->findings().list();
  int row = 0;
  while (row < model.rowCount() && model.data(model.index(row), FindingsModel::proposalRole).toString().isEmpty()) ++row;
  ASSERT_LT(row, model.rowCount());
  list.scrollTo(model.index(row));
  const Take before = document().take();
  const int frame = session().frame();
  const QRectF offer = FindingDelegate::offerRect(list.visualRect(model.index(row)), model.data(model.index(row), FindingsModel::proposalRole).toString());
  QSignalSpy shown(&document(), &Document::shownChanged);
  QTest::mouseMove(list.viewport(), QPoint(8, 8));
  QTest::mouseMove(list.viewport(), offer.center().toPoint());
  settle();
  EXPECT_GE(shown.size(), 1);
  EXPECT_TRUE(document().previewing());
  EXPECT_NE(document().shown(), document().evaluated());
  EXPECT_TRUE(session().playing());
  EXPECT_EQ(document().take(), before);
  QTest::mouseMove(list.viewport(), QPoint(8, list.visualRect(model.index(row)).bottom() - 2));
  QTest::mouseMove(&window->stage(), QPoint(40, 40));
  QEvent leave(QEvent::Leave);
  QApplication::sendEvent(list.viewport(), &leave);
  settle();
  EXPECT_FALSE(document().previewing());
  EXPECT_FALSE(session().playing());
  EXPECT_EQ(session().frame(), frame);
  // A click on the offer takes it, as one step.
  QTest::mouseClick(list.viewport(), Qt::LeftButton, Qt::NoModifier, offer.center().toPoint());
  settle();
  EXPECT_GE(document().take().repairs->size(), 1U);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(*document().take().repairs, *before.repairs);
}

TEST_F(EditorFindings, StrengthAcceptAndWaveOffByKeys) {
  loadDemo();
  key(Qt::Key_E);
  while (keeperOfFindings().chosen() && keeperOfFindings().chosen()->proposal.empty()) key(Qt::Key_E);
  ASSERT_TRUE(keeperOfFindings().chosen());
  auto* strength = window->findings().findChild<QSlider*>(QStringLiteral("strength"));
  strength->setFocus();
  for (int i = 0; i < 5; ++i) QTest::keyClick(strength, Qt::Key_PageDown);
  EXPECT_DOUBLE_EQ(keeperOfFindings().strength(), 0.5);
  key(Qt::Key_X);
  settle();
  ASSERT_GE(document().take().repairs->size(), 1U);
  EXPECT_DOUBLE_EQ(document().take().repairs->front()->weight, 0.5);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  key(Qt::Key_E);
  ASSERT_TRUE(keeperOfFindings().chosen());
  const std::string waved = keeperOfFindings().chosen()->key;
  const int open = keeperOfFindings().open();
  key(Qt::Key_W);
  settle();
  EXPECT_EQ(document().take().waved, std::vector<std::string>{waved});
  EXPECT_EQ(keeperOfFindings().open(), open - 1);
  EXPECT_EQ(window->findings().model().rowOf(waved), -1) << "it is not told again";
}

TEST_F(EditorFindings, AThingDroppedBesideTheCharacterIsHeldInItsHands) {
  loadDemo();
  const std::string broom = folder.file("broom.glb");
  writeFile(broom, readFile(std::string(UNDERSTUDY_SOURCE) + "/samples/broom.glb"));
  drop({broom});
  ASSERT_EQ(document().take().props->size(), 1U) << window->messages().text().toStdString();
  EXPECT_TRUE(document().take().props->front().gripped) << "where it is held is found on its mesh";
  EXPECT_TRUE(document().figure(Cast::character)) << "the character stays";
  EXPECT_TRUE(document().props().figureOf(document().take().props->front()));
  key(Qt::Key_F, Qt::ControlModifier);
  settle();
  const auto grip = std::find_if(document().take().repairs->begin(), document().take().repairs->end(), [](const auto& r) { return std::holds_alternative<GripRepair>(r->action); });
  ASSERT_NE(grip, document().take().repairs->end());
  EXPECT_EQ(std::get<GripRepair>((*grip)->action).prop, document().take().props->front().id);
}

TEST_F(EditorFindings, AClickOnTheStripChoosesWhatIsThere) {
  loadDemo();
  LanesView& lanes = window->timeline().lanes();
  const Finding& finding = keeperOfFindings().findings().back();
  const QPointF at(window->timeline().scale().x(finding.worst), TrackView::rulerHeight + 14);
  const std::string there = lanes.findingAt(at);
  ASSERT_FALSE(there.empty());
  QTest::mouseClick(&lanes, Qt::LeftButton, Qt::NoModifier, at.toPoint());
  ASSERT_TRUE(keeperOfFindings().chosen());
  EXPECT_EQ(keeperOfFindings().chosen()->key, there);
}

TEST_F(EditorFindings, WhatDoesMoreHarmThanGoodIsOfferedNoMore) {
  loadDemo();
  FindingsKeeper& found = keeperOfFindings();
  Findings offered = found.findings();
  found.weigh();
  ASSERT_TRUE(found.weighing().busy());
  QSignalSpy idle(&found.weighing(), &JobLane::idle);
  ASSERT_TRUE(idle.wait(120000));
  const auto wanted = weighed(offered, document().evaluatedTake(), document().sources());
  ASSERT_TRUE(wanted) << wanted.error().text();
  const Findings& now = found.findings();
  ASSERT_EQ(now.size(), wanted->size());
  for (std::size_t i = 0; i < now.size(); ++i) {
    EXPECT_EQ(now[i].key, (*wanted)[i].key);
    EXPECT_EQ(now[i].proposal.size(), (*wanted)[i].proposal.size()) << now[i].sentence;
    EXPECT_EQ(now[i].cause, (*wanted)[i].cause);
    EXPECT_EQ(now[i].harm, (*wanted)[i].harm);
  }
  // An answer about an older take is dropped.
  found.weigh();
  const auto mend = std::find_if(now.begin(), now.end(), [](const Finding& f) { return !f.waved && !f.proposal.empty(); });
  ASSERT_NE(mend, now.end());
  found.accept(std::string(mend->key));
  settle();
  const int left = found.mendable();
  while (found.weighing().busy()) QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
  EXPECT_EQ(found.mendable(), left);
}

}  // namespace
}  // namespace understudy::editor
