// Changes that take long: what lies near the frame comes first, work that is not wanted is stopped, and stopping changes nothing.
#include <QSplitter>
#include <QScrollArea>
#include <QScrollBar>
#include <condition_variable>
#include <mutex>

#include "app/editor/document/near_take.h"
#include "app/editor/stage/stage_handles.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

Repair whole(RepairAction action) {
  Repair repair;
  repair.action = std::move(action);
  return repair;
}

TEST(EditorNear, LongRepairsAreCutAroundTheFrameFromTheChangedStageOn) {
  const FrameRate rate{30, 1};
  Take before;
  before = addRepair(before, whole(SmoothRepair{}));
  before = addRepair(before, whole(ClearanceRepair{}));
  const Take after = addRepair(before, whole(GripRepair{}));
  const auto near = nearTake(after, before, rate, 2000, 1000);
  ASSERT_TRUE(near);
  ASSERT_EQ(near->repairs->size(), 3U);
  for (const auto& repair : *near->repairs) {
    const RepairFrames frames = repairFrames(*repair, rate, 2000);
    if (std::holds_alternative<SmoothRepair>(repair->action)) {
      EXPECT_EQ(frames.span, (FrameSpan{0, 1999})) << "it comes before what changed";
      continue;
    }
    EXPECT_TRUE(frames.span.holds(1000));
    EXPECT_LT(frames.span.count(), 50);
    EXPECT_EQ(frames.acting(), frames.span) << "it begins and ends at once";
  }
}

TEST(EditorNear, AtAClipsEndTheEaseStays) {
  const FrameRate rate{30, 1};
  const Take after = addRepair(Take{}, whole(OffsetRepair{}));
  const auto near = nearTake(after, Take{}, rate, 2000, 0);
  ASSERT_TRUE(near);
  const Repair& part = *near->repairs->front();
  EXPECT_EQ(repairFrames(part, rate, 2000).span.first, 0);
  EXPECT_EQ(part.easeBefore, after.repairs->front()->easeBefore);
  EXPECT_EQ(part.easeAfter, 0);
}

TEST(EditorNear, WhatIsShortOrNeedsItsWholeSpanIsNotCut) {
  const FrameRate rate{30, 1};
  Repair brief = whole(ClearanceRepair{});
  brief.span = TimeRange{10, 11};
  EXPECT_FALSE(nearTake(addRepair(Take{}, brief), Take{}, rate, 2000, 310));
  EXPECT_FALSE(nearTake(addRepair(Take{}, whole(ClearanceRepair{})), Take{}, rate, 60, 30)) << "the clip itself is short";
  EXPECT_FALSE(nearTake(addRepair(Take{}, whole(PlantRepair{})), Take{}, rate, 2000, 310));
  EXPECT_FALSE(nearTake(addRepair(Take{}, whole(BridgeRepair{})), Take{}, rate, 2000, 310));
  const Take same = addRepair(Take{}, whole(ClearanceRepair{}));
  EXPECT_FALSE(nearTake(same, same, rate, 2000, 310));
  Take other = same;
  other.clip = 1;
  EXPECT_FALSE(nearTake(other, Take{}, rate, 2000, 310)) << "more than repairs changed";
}

TEST(EditorNear, OfManyShortOnesThoseNearByComeFirst) {
  const FrameRate rate{30, 1};
  Take after;
  for (int i = 0; i < 60; ++i) {
    Repair plant = whole(PlantRepair{});
    plant.span = TimeRange{i * 1.0, i * 1.0 + 0.6};
    after = addRepair(after, plant);
  }
  const auto near = nearTake(after, Take{}, rate, 2000, 310);
  ASSERT_TRUE(near);
  EXPECT_GE(near->repairs->size(), 1U);
  EXPECT_LE(near->repairs->size(), 4U);
  for (const auto& repair : *near->repairs) EXPECT_NEAR(repair->span->first, 10, 2);
  // Of those that were there before, the far ones stay as they were.
  Take moved = after;
  for (const auto& repair : *after.repairs) {
    Repair next = *repair;
    std::get<PlantRepair>(next.action).ground = 0.01;
    moved = changeRepair(moved, next);
  }
  const auto some = nearTake(moved, after, rate, 2000, 310);
  ASSERT_TRUE(some);
  ASSERT_EQ(some->repairs->size(), 60U);
  const auto ground = [&](std::size_t i) { return std::get<PlantRepair>((*some->repairs)[i]->action).ground; };
  EXPECT_EQ(ground(10), 0.01);
  EXPECT_EQ(ground(50), 0);
}

class EditorLong : public EditorRun {
 protected:
  void SetUp() override {
    writeFile(folder.file("long.bvh"), makeWalkBvh({.frames = 900}));
    EditorRun::SetUp();
  }
  void loadLong() {
    drop({folder.file("long.bvh"), stick});
    ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  }
  const GripRepair& grip(const Take& take) { return std::get<GripRepair>(take.repairs->front()->action); }
};

TEST_F(EditorLong, WhileAGripIsDraggedTheHandFollowsAndTheRestComesAfter) {
  loadLong();
  session().setFrame(450);
  addByKeys("grip");
  ASSERT_TRUE(grip(document().take()).anchored);
  drawn();
  std::optional<QPointF> handle;
  for (const StageHandle& h : handlesOf(document(), session()))
    if (h.kind == HandleKind::gripSupport) handle = window->stage().pictureOf(h.at);
  ASSERT_TRUE(handle);
  const auto before = document().evaluated();
  const GripRepair was = grip(document().take());
  StageWidget& stage = window->stage();
  QTest::mousePress(&stage, Qt::LeftButton, Qt::NoModifier, handle->toPoint());
  for (int i = 1; i <= 4; ++i) {
    const QPointF at = *handle + QPointF(3.0 * i, -4.0 * i);
    QMouseEvent move(QEvent::MouseMove, at, stage.mapToGlobal(at), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
    QApplication::sendEvent(&stage, &move);
  }
  settle();
  // Still held: the pose of this frame is the new one, the whole take is not worked out yet.
  EXPECT_TRUE(document().provisional());
  EXPECT_EQ(document().evaluated(), before);
  const auto near = document().shown();
  const auto hand = static_cast<std::size_t>(joint(was.leadLeft ? "upperarm_r" : "upperarm_l"));
  const auto turn = [&](const TiledMotion& a, const TiledMotion& b, int frame) { return angleBetween(Quatd(a.rotationsAt(frame)[hand]), Quatd(b.rotationsAt(frame)[hand])); };
  EXPECT_GT(turn(near->motion, before->motion, 450), 1e-3);
  QTest::mouseRelease(&stage, Qt::LeftButton, Qt::NoModifier, (*handle + QPointF(12, -16)).toPoint());
  settle();
  EXPECT_FALSE(document().provisional());
  EXPECT_EQ(document().evaluatedTake(), document().take());
  EXPECT_NE(grip(document().take()).supportGrip.position, was.supportGrip.position);
  const auto after = document().evaluated();
  EXPECT_LT(turn(near->motion, after->motion, 450), 1e-4) << "what was shown is what it became";
  EXPECT_GT(turn(after->motion, before->motion, 40), 1e-3) << "and it holds far from there as well";
  // One drag is one step.
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(grip(document().take()), was);
}

TEST_F(EditorLong, StoppingTakesTheEditBackAndShowsTheTakeAsItWas) {
  load();
  nudgeArm(20);
  const Take before = document().take();
  const auto seen = document().evaluated();
  // Work that ends only when it is asked to keeps the edit from being worked out.
  document().evaluations().post(QStringLiteral("something long"), [](const RunControl& control) -> JobLane::Answer {
    std::mutex mutex;
    std::unique_lock lock(mutex);
    std::condition_variable_any wake;
    wake.wait(lock, control.stop, [] { return false; });
    return {};
  });
  key(Qt::Key_M);
  ASSERT_NE(document().take(), before);
  QPushButton* stop = nullptr;
  ASSERT_TRUE(QTest::qWaitFor([&] {
    for (auto* bar : window->stage().findChildren<QFrame*>(QStringLiteral("busyBar")))
      if (bar->isVisible()) stop = bar->findChild<QPushButton*>();
    return stop != nullptr;
  }, 20000));
  QTest::mouseClick(stop, Qt::LeftButton);
  settle();
  EXPECT_EQ(document().take(), before);
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete()) << "the stage keeps what it shows";
  EXPECT_EQ(document().evaluatedTake(), before);
  EXPECT_FALSE(document().evaluating());
  EXPECT_TRUE(document().canRedo()) << "it can be done again";
}

TEST_F(EditorLong, AShortListLeavesTheFormItsRoom) {
  load();
  selectRole(Role::leftFoot);
  addByKeys("plant");
  auto* scroll = window->repairs().findChild<QScrollArea*>();
  ASSERT_TRUE(scroll && scroll->isVisible());
  QCoreApplication::processEvents();
  EXPECT_LT(window->repairs().list().height(), 130) << "one repair needs no more";
  EXPECT_GE(scroll->height() + 4, std::min(scroll->widget()->sizeHint().height(), window->repairs().height() * 3 / 5));
}

TEST_F(EditorLong, AMessageThatShowsUpPushesNothingAside) {
  load();
  const QRect before(window->stage().mapTo(window.get(), QPoint()), window->stage().size());
  drop({folder.file("missing.bvh")});
  auto* bar = window->findChild<MessageBar*>();
  ASSERT_TRUE(bar && bar->isVisible());
  QCoreApplication::processEvents();
  EXPECT_EQ(QRect(window->stage().mapTo(window.get(), QPoint()), window->stage().size()), before);
  EXPECT_TRUE(window->stage().rect().contains(bar->geometry()));
  EXPECT_GT(bar->geometry().top(), window->stage().height() / 2) << "below the figures";
  // In a smaller window it goes along, and all its words stay readable.
  window->resize(1000, 640);
  QCoreApplication::processEvents();
  EXPECT_TRUE(window->stage().rect().contains(bar->geometry()));
  const auto* text = bar->findChild<QLabel*>(QStringLiteral("messageText"));
  EXPECT_GE(text->height(), text->heightForWidth(text->width()));
  key(Qt::Key_Escape);
  EXPECT_FALSE(bar->isVisible());
}

}  // namespace
}  // namespace understudy::editor
