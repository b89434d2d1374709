// Looking at work: two takes side by side, markers on the timeline, previews.
#include <QComboBox>
#include <QDir>

#include "app/editor/document/marking.h"
#include "app/editor/document/preview_writer.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/timeline/markers_row.h"
#include "core/store/reel_file.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorReview : public EditorRun {
 protected:
  MarkersRow& markers() { return window->timeline().markers(); }
  const FigureInstance& figure(std::size_t at) { return window->stage().scene().figures.at(at); }
  double apart(const FigureInstance& a, const FigureInstance& b, int joint) {
    const auto at = [joint](const FigureInstance& f) { return apply(f.placement, f.jointWorld[static_cast<std::size_t>(joint)].translation) - f.placement.translation; };
    return length(at(a) - at(b));
  }
};

TEST_F(EditorReview, TwoTakesStandSideBySide) {
  load();
  key(Qt::Key_0);
  drawn();
  EXPECT_EQ(session().layout(), StageLayout::twoTakes);
  EXPECT_EQ(window->stage().scene().figures.size(), 1U) << "there is one take yet";
  // A second take of a longer performance, with a nudge of its own.
  addTakeLike(document(), true);
  settle();
  nudgeArm(12);
  settle();
  session().setFrame(12);
  drawn();
  ASSERT_EQ(window->stage().scene().figures.size(), 2U);
  EXPECT_EQ(window->stage().otherTake().index(), 0);
  const int hand = joint("hand_l"), foot = joint("foot_l");
  EXPECT_GT(apart(figure(0), figure(1), hand), 0.02) << "the nudge is of this take only";
  EXPECT_LT(apart(figure(0), figure(1), foot), 1e-6);
  EXPECT_LT(figure(0).placement.translation.x, figure(1).placement.translation.x) << "the other one stands on the left";
  // The other one is to look at: its bones are not selected.
  session().select({});
  const Vec3d other = apply(figure(0).placement, figure(0).jointWorld[static_cast<std::size_t>(hand)].translation);
  const Projected at = project(window->stage().camera(), window->stage().width(), window->stage().height(), other);
  QTest::mouseClick(&window->stage(), Qt::LeftButton, Qt::NoModifier, QPointF(at.x, at.y).toPoint());
  EXPECT_FALSE(session().selected());
  // Taking up the other one swaps them.
  key(Qt::Key_Tab, Qt::ControlModifier);
  settle();
  drawn();
  EXPECT_EQ(document().reel().current, 0);
  EXPECT_EQ(window->stage().otherTake().index(), 1);
  ASSERT_EQ(window->stage().scene().figures.size(), 2U);
  EXPECT_GT(apart(figure(0), figure(1), hand), 0.02);
  // A third one: the key goes on to the next other take.
  addTakeLike(document(), true);
  settle();
  EXPECT_EQ(window->stage().otherTake().index(), 1);
  key(Qt::Key_Tab, Qt::ControlModifier | Qt::ShiftModifier);
  settle();
  EXPECT_EQ(window->stage().otherTake().index(), 0);
  // Nothing of it is part of the reel.
  EXPECT_EQ(document().reel().takes.size(), 3U);
  key(Qt::Key_5);
  settle();
  EXPECT_FALSE(window->stage().otherTake().wanted());
}

TEST_F(EditorReview, TakesOfOtherRatesMeetAtTheSameTime) {
  const std::string slow = folder.file("slow.bvh");
  writeFile(slow, makeWalkBvh({.frames = 16, .frameTime = 1.0 / 15}));
  load();
  addTakeLike(document(), true);
  settle();
  drop({slow});
  key(Qt::Key_0);
  settle();
  ASSERT_NEAR(session().rate(), 15, 0.01);
  EXPECT_EQ(window->stage().otherTake().frameAt(3, session().rate()), 12) << "0.2 s at 60 fps";
  EXPECT_EQ(window->stage().otherTake().frameAt(1000, session().rate()), 60) << "its last frame stays";
}

TEST_F(EditorReview, MarkersAreSetNamedMovedGoneToAndRemoved) {
  load();
  EXPECT_FALSE(markers().isVisible());
  session().setFrame(12);
  key(Qt::Key_Z);
  ASSERT_TRUE(markers().isVisible());
  ASSERT_TRUE(markers().name().hasFocus());
  QTest::keyClicks(&markers().name(), QStringLiteral("turn"));
  QTest::keyClick(&markers().name(), Qt::Key_Return);
  ASSERT_EQ(document().take().markers->size(), 1U);
  const std::uint64_t turn = document().take().markers->front().id;
  EXPECT_EQ(findMarker(document().take(), turn)->name, "turn");
  EXPECT_NEAR(findMarker(document().take(), turn)->time, document().evaluated()->rate.seconds(12), 1e-9);
  session().setFrame(40);
  key(Qt::Key_Z);
  QTest::keyClick(&markers().name(), Qt::Key_Escape);
  ASSERT_EQ(document().take().markers->size(), 2U) << "a marker needs no name";
  // From one to the next by keys.
  window->stage().setFocus();
  session().setFrame(0);
  key(Qt::Key_Right, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_EQ(session().frame(), 12);
  key(Qt::Key_Right, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_EQ(session().frame(), 40);
  key(Qt::Key_Left, Qt::ControlModifier | Qt::ShiftModifier);
  EXPECT_EQ(session().frame(), 12);
  // Dragged by its flag; one step of undo.
  const QRectF flag = markers().flagOf(turn);
  const double perFrame = window->timeline().scale().perFrame();
  drag(&markers(), flag.center(), flag.center() + QPointF(0, 0) + QPointF(window->timeline().scale().x(20) - flag.center().x(), 0));
  EXPECT_EQ(frameOf(*document().evaluated(), *findMarker(document().take(), turn)), 20) << perFrame;
  EXPECT_EQ(session().frame(), 20);
  key(Qt::Key_Z, Qt::ControlModifier);
  EXPECT_EQ(frameOf(*document().evaluated(), *findMarker(document().take(), turn)), 12);
  // Named again by two clicks, moved and removed by keys.
  QTest::mouseDClick(&markers(), Qt::LeftButton, Qt::NoModifier, markers().flagOf(turn).center().toPoint());
  ASSERT_TRUE(markers().name().isVisible());
  QTest::keyClicks(&markers().name(), QStringLiteral("stroke"));
  QTest::keyClick(&markers().name(), Qt::Key_Return);
  EXPECT_EQ(findMarker(document().take(), turn)->name, "stroke");
  session().setFrame(12);
  QTest::keyClick(&markers(), Qt::Key_Right, Qt::AltModifier);
  EXPECT_EQ(frameOf(*document().evaluated(), *findMarker(document().take(), turn)), 13);
  EXPECT_EQ(session().frame(), 13);
  const std::string file = folder.file("marked.reel");
  ASSERT_TRUE(document().save(QString::fromStdString(file)));
  const auto read = loadReel(file);
  ASSERT_TRUE(read);
  EXPECT_EQ(*read->currentTake()->markers, *document().take().markers);
  QTest::keyClick(&markers(), Qt::Key_Delete);
  EXPECT_EQ(document().take().markers->size(), 1U);
  EXPECT_EQ(findMarker(document().take(), turn), nullptr);
  session().setFrame(40);
  key(Qt::Key_Z, Qt::ShiftModifier);
  EXPECT_TRUE(document().take().markers->empty());
  EXPECT_FALSE(markers().isVisible());
  key(Qt::Key_Z, Qt::ControlModifier);
  EXPECT_EQ(document().take().markers->size(), 1U);
}

TEST_F(EditorReview, AVideoThatCannotBeMadeIsAFolderOfPictures) {
  writeFile(walk, makeWalkBvh({.frames = 8}));
  load();
  const QByteArray path = qgetenv("PATH");
  qputenv("PATH", QFile::encodeName(QString::fromStdString(folder.file("nothing"))));
  writePreview(document(), QString::fromStdString(folder.file("walk.mp4")));
  settle();
  qputenv("PATH", path);
  EXPECT_FALSE(QFile::exists(QString::fromStdString(folder.file("walk.mp4"))));
  const QDir pictures(QString::fromStdString(folder.file("walk pictures")));
  const QStringList files = pictures.entryList(QDir::Files, QDir::Name);
  ASSERT_EQ(files.size(), document().evaluated()->frames);
  EXPECT_EQ(QImage(pictures.filePath(files.front())).size(), QSize(1280, 720));
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("ffmpeg")));
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("walk pictures")));
}

}  // namespace
}  // namespace understudy::editor
