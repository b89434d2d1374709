// The demo by hand: from an empty window to the exported file by real events, each gesture asserted on that file. With
// UNDERSTUDY_PICTURES=FOLDER the window is written there after each step, in order.
#include <QDir>
#include <QScreen>
#include <algorithm>

#include "core/inspect/inspect.h"
#include "core/scene/prop.h"
#include "core/store/reel_file.h"
#include "app/editor/stage/stage_handles.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorDemo : public EditorRun {
 protected:
  void SetUp() override {
    EditorRun::SetUp();
    for (const char* name : {"sweep.bvh", "keeper.glb", "broom.glb"}) writeFile(folder.file(name), readFile(std::string(UNDERSTUDY_SOURCE) + "/samples/" + name));
    window->resize(1440, 900);
    window->move(0, 0);
  }

  void picture(const char* name) {
    const QString to = qEnvironmentVariable("UNDERSTUDY_PICTURES");
    if (to.isEmpty()) return;
    QDir().mkpath(to);
    if (document().evaluated()) drawn();
    QCoreApplication::processEvents();
    const QPixmap grabbed = window->screen()->grabWindow(0, window->x(), window->y(), window->width(), window->height());
    grabbed.save(QStringLiteral("%1/%2-%3.png").arg(to).arg(++pictures_, 2, 10, QLatin1Char('0')).arg(QString::fromLatin1(name)));
  }
  /// One input: a click on the ruler.
  void goTo(int frame) {
    LanesView& lanes = window->timeline().lanes();
    QTest::mouseClick(&lanes, Qt::LeftButton, Qt::NoModifier, QPointF(window->timeline().scale().x(frame), 12).toPoint());
    settle();
    ++inputs;
  }
  void press(int k, Qt::KeyboardModifiers modifiers = Qt::NoModifier) {
    key(k, modifiers);
    settle();
    ++inputs;
  }
  void pull(QWidget* widget, QPointF from, QPointF to) {
    drag(widget, from, to);
    ++inputs;
  }
  /// Two inputs: the menu's key and a click on the kind.
  void addByMouse(const char* kind) {
    key(Qt::Key_A), ++inputs;
    QMenu& menu = window->repairs().addMenu();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(&menu));
    for (QAction* action : menu.actions())
      if (action->text() == QString::fromLatin1(kind)) QTest::mouseClick(&menu, Qt::LeftButton, Qt::NoModifier, menu.actionGeometry(action).center());
    ++inputs;
    settle();
  }
  const Repair& selected() { return *findRepair(document().take(), session().repair()); }
  FrameSpan span(const Repair& repair) { return repairFrames(repair, document().evaluated()->rate, document().evaluated()->clipFrames).span; }
  std::optional<QPointF> handle(HandleKind kind) {
    drawn();
    for (const StageHandle& h : handlesOf(document(), session()))
      if (h.kind == kind) return window->stage().pictureOf(h.at);
    return {};
  }
  /// World place of a character joint in a motion, metres.
  Vec3d place(const TiledMotion& motion, int joint, int frame) {
    const auto world = worldAt(document().figure(Cast::character)->skeleton, motion, frame);
    return apply(document().worldFromFile(Cast::character), world[static_cast<std::size_t>(joint)].translation);
  }
  int inputs = 0;

 private:
  int pictures_ = 0;
};

TEST_F(EditorDemo, ByHandFromTheEmptyWindowToTheExportedFile) {
  const Reel empty = document().reel();
  picture("empty-window");
  drop({folder.file("sweep.bvh"), folder.file("keeper.glb"), folder.file("broom.glb")}), ++inputs;
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  ASSERT_EQ(document().take().props->size(), 1U);
  picture("loaded");
  const SkeletonMap& roles = document().map().character;

  // A plant, as its finding proposes it.
  press(Qt::Key_E);
  while (document().findings().chosen() && document().findings().chosen()->kind != FindingKind::slide) press(Qt::Key_E);
  ASSERT_TRUE(document().findings().chosen());
  picture("a-finding");
  const int at = session().frame();
  press(Qt::Key_X);
  const auto planted = std::find_if(document().take().repairs->begin(), document().take().repairs->end(), [&](const auto& r) {
    return std::holds_alternative<PlantRepair>(r->action) && span(*r).holds(at);
  });
  ASSERT_NE(planted, document().take().repairs->end());
  const std::uint64_t plant = (*planted)->id;
  const bool left = std::get<PlantRepair>((*planted)->action).part == PlantPart::leftFoot;
  const int toes = roles.joint(left ? Role::leftToes : Role::rightToes), ankle = roles.joint(left ? Role::leftFoot : Role::rightFoot);

  // Its edge: one drag on the lane.
  int before = inputs;
  LanesView& lanes = window->timeline().lanes();
  const FrameSpan was = span(**planted);
  const TiledMotion unstretched = document().evaluated()->motion;
  const auto edge = lanes.gripOf(plant, SpanPart::last);
  ASSERT_TRUE(edge);
  pull(&lanes, *edge, *edge + QPointF(6 * window->timeline().scale().perFrame(), 0));
  EXPECT_LE(inputs - before, 1);
  ASSERT_EQ(session().repair(), plant);
  const FrameSpan stretched = span(selected());
  EXPECT_EQ(stretched, (FrameSpan{was.first, was.last + 6}));
  picture("plant-edge");

  // The ground under it: one drag of its handle in the stage.
  before = inputs;
  goTo((was.first + was.last) / 2);
  const double low = std::get<PlantRepair>(selected().action).ground;
  const int standing = session().frame();
  const Vec3d stoodAt = place(document().evaluated()->motion, ankle, standing);
  const auto height = handle(HandleKind::plantHeight);
  ASSERT_TRUE(height);
  pull(&window->stage(), *height, *height - QPointF(0, 9));
  EXPECT_LE(inputs - before, 2);
  const double lifted = std::get<PlantRepair>(selected().action).ground - low;
  EXPECT_GT(lifted, 0.005);
  picture("ground-height");

  // A nudge of the head: to its frame, select, drag.
  before = inputs;
  goTo(std::min(session().frames() - 1, stretched.last + 30));
  const int nudged = session().frame(), head = roles.joint(Role::head);
  drawn();
  const auto middle = window->stage().middleOf({Cast::character, head});
  ASSERT_TRUE(middle);
  QTest::mouseClick(&window->stage(), Qt::LeftButton, Qt::NoModifier, middle->toPoint()), ++inputs;
  ASSERT_EQ(session().selected(), (Bone{Cast::character, head}));
  drawn();
  const auto grab = window->stage().middleOf({Cast::character, head});
  ASSERT_TRUE(grab);
  pull(&window->stage(), *grab, *grab + QPointF(34, -6));
  EXPECT_LE(inputs - before, 3);
  ASSERT_EQ(document().take().nudges->size(), 1U);
  const double turned = length(document().take().nudges->front()->joints[0].rotation);
  EXPECT_GT(turned, 0.03);
  picture("nudge");

  // The second hand on the broom: a grip, and its handle along the shaft.
  before = inputs;
  addByMouse("grip");
  ASSERT_TRUE(std::holds_alternative<GripRepair>(selected().action));
  ASSERT_TRUE(std::get<GripRepair>(selected().action).anchored);
  const std::uint64_t grip = session().repair();
  const Vec3d held = std::get<GripRepair>(selected().action).supportGrip.position;
  const auto support = handle(HandleKind::gripSupport);
  ASSERT_TRUE(support);
  pull(&window->stage(), *support, *support + QPointF(-10, -16));
  EXPECT_LE(inputs - before, 4);
  const GripRepair gripped = std::get<GripRepair>(findRepair(document().take(), grip)->action);
  EXPECT_GT(length(gripped.supportGrip.position - held), 0.005);
  picture("second-hand");

  // Arms out of the body.
  before = inputs;
  addByMouse("clearance");
  EXPECT_LE(inputs - before, 2);
  ASSERT_TRUE(std::holds_alternative<ClearanceRepair>(selected().action));
  const std::uint64_t clearance = session().repair();
  picture("clearance");

  // One thing too many, and back.
  const Take kept = document().take();
  addByMouse("smooth");
  EXPECT_NE(document().take(), kept);
  const TiledMotion smoothed = document().evaluated()->motion;
  before = inputs;
  press(Qt::Key_Z, Qt::ControlModifier);
  EXPECT_LE(inputs - before, 1);
  EXPECT_EQ(document().take(), kept);
  picture("undone");

  press(Qt::Key_E, Qt::ControlModifier);
  QSignalSpy handed(&document(), &Document::handedOver);
  QTest::mouseClick(window->handOverDialog().findChild<QPushButton*>(QStringLiteral("handOverGo")), Qt::LeftButton), ++inputs;
  settle();
  ASSERT_EQ(handed.size(), 1);
  picture("handed-over");
  EXPECT_LE(inputs, 40);
  RecordProperty("inputs", inputs);

  // The exported file alone.
  const auto report = handed[0][0].value<HandOverReport>();
  const auto read = readFigure(report.path.toStdString());
  ASSERT_TRUE(read) << read.error().text();
  const auto clip = std::find_if(read->clips.begin(), read->clips.end(), [](const Clip& c) { return c.name == "Understudy"; });
  ASSERT_NE(clip, read->clips.end());
  const auto whole = sample(*clip, read->skeleton);
  ASSERT_TRUE(whole);
  ASSERT_EQ(whole->frames, session().frames());
  const Skeleton& own = document().figure(Cast::character)->skeleton;
  Motion motion = restMotion(own, whole->frames, whole->rate, [&] {
    std::vector<int> moved;
    for (int j : whole->movedJoints)
      if (j < own.size()) moved.push_back(j);
    return moved;
  }());
  for (int f = 0; f < motion.frames; ++f) {
    std::copy_n(whole->rotationsAt(f).begin(), own.size(), motion.rotationsAt(f).begin());
    for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) {
      const auto from = std::lower_bound(whole->movedJoints.begin(), whole->movedJoints.end(), motion.movedJoints[k]);
      motion.translationsAt(f)[k] = whole->translationsAt(f)[static_cast<std::size_t>(from - whole->movedJoints.begin())];
    }
  }
  const TiledMotion exported(std::make_shared<const Motion>(motion));
  // The plant's edge: soon after where it ended before, the foot moved and now stands. At the new end it lets go.
  const int beyond = was.last + 2;
  const double moved = length(place(unstretched, toes, beyond) - place(unstretched, toes, was.last));
  const double moves = length(place(exported, toes, beyond) - place(exported, toes, was.last));
  EXPECT_GT(moved, 0.005) << "else there is nothing to hold";
  EXPECT_LT(moves, 0.5 * moved);
  // Its ground: the foot is higher by what was dragged.
  EXPECT_NEAR(place(exported, ankle, standing).y - stoodAt.y, lifted, 0.002);
  // The nudge: the head turned by its angle at its frame, and not far from it.
  const auto headTurn = [&](int frame) {
    return angleBetween(Quatd(exported.rotationsAt(frame)[static_cast<std::size_t>(head)]), Quatd(document().evaluated()->base.rotationsAt(frame)[static_cast<std::size_t>(head)]));
  };
  EXPECT_NEAR(headTurn(nudged), turned, 2e-3);
  EXPECT_LT(headTurn(std::max(0, nudged - 20)), 2e-3);
  // The grip: the hand keeps one place on the broom, which is where its handle was dragged.
  const int broom = findJoint(read->skeleton, document().take().props->front().name).value();
  const int hand = roles.joint(gripped.leadLeft ? Role::rightHand : Role::leftHand), there = findJoint(read->skeleton, jointKey(own, hand)).value();
  const double unit = read->space.metresPerUnit;
  double drift = 0, off = 0;
  std::optional<Vec3d> first;
  for (int f = 0; f < whole->frames; ++f) {
    const auto world = worldAt(read->skeleton, *whole, f);
    // The palm on the broom, against where its handle was let go.
    const Vec3d palm = apply(world[static_cast<std::size_t>(there)], gripped.supportPalm.position * (1 / unit));
    off = std::max(off, length(apply(inverse(world[static_cast<std::size_t>(broom)]), palm) * unit - gripped.supportGrip.position));
    const Vec3d local = apply(inverse(world[static_cast<std::size_t>(broom)]), world[static_cast<std::size_t>(there)].translation) * unit;
    if (!first) first = local;
    drift = std::max(drift, length(local - *first));
  }
  const auto miss = worstMiss(*document().evaluated(), grip);
  EXPECT_LT(drift, 0.002 + (miss ? miss->metres : 0)) << "where the arm is too short the editor says by how much";
  EXPECT_LT(off, 0.003 + (miss ? miss->metres : 0));
  // Clearance: less of the arms in the body than the same take without it.
  const auto depth = [&](const TiledMotion& m) {
    Evaluated seen = *document().evaluated();
    seen.motion = seen.untrimmed = m;
    const auto performance = analysePerformance(*document().figure(Cast::performer), seen.map->performer, seen.performerNative);
    double sum = 0;
    if (performance)
      if (const auto found = inspectTake(document().take(), seen, **performance))
        for (const Finding& f : found->findings)
          if (f.kind == FindingKind::depth) sum += f.measure * f.span.count();
    return sum;
  };
  const auto without = evaluate(removeRepair(document().take(), clearance), document().sources());
  ASSERT_TRUE(without);
  EXPECT_LT(depth(exported), depth(without->motion));
  // What was undone is not in the file: it is the motion that was kept, and not the smoothed one.
  const auto apart = [&](const TiledMotion& other) {
    double most = 0;
    for (int f = 0; f < exported.frames(); f += 3)
      for (std::size_t j = 0; j < static_cast<std::size_t>(own.size()); ++j) most = std::max(most, angleBetween(Quatd(exported.rotationsAt(f)[j]), Quatd(other.rotationsAt(f)[j])));
    return most;
  };
  EXPECT_LT(apart(document().evaluated()->motion), 2e-3);
  EXPECT_GT(apart(smoothed), 0.02);

  // Undo all, redo all: the same reel, byte for byte.
  window->handOverDialog().close();
  QApplication::setActiveWindow(window.get());
  const Reel done = document().reel();
  const std::string bytes = writeReel(done, folder.file("done.reel"));
  while (document().canUndo()) {
    key(Qt::Key_Z, Qt::ControlModifier);
    QCoreApplication::processEvents();
  }
  settle();
  EXPECT_EQ(document().reel(), empty);
  while (document().canRedo()) {
    key(Qt::Key_Z, Qt::ControlModifier | Qt::ShiftModifier);
    QCoreApplication::processEvents();
  }
  settle();
  EXPECT_EQ(document().reel(), done);
  EXPECT_EQ(writeReel(document().reel(), folder.file("done.reel")), bytes);
}

}  // namespace
}  // namespace understudy::editor
