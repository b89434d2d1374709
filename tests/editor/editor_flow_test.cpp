// What helps along: the empty window, the tour, help, keys of one's own, notes, the takes of a reel.
#include <QKeySequenceEdit>
#include <QListWidget>
#include <QPlainTextEdit>
#include <QSettings>
#include <QTableWidget>
#include <QTextBlock>
#include <QTextBrowser>

#include "app/editor/panels/notes_panel.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/window/actions.h"
#include "app/editor/window/help_dialog.h"
#include "app/editor/window/preferences.h"
#include "app/editor/window/tour.h"
#include "app/editor/window/welcome.h"
#include "core/store/reel_file.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorFlow : public EditorRun {
 protected:
  void SetUp() override {
    qputenv("UNDERSTUDY_SAMPLES", UNDERSTUDY_SOURCE "/samples");
    EditorRun::SetUp();
    writeFile(folder.file("short.bvh"), makeWalkBvh({.frames = 4}));
  }
};

TEST_F(EditorFlow, TheEmptyWindowSaysHowToBeginAndShowsReelsOfLate) {
  ASSERT_TRUE(window->welcome().isVisible());
  QTest::mouseClick(&window->welcome().demoButton(), Qt::LeftButton);
  settle();
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  EXPECT_FALSE(window->welcome().isVisible());
  EXPECT_EQ(document().take().props->size(), 1U);
  drawn();
  const std::string reel = folder.file("gallery.reel");
  answerFileWindow(reel);
  key(Qt::Key_S, Qt::ControlModifier);
  key(Qt::Key_N, Qt::ControlModifier);
  settle();
  ASSERT_TRUE(window->welcome().isVisible());
  QListWidget& recent = window->welcome().recent();
  ASSERT_GT(recent.count(), 0);
  EXPECT_EQ(recent.item(0)->data(Qt::UserRole).toString().toStdString(), reel);
  EXPECT_FALSE(thumbnailOf(QString::fromStdString(reel)).isNull()) << "saved reels have a picture";
  QTest::mouseClick(recent.viewport(), Qt::LeftButton, Qt::NoModifier, recent.visualItemRect(recent.item(0)).center());
  settle();
  EXPECT_EQ(document().path().toStdString(), reel);
  EXPECT_TRUE(document().evaluated() && document().evaluated()->complete());
}

TEST_F(EditorFlow, TheTourWatchesWhatIsDoneAndGoesOn) {
  Tour& tour = window->tour();
  tour.start();
  settle();
  ASSERT_TRUE(tour.isVisible());
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  const auto at = [&](int step) {
    QCoreApplication::processEvents();
    settle();
    QCoreApplication::processEvents();
    return tour.step() == step;
  };
  EXPECT_TRUE(at(0));
  key(Qt::Key_Space);
  EXPECT_TRUE(at(1)) << "playing was the first step";
  key(Qt::Key_Space);
  selectRole(Role::leftUpperArm);
  EXPECT_TRUE(at(2));
  do key(Qt::Key_E);
  while (document().findings().chosen() && document().findings().chosen()->kind != FindingKind::slide);
  EXPECT_TRUE(at(3));
  key(Qt::Key_X);
  EXPECT_TRUE(at(4));
  const auto& repair = document().take().repairs->front();
  LanesView& lanes = window->timeline().lanes();
  const auto edge = lanes.gripOf(repair->id, SpanPart::last);
  ASSERT_TRUE(edge);
  drag(&lanes, *edge, *edge + QPointF(3 * window->timeline().scale().perFrame(), 0));
  EXPECT_TRUE(at(5));
  QTest::mouseClick(tour.findChild<QPushButton*>(QStringLiteral("tourNext")), Qt::LeftButton);
  EXPECT_TRUE(at(6)) << "any step can be skipped";
  key(Qt::Key_Z, Qt::ControlModifier);
  EXPECT_TRUE(at(7));
  key(Qt::Key_F1, Qt::ShiftModifier);
  EXPECT_TRUE(at(8)) << "by keyboard too";
  tour.end();
  EXPECT_FALSE(tour.isVisible());
  EXPECT_FALSE(tour.running());
}

TEST_F(EditorFlow, HelpHasPagesWithPicturesAndTheKeysAsTheyAre) {
  key(Qt::Key_F1);
  ASSERT_TRUE(window->help().isVisible());
  EXPECT_GE(window->help().pages().count(), 8);
  for (int i = 0; i < window->help().pages().count(); ++i) {
    window->help().pages().setCurrentRow(i);
    EXPECT_GT(window->help().page().toPlainText().size(), 200) << i;
    for (QTextBlock block = window->help().page().document()->begin(); block.isValid(); block = block.next())
      for (auto part = block.begin(); !part.atEnd(); ++part)
        if (part.fragment().charFormat().isImageFormat()) {
          const QString name = part.fragment().charFormat().toImageFormat().name();
          EXPECT_FALSE(window->help().page().loadResource(QTextDocument::ImageResource, QUrl(name)).isNull()) << name.toStdString();
        }
  }
  EXPECT_TRUE(window->help().keysPage().contains(QStringLiteral("Ctrl+K")));
}

TEST_F(EditorFlow, KeysAreChangedRememberedAndTakenFromWhoHadThem) {
  load();
  Actions& actions = window->actions();
  QAction* play = actions.find(QStringLiteral("Play or pause"));
  QAction* loop = actions.find(QStringLiteral("Loop"));
  ASSERT_TRUE(play && loop);
  key(Qt::Key_Comma, Qt::ControlModifier);
  PreferencesDialog& dialog = window->preferences();
  ASSERT_TRUE(dialog.isVisible());
  QTest::keyClicks(&dialog.filter(), QStringLiteral("play or"));
  ASSERT_EQ(dialog.keys().rowCount(), 1);
  dialog.keys().selectRow(0);
  dialog.key().setKeySequence(QKeySequence(Qt::Key_L));
  for (auto* button : dialog.findChildren<QPushButton*>())
    if (button->text() == QStringLiteral("Set key")) QTest::mouseClick(button, Qt::LeftButton);
  EXPECT_EQ(play->shortcut(), QKeySequence(Qt::Key_L));
  EXPECT_TRUE(loop->shortcut().isEmpty()) << "a key means one command";
  dialog.close();
  QApplication::setActiveWindow(window.get());
  key(Qt::Key_L);
  EXPECT_TRUE(session().playing());
  key(Qt::Key_L);
  // A tooltip names the key there is now, and a new window knows it.
  EXPECT_TRUE(window->timeline().findChild<QToolButton*>(QStringLiteral("play"))->toolTip().endsWith(QStringLiteral("(L)")));
  MainWindow other;
  EXPECT_EQ(other.actions().find(QStringLiteral("Play or pause"))->shortcut(), QKeySequence(Qt::Key_L));
  actions.resetKeys();
  EXPECT_EQ(play->shortcut(), QKeySequence(Qt::Key_Space));
  EXPECT_TRUE(window->timeline().findChild<QToolButton*>(QStringLiteral("play"))->toolTip().endsWith(QStringLiteral("(Space)")));
  EXPECT_TRUE(QSettings().value(QStringLiteral("keys/Loop")).isNull());
}

TEST_F(EditorFlow, NotesArePinnedFollowedDoneAndSaved) {
  load();
  session().setFrame(12);
  selectRole(Role::leftHand);
  key(Qt::Key_M, Qt::ControlModifier);
  ASSERT_TRUE(window->notes().isVisible());
  QTest::keyClicks(&window->notes().text(), QStringLiteral("reaches too far"));
  QTest::keyClick(&window->notes().text(), Qt::Key_Return, Qt::ControlModifier);
  ASSERT_EQ(document().take().notes->size(), 1U);
  const Note note = document().take().notes->front();
  EXPECT_EQ(note.text, "reaches too far");
  EXPECT_EQ(note.bone, "@leftHand");
  EXPECT_FALSE(note.author.empty());
  EXPECT_NEAR(note.time, document().evaluated()->rate.seconds(12), 1e-9);
  session().setFrame(40);
  session().select({});
  QTest::keyClicks(&window->notes().text(), QStringLiteral("good weight"));
  QTest::mouseClick(&window->notes().addButton(), Qt::LeftButton);
  ASSERT_EQ(document().take().notes->size(), 2U);
  window->stage().setFocus();
  session().setFrame(0);
  key(Qt::Key_J);
  EXPECT_EQ(session().frame(), 12);
  EXPECT_EQ(session().selected(), (Bone{Cast::character, joint("hand_l")}));
  key(Qt::Key_J);
  EXPECT_EQ(session().frame(), 40);
  window->notes().toggleDone();
  EXPECT_EQ(window->notes().model().open(), 1);
  const std::string reel = folder.file("noted.reel");
  ASSERT_TRUE(document().save(QString::fromStdString(reel)));
  const auto read = loadReel(reel);
  ASSERT_TRUE(read);
  EXPECT_EQ(*read->currentTake()->notes, *document().take().notes);
  // Notes change no pose.
  EXPECT_TRUE(turnedJoints(document().evaluated()->base, document().evaluated()->motion).empty());
}

TEST_F(EditorFlow, TakesOfAReelAreChosenAndChangedForAll) {
  load();
  addTakeLike(document(), true);
  settle();
  auto* bar = window->findChild<ReelBar*>();
  ASSERT_TRUE(bar);
  ASSERT_EQ(bar->takes().count(), 2);
  EXPECT_EQ(document().reel().current, 1);
  bar->takes().setFocus();
  QTest::keyClick(&bar->takes(), Qt::Key_Up);
  settle();
  EXPECT_EQ(document().reel().current, 0);
  const std::string tall = folder.file("tall.glb");
  writeFile(tall, makeStickCharacterGlb({.scale = 1, .legLength = 1.1}));
  drop({tall});
  ASSERT_EQ(document().reel().takes[1]->character->path, stick);
  for (QAction* action : bar->menu().actions())
    if (action->text() == QStringLiteral("This character for all takes")) action->trigger();
  settle();
  EXPECT_EQ(document().reel().takes[0]->character->path, tall);
  EXPECT_EQ(document().reel().takes[1]->character->path, tall);
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().reel().takes[1]->character->path, stick);
}

TEST_F(EditorFlow, APreviewIsAPictureAFrameWithItsNumber) {
  drop({folder.file("short.bvh"), stick});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete()) << window->messages().text().toStdString();
  const std::string out = folder.file("frames");
  answerFileWindow(out);
  key(Qt::Key_E, Qt::ControlModifier | Qt::ShiftModifier);
  settle();
  for (int f = 1; f <= 4; ++f) {
    const QImage picture(QStringLiteral("%1/%2.png").arg(QString::fromStdString(out)).arg(f, 4, 10, QLatin1Char('0')));
    EXPECT_EQ(picture.size(), QSize(1280, 720)) << f;
  }
}

}  // namespace
}  // namespace understudy::editor
