// What a new user stumbled over once: keys after a click, names half typed, words that came too late, room for the map.
#include <QFrame>
#include <QHeaderView>

#include "app/editor/panels/map_figure.h"
#include "app/editor/window/command_finder.h"
#include "app/editor/window/welcome.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorWalk : public EditorRun {
 protected:
  /// Presses a key where the focus is, as a keyboard does.
  void press(int k, Qt::KeyboardModifiers modifiers = Qt::NoModifier) {
    QWidget* focus = QApplication::focusWidget();
    QTest::keyClick(focus ? focus : window.get(), static_cast<Qt::Key>(k), modifiers);
  }
};

TEST_F(EditorWalk, TheSpaceBarPlaysWhateverButtonWasClickedBefore) {
  load();
  QWidget* stage = &window->stage();
  EXPECT_TRUE(stage->hasFocus()) << "once there is something to see, keys go to it";
  auto* loop = window->timeline().findChild<QToolButton*>(QStringLiteral("loop"));
  const bool looping = session().looping();
  QTest::mouseClick(loop, Qt::LeftButton);
  EXPECT_NE(session().looping(), looping);
  press(Qt::Key_Space);
  EXPECT_TRUE(session().playing());
  EXPECT_NE(session().looping(), looping) << "the button is not pressed again";
  press(Qt::Key_Space);
  EXPECT_FALSE(session().playing());
  EXPECT_NE(loop->focusPolicy(), Qt::NoFocus) << "by Tab it is reached all the same";
}

TEST_F(EditorWalk, SomeLettersOfANameRunTheFirstThatIsListed) {
  load();
  key(Qt::Key_K, Qt::ControlModifier);
  CommandFinder& finder = window->finder();
  ASSERT_TRUE(finder.hasFocus());
  ASSERT_FALSE(session().bare());
  QTest::keyClicks(&finder, QStringLiteral("bare"));
  ASSERT_TRUE(QTest::qWaitForWindowExposed(&finder.list()));
  EXPECT_LE(finder.list().geometry().right(), finder.mapToGlobal(QPoint(finder.width(), 0)).x()) << "the list stays inside the window";
  QTest::keyClick(&finder, Qt::Key_Return);
  QCoreApplication::processEvents();
  EXPECT_TRUE(session().bare());
  EXPECT_TRUE(finder.text().isEmpty());
  // What is begun and left is not there the next time.
  key(Qt::Key_K, Qt::ControlModifier);
  QTest::keyClicks(&finder, QStringLiteral("zzz"));
  window->stage().setFocus();
  EXPECT_TRUE(finder.text().isEmpty());
  EXPECT_TRUE(session().bare());
}

TEST_F(EditorWalk, TheLastMistakeIsToldFirst) {
  const std::string first = folder.file("letter.txt"), second = folder.file("cut.bvh");
  writeFile(first, "dear keeper");
  writeFile(second, "HIERARCHY\nROOT");
  drop({first});
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("letter.txt"))) << window->messages().text().toStdString();
  drop({second});
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("cut.bvh"))) << window->messages().text().toStdString();
  drop({second});  // the same again is no further message
  window->messages().dismiss();
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("letter.txt")));
  window->messages().dismiss();
  EXPECT_TRUE(window->messages().text().isEmpty());
}

TEST_F(EditorWalk, APerformerAloneIsFramed) {
  drop({walk});
  drawn();
  const auto& figure = document().figure(Cast::performer);
  ASSERT_TRUE(figure);
  for (int joint = 0; joint < figure->skeleton.size(); ++joint) {
    const auto at = window->stage().pointOf({Cast::performer, joint});
    ASSERT_TRUE(at) << joint;
    EXPECT_TRUE(QRectF(window->stage().rect()).contains(*at)) << joint;
  }
}

TEST_F(EditorWalk, AfterHandingOverClosingIsNext) {
  load();
  key(Qt::Key_E, Qt::ControlModifier);
  HandOverDialog& dialog = window->handOverDialog();
  auto* go = dialog.findChild<QPushButton*>(QStringLiteral("handOverGo"));
  auto* folderButton = dialog.findChild<QPushButton*>(QStringLiteral("handOverFolder"));
  EXPECT_TRUE(go->property("next").toBool());
  EXPECT_FALSE(folderButton->isVisible());
  QTest::mouseClick(go, Qt::LeftButton);
  settle();
  EXPECT_FALSE(go->property("next").toBool()) << "it is done";
  EXPECT_TRUE(folderButton->isVisible());
  // A change makes it the next step again.
  dialog.findChild<QLineEdit*>(QStringLiteral("handOverPath"))->setText(QString::fromStdString(folder.file("other.glb")));
  EXPECT_TRUE(go->property("next").toBool());
  EXPECT_FALSE(folderButton->isVisible());
}

TEST_F(EditorWalk, TheBoneMapHasRoomInASmallWindow) {
  window->resize(1280, 720);
  load();
  QTableView& table = window->map().table();
  const int rows = table.viewport()->height() / table.verticalHeader()->defaultSectionSize();
  EXPECT_GE(rows, 5);
  EXPECT_GE(window->map().figure().height(), 120) << "and the figure is still there";
}

TEST_F(EditorWalk, AJobThatShowsUpPushesNothingAside) {
  load();
  const QRect before(window->stage().mapTo(window.get(), QPoint()), window->stage().size());
  auto* bar = window->stage().findChild<QFrame*>(QStringLiteral("busyBar"));
  ASSERT_TRUE(bar);
  bar->show();
  QCoreApplication::processEvents();
  EXPECT_EQ(QRect(window->stage().mapTo(window.get(), QPoint()), window->stage().size()), before);
  EXPECT_TRUE(window->stage().rect().contains(bar->geometry()));
}

}  // namespace
}  // namespace understudy::editor
