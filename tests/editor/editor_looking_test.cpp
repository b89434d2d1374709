// Looking around: names under the mouse, one mesh alone, where a prop goes, the camera along with it, and the window as it was left.
#include <QSplitter>

#include "app/editor/stage/stage_extras.h"
#include "app/editor/window/actions.h"
#include "tests/editor/editor_window.h"
#include "tests/editor/quality_checks.h"

namespace understudy::editor {
namespace {

class EditorLooking : public EditorRun {
 protected:
  StageWidget& stage() { return window->stage(); }
  void hover(QPointF at) {
    QMouseEvent move(QEvent::MouseMove, at, stage().mapToGlobal(at), Qt::NoButton, Qt::NoButton, Qt::NoModifier);
    QApplication::sendEvent(&stage(), &move);
  }
  bool says(const QString& text) {
    const auto texts = textsOf(stage());
    return std::any_of(texts.begin(), texts.end(), [&](const PaintedText& painted) { return painted.text.contains(text); });
  }
  /// The demo with its broom held in both hands.
  void loadBroom() {
    for (const char* name : {"sweep.bvh", "keeper.glb", "broom.glb"}) writeFile(folder.file(name), readFile(std::string(UNDERSTUDY_SOURCE) + "/samples/" + name));
    drop({folder.file("sweep.bvh"), folder.file("keeper.glb"), folder.file("broom.glb")});
    addByKeys("grip");
    session().setLayout(StageLayout::characterAlone);
    session().setFrame(100);
    drawn();
  }
  std::uint64_t broom() { return document().take().props->front().id; }
  std::optional<QPointF> broomPoint(const Vec3d& point, int frame) {
    const auto at = propPointPath(document(), *document().evaluated(), broom(), point, frame, frame);
    return at.empty() ? std::nullopt : stage().pictureOf(at.front());
  }
  /// Clicks on the broom where its skin is seen; where that is on the broom.
  std::optional<Vec3d> clickBroom() {
    for (const Vec3d& point : document().take().props->front().outline) {
      const auto at = broomPoint(point, session().frame());
      if (!at || !stage().rect().contains(at->toPoint())) continue;
      hover(*at);
      if (session().hovered()) continue;
      QTest::mouseClick(&stage(), Qt::LeftButton, Qt::NoModifier, at->toPoint());
      drawn();
      if (!stage().scene().trails.empty()) return point;
    }
    return {};
  }
};

TEST_F(EditorLooking, TheBoneUnderTheMouseSaysItsName) {
  load();
  session().setLayout(StageLayout::characterAlone);
  drawn();
  const auto at = stage().middleOf({Cast::character, joint("calf_r")});
  ASSERT_TRUE(at);
  EXPECT_FALSE(says(QStringLiteral("calf_r")));
  hover(*at);
  EXPECT_EQ(session().hovered(), (Bone{Cast::character, joint("calf_r")}));
  EXPECT_TRUE(says(QStringLiteral("calf_r")));
  hover(QPointF(3, 3));
  EXPECT_FALSE(says(QStringLiteral("calf_r")));
}

TEST_F(EditorLooking, NothingButTheMeshUnderTheMouse) {
  load();
  session().setLayout(StageLayout::characterAlone);
  stage().change([](StageOptions& o) { o.bones = false; });
  drawn();
  const auto at = stage().middleOf({Cast::character, document().map().character.joint(Role::leftUpperLeg)});
  ASSERT_TRUE(at);
  hover(*at);
  key(Qt::Key_Q, Qt::ControlModifier | Qt::ShiftModifier);
  const auto& meshes = stage().options().meshes;
  const auto seen = std::count(meshes.begin(), meshes.end(), 0);
  EXPECT_EQ(seen, 1) << "one of " << meshes.size();
  key(Qt::Key_Q, Qt::ShiftModifier);
  EXPECT_TRUE(stage().options().meshes.empty());
}

TEST_F(EditorLooking, APointOfAPropShowsWhereItGoesAndTheCameraGoesAlong) {
  loadBroom();
  key(Qt::Key_T);
  const auto point = clickBroom();
  ASSERT_TRUE(point);
  EXPECT_FALSE(session().selected()) << "a prop is no bone";
  const Trail& trail = stage().scene().trails.front();
  EXPECT_EQ(trail.tickEvery, 5);
  const Projected p = project(stage().camera(), stage().width(), stage().height(), trail.points[static_cast<std::size_t>(trail.now)]);
  const auto at = broomPoint(*point, session().frame());
  ASSERT_TRUE(at && p.visible);
  EXPECT_LT(QLineF(*at, QPointF(p.x, p.y)).length(), 12) << "the path goes through where it was clicked";
  key(Qt::Key_T);
  window->actions().find(QStringLiteral("Camera follows the prop"))->trigger();
  drawn();
  const auto before = broomPoint(*point, session().frame());
  session().setFrame(session().frame() + 15);
  drawn();
  const auto after = broomPoint(*point, session().frame());
  ASSERT_TRUE(before && after);
  EXPECT_LT(QLineF(*before, *after).length(), 14) << "it stays where it is in the picture";
}

TEST_F(EditorLooking, TheWindowComesBackAsItWasLeft) {
  window->resize(1210, 770);
  QCoreApplication::processEvents();
  auto* across = window->findChild<QSplitter*>();
  ASSERT_TRUE(across && across->orientation() == Qt::Horizontal);
  QSplitterHandle* handle = across->handle(1);
  const QPoint from = handle->rect().center();
  QTest::mousePress(handle, Qt::LeftButton, Qt::NoModifier, from);
  QMouseEvent move(QEvent::MouseMove, from + QPoint(46, 0), handle->mapToGlobal(from + QPoint(46, 0)), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
  QApplication::sendEvent(handle, &move);
  QTest::mouseRelease(handle, Qt::LeftButton, Qt::NoModifier, from + QPoint(46, 0));
  const QList<int> left = across->sizes();
  const QSize size = window->size();
  window.reset();
  window = std::make_unique<MainWindow>();
  window->show();
  ASSERT_TRUE(QTest::qWaitForWindowExposed(window.get()));
  EXPECT_EQ(window->size(), size);
  EXPECT_EQ(window->findChild<QSplitter*>()->sizes(), left);
}

}  // namespace
}  // namespace understudy::editor
