// Trying out a folder of clips on the character: found, drawn, measured, taken up; one or several.
#include "app/editor/panels/audition_dialog.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorAudition : public EditorRun {
 protected:
  void SetUp() override {
    EditorRun::SetUp();
    QDir().mkpath(QString::fromStdString(clips + "/more"));
    writeFile(clips + "/a walk.bvh", makeWalkBvh());
    writeFile(clips + "/b long walk.bvh", makeWalkBvh({.frames = 121}));
    writeFile(clips + "/more/c walk.bvh", makeWalkBvh({.frames = 31}));
    writeFile(clips + "/notes.txt", "no clip");
    writeFile(clips + "/broken.bvh", "HIERARCHY");
  }
  void wait() {
    while (dialog().audition().lane().busy()) {
      QSignalSpy idle(&dialog().audition().lane(), &JobLane::idle);
      ASSERT_TRUE(idle.wait(30000));
    }
  }
  AuditionDialog& dialog() { return window->audition(); }
  std::string clips = folder.file("clips");
};

TEST_F(EditorAudition, AFolderLoopsOnTheCharacterAndSeveralMakeAReel) {
  load();
  const Take before = document().take();
  key(Qt::Key_A, Qt::ControlModifier | Qt::ShiftModifier);
  ASSERT_TRUE(dialog().isVisible());
  QTest::keyClick(&dialog().folder(), Qt::Key_A, Qt::ControlModifier);
  QTest::keyClicks(&dialog().folder(), QString::fromStdString(clips));
  QTest::keyClick(&dialog().folder(), Qt::Key_Return);
  wait();
  const auto& found = dialog().audition().clips();
  ASSERT_EQ(found.size(), 4U);
  EXPECT_EQ(document().take(), before) << "trying out changes nothing";
  int usable = 0;
  for (const AuditionClip& clip : found) {
    if (clip.name == QStringLiteral("broken")) {
      EXPECT_FALSE(clip.problem.isEmpty());
      EXPECT_FALSE(clip.usable());
      continue;
    }
    ++usable;
    EXPECT_EQ(clip.loop.size(), static_cast<std::size_t>(Audition::pictures)) << clip.name.toStdString();
    EXPECT_NE(clip.loop.front(), clip.loop[Audition::pictures / 2]) << "the loop moves";
    EXPECT_GT(clip.contacts, 0);
    EXPECT_GE(clip.findings, 0);
    EXPECT_GT(clip.strideReach, 0.8);
    EXPECT_LE(clip.strideReach, 1.001);
  }
  EXPECT_EQ(usable, 3);
  EXPECT_NEAR(found[0].seconds, 1.0, 1e-6);
  // Two of them by clicks: a reel of two takes on the same character.
  QListView& grid = dialog().grid();
  const auto click = [&](int row, Qt::KeyboardModifiers modifiers) {
    QTest::mouseClick(grid.viewport(), Qt::LeftButton, modifiers, grid.visualRect(grid.model()->index(row, 0)).center());
  };
  click(0, Qt::NoModifier);
  EXPECT_TRUE(dialog().takeUpButton().isEnabled());
  click(1, Qt::ControlModifier);
  QTest::mouseClick(&dialog().takeUpButton(), Qt::LeftButton);
  settle();
  EXPECT_FALSE(dialog().isVisible());
  ASSERT_EQ(document().reel().takes.size(), 2U);
  EXPECT_EQ(document().reel().takes[0]->name, found[0].name.toStdString());
  EXPECT_EQ(document().reel().takes[1]->performer->path, found[1].path.toStdString());
  EXPECT_EQ(document().reel().takes[1]->character->path, before.character->path);
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  EXPECT_EQ(document().evaluated()->frames, 61);
  EXPECT_EQ(document().undoLabel().toStdString(), "Take up 2 clips");
  QApplication::setActiveWindow(window.get());
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().reel().takes.size(), 1U) << document().undoLabel().toStdString();
  EXPECT_EQ(document().take(), before);
}

TEST_F(EditorAudition, WithoutACharacterThePerformersThemselvesAreShown) {
  window->audition().open();
  window->audition().look(QString::fromStdString(clips));
  wait();
  ASSERT_EQ(dialog().audition().clips().size(), 4U);
  EXPECT_FALSE(dialog().audition().clips().front().loop.empty());
  // Closing stops the work and leaves nothing behind.
  window->audition().look(QString::fromStdString(clips));
  window->audition().close();
  wait();
  EXPECT_TRUE(document().reel() == newReel());
}

}  // namespace
}  // namespace understudy::editor
