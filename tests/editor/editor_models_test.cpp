// What the widgets show, without widgets.
#include <gtest/gtest.h>

#include <QSignalSpy>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "app/editor/document/describe.h"
#include "app/editor/document/job_lane.h"
#include "app/editor/document/mapping.h"
#include "app/editor/document/session.h"
#include "app/editor/look/appearance.h"
#include "app/editor/panels/map_model.h"
#include "app/editor/panels/step_strip.h"
#include "app/editor/stage/turn_handle.h"
#include "app/editor/document/angles.h"
#include "app/editor/timeline/frame_scale.h"

namespace understudy::editor {
namespace {

constexpr double degrees = 180 / std::numbers::pi;

TEST(EditorLook, TextAndMarksStandOutInBothThemes) {
  for (const auto kind : {Appearance::Kind::dark, Appearance::Kind::light}) {
    const Colours c = Appearance::coloursOf(kind);
    for (const QColor& ground : {c.window, c.panel, c.card, c.cardHover, c.sunken, c.picked}) {
      EXPECT_GE(contrast(c.text, ground), 4.5) << ground.name().toStdString();
      EXPECT_GE(contrast(c.dimText, ground), 4.5) << ground.name().toStdString();
      EXPECT_GE(contrast(c.performer, ground), 4.5) << ground.name().toStdString();
      EXPECT_GE(contrast(c.character, ground), 4.5) << ground.name().toStdString();
    }
    for (const QColor& mark : {c.flaw, c.warning, c.key, c.selection}) EXPECT_GE(contrast(mark, c.panel), 3.0) << mark.name().toStdString();
    for (const QColor& curve : {c.axisX, c.axisY, c.axisZ}) EXPECT_GE(contrast(curve, c.sunken), 4.5) << curve.name().toStdString();
    EXPECT_GE(contrast(c.onLamp, c.lamp), 4.5);
  }
  // WCAG 2.1: black on white is 21, a colour on itself 1.
  EXPECT_NEAR(contrast(Qt::black, Qt::white), 21, 1e-9);
}

TEST(EditorWords, RolesReadAsPlainWords) {
  EXPECT_EQ(roleText(Role::leftUpperArm), QStringLiteral("left upper arm"));
  EXPECT_EQ(roleText(Role::hips), QStringLiteral("hips"));
}

TEST(EditorMap, StatesTellMissingFromUnusedAndTakeTheWorseSide) {
  BoneMap map;
  EXPECT_EQ(stateOf(map, Role::hips), RowState::missing);
  EXPECT_EQ(stateOf(map, Role::jaw), RowState::unused);
  map.performer.at(Role::hips) = {{0}, 0.9, ""};
  map.character.at(Role::hips) = {{0}, doubtfulBelow - 0.1, ""};
  EXPECT_EQ(stateOf(map, Role::hips), RowState::doubtful);
  map.character.at(Role::hips).confidence = 1;
  EXPECT_EQ(stateOf(map, Role::hips), RowState::sure);
  EXPECT_EQ(summaryOf(map).sure, 1);
  EXPECT_EQ(summaryOf(map).missing, 14);
}

TEST(EditorMap, AnEmptyDocumentShowsRolesWithoutCells) {
  Document document;
  MapModel model(document);
  EXPECT_EQ(model.columnCount(), 3);
  EXPECT_GT(model.rowOf(Role::leftHand), 0);
  EXPECT_LT(model.rowOf(Role::leftIndexDistal), 0);
  model.setAll(true);
  EXPECT_GT(model.rowOf(Role::leftIndexDistal), 0);
  EXPECT_FALSE(model.flags(model.index(0, 1)) & Qt::ItemIsEditable);
  const auto steps = stepsOf(document, false);
  EXPECT_TRUE(steps[0].next);
  EXPECT_FALSE(steps[0].done);
}

TEST(EditorCurves, AnglesAreUnrolledPastAHalfTurn) {
  Skeleton skeleton;
  skeleton.add("post", -1, Trsd{}, 0);
  Motion motion = restMotion(skeleton, 40, FrameRate{30, 1});
  for (int f = 0; f < 40; ++f) motion.rotationsAt(f)[0] = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, f * 10 / degrees));
  const auto curves = rotationCurves(skeleton, TiledMotion(std::make_shared<const Motion>(motion)), 0);
  for (int f = 0; f < 40; ++f) {
    EXPECT_NEAR(curves[2][static_cast<std::size_t>(f)], f * 10, 1e-2);
    EXPECT_NEAR(curves[0][static_cast<std::size_t>(f)], 0, 1e-2);
  }
}

TEST(EditorCurves, AnglesComposeAsXThenYThenZ) {
  Skeleton skeleton;
  skeleton.add("post", -1, Trsd{{}, fromAxisAngle(normalised(Vec3d{1, 2, 3}), 0.7), {1, 1, 1}}, 0);
  Motion motion = restMotion(skeleton, 1, FrameRate{30, 1});
  const Quatd turn = fromAxisAngle(Vec3d{1, 0, 0}, 0.3) * fromAxisAngle(Vec3d{0, 1, 0}, -0.5) * fromAxisAngle(Vec3d{0, 0, 1}, 0.9);
  motion.rotationsAt(0)[0] = Quatf(skeleton.rest[0].rotation * turn);
  const auto curves = rotationCurves(skeleton, TiledMotion(std::make_shared<const Motion>(motion)), 0);
  EXPECT_NEAR(curves[0][0], 0.3 * degrees, 1e-3);
  EXPECT_NEAR(curves[1][0], -0.5 * degrees, 1e-3);
  EXPECT_NEAR(curves[2][0], 0.9 * degrees, 1e-3);
}

TEST(EditorHandle, ARingTurnsByTheAngleTheMouseGoesRound) {
  Camera camera;
  camera.target = {0, 1, 0};
  camera.yaw = camera.pitch = 0;
  const Sight sight{camera, 800, 600};
  HandleFrame frame;
  frame.origin = {0, 1, 0};
  frame.rotation = fromAxisAngle(Vec3d{0, 0, 1}, 0.4);
  TurnDrag drag;
  // The camera looks along −Z: the bone's Z points at it, and a quarter turn anticlockwise on screen is +90° about Z.
  drag.beginRing(frame, sight, 2, 460, 300);
  const Vec3d turn = logOf(drag.turnAt(400, 240));
  EXPECT_NEAR(turn.z * degrees, 90, 1e-6);
  EXPECT_NEAR(length(Vec3d{turn.x, turn.y, 0}), 0, 1e-9);
  EXPECT_NEAR(TurnDrag::degrees(drag.turnAt(400, 240, true)), 18, 1e-6);
}

TEST(EditorHandle, APulledPointFollowsTheMouse) {
  Camera camera;
  camera.yaw = 0.5;
  camera.pitch = 0.2;
  const Sight sight{camera, 900, 700};
  HandleFrame frame;
  frame.origin = camera.target;
  frame.rotation = fromAxisAngle(normalised(Vec3d{1, -1, 2}), 1.1);
  const Vec3d grabbed = frame.origin + (camera.right() * 0.3);
  const Projected start = project(camera, sight.width, sight.height, grabbed);
  TurnDrag drag;
  drag.beginPull(frame, sight, grabbed, start.x, start.y);
  EXPECT_NEAR(TurnDrag::degrees(drag.turnAt(start.x, start.y)), 0, 1e-4);
  const Quatd turn = drag.turnAt(start.x - 8, start.y - 12);
  const Vec3d inBone = rotate(conjugate(frame.rotation), grabbed - frame.origin);
  const Vec3d after = frame.origin + rotate(frame.rotation, rotate(turn, inBone));
  const Projected end = project(camera, sight.width, sight.height, after);
  EXPECT_NEAR(distance(after, frame.origin), 0.3, 1e-9);
  EXPECT_LT(std::hypot(end.x - (start.x - 8), end.y - (start.y - 12)), 2.5);
}

TEST(EditorTimeline, FramesAndPixelsGoBothWays) {
  FrameScale scale;
  scale.setWidth(1000);
  scale.setFrames(500);
  for (int f : {0, 1, 250, 499}) EXPECT_EQ(scale.nearest(scale.x(f)), f);
  EXPECT_EQ(scale.nearest(-50), 0);
  EXPECT_EQ(scale.nearest(5000), 499);
  const double fixed = scale.frame(300);
  scale.zoom(0.25, 300);
  EXPECT_NEAR(scale.frame(300), fixed, 1e-6);
  scale.reveal(499);
  EXPECT_LE(scale.x(499), 1000);
}

TEST(EditorSession, PlayingStopsAtTheEndWithoutALoopAndKeepsTheRange) {
  Session session;
  session.setTime(20, 200);
  session.setRange(5, 9);
  session.setLooping(false);
  session.setFrame(0);
  QSignalSpy changed(&session, &Session::playbackChanged);
  session.setPlaying(true);
  EXPECT_EQ(session.frame(), 5) << "playing starts inside the range";
  ASSERT_TRUE(changed.wait(5000));
  EXPECT_FALSE(session.playing());
  EXPECT_EQ(session.frame(), 9);
}

TEST(EditorLane, JobsRunInOrderAndTheNewestReplacesThoseWaiting) {
  JobLane lane;
  std::vector<int> ran;
  std::stop_source gate;
  lane.post(QStringLiteral("first"), [&](const RunControl&) -> JobLane::Answer {
    while (!gate.stop_requested()) std::this_thread::yield();
    return [&] { ran.push_back(1); };
  });
  QSignalSpy started(&lane, &JobLane::started);
  ASSERT_TRUE(started.wait(5000));
  for (int i = 2; i <= 4; ++i)
    lane.post(QStringLiteral("next"), [&ran, i](const RunControl&) -> JobLane::Answer { return [&ran, i] { ran.push_back(i); }; }, true);
  QSignalSpy idle(&lane, &JobLane::idle);
  gate.request_stop();
  ASSERT_TRUE(idle.wait(5000));
  EXPECT_EQ(ran, (std::vector<int>{1, 4}));
  EXPECT_FALSE(lane.busy());
}

TEST(EditorLane, AnExceptionIsToldAndTheLaneGoesOn) {
  JobLane lane;
  QSignalSpy broken(&lane, &JobLane::broken), idle(&lane, &JobLane::idle);
  bool ran = false;
  lane.post(QStringLiteral("bad"), [](const RunControl&) -> JobLane::Answer { throw std::runtime_error("no more rope"); });
  lane.post(QStringLiteral("good"), [&](const RunControl&) -> JobLane::Answer { return [&] { ran = true; }; });
  ASSERT_TRUE(idle.wait(5000));
  ASSERT_EQ(broken.size(), 1);
  EXPECT_EQ(broken[0][0].toString(), QStringLiteral("no more rope"));
  EXPECT_TRUE(ran);
}

TEST(EditorLane, CancellingAsksTheRunningJobToStop) {
  JobLane lane;
  bool stopped = false;
  lane.post(QStringLiteral("long"), [&](const RunControl& control) -> JobLane::Answer {
    while (!control.stopped()) std::this_thread::yield();
    return [&] { stopped = true; };
  });
  QSignalSpy started(&lane, &JobLane::started), idle(&lane, &JobLane::idle);
  ASSERT_TRUE(started.wait(5000));
  lane.cancel();
  ASSERT_TRUE(idle.wait(5000));
  EXPECT_TRUE(stopped);
}

}  // namespace
}  // namespace understudy::editor
