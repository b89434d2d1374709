// The pictures of the help pages, made from the program itself. With UNDERSTUDY_PICTURES=FOLDER they are kept there:
// resources/help/pictures.sh does so.
#include <QDir>
#include <QFileInfo>
#include <QPlainTextEdit>
#include <QScreen>
#include <QSet>

#include "app/editor/panels/audition_dialog.h"
#include "app/editor/panels/map_figure.h"
#include "app/editor/panels/notes_panel.h"
#include "app/editor/timeline/curves_page.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorHelpPictures : public EditorRun {
 protected:
  void SetUp() override {
    EditorRun::SetUp();
    window->resize(1280, 800);
    window->move(0, 0);
    to_ = qEnvironmentVariable("UNDERSTUDY_PICTURES", QString::fromStdString(folder.file("pictures")));
    QDir().mkpath(to_);
  }
  void waitFor(JobLane& lane) {
    while (lane.busy()) {
      QSignalSpy idle(&lane, &JobLane::idle);
      ASSERT_TRUE(idle.wait(60000));
    }
  }
  void picture(const QString& name, QWidget* of = nullptr) {
    settle();
    waitFor(window->map().figure().lane());
    drawn();
    QCoreApplication::processEvents();
    QWidget* shown = of ? of : window.get();
    QCoreApplication::processEvents();
    // What the screen shows, so that the stage's OpenGL is in it.
    const QPoint corner = shown->mapToGlobal(QPoint(0, 0));
    QImage image = shown->screen()->grabWindow(0, corner.x(), corner.y(), shown->width(), shown->height()).toImage();
    image = image.scaledToWidth(960, Qt::SmoothTransformation);
    ASSERT_TRUE(image.save(to_ + QLatin1Char('/') + name, "JPG", 84));
    QSet<QRgb> colours;
    for (int y = 0; y < image.height(); y += 5)
      for (int x = 0; x < image.width(); x += 5) colours.insert(image.pixel(x, y));
    EXPECT_GT(colours.size(), 20) << name.toStdString() << " shows nothing";
    EXPECT_TRUE(QFileInfo::exists(QStringLiteral(UNDERSTUDY_SOURCE "/resources/help/pictures/") + name)) << "make it with resources/help/pictures.sh";
  }
  QString to_;
};

TEST_F(EditorHelpPictures, EveryPageHasItsPicture) {
  const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
  drop({samples + "sweep.bvh", samples + "keeper.glb", samples + "broom.glb"});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete());
  session().setFrame(119);
  picture(QStringLiteral("begin.jpg"));
  session().setLayout(StageLayout::characterAlone);
  selectRole(Role::leftUpperArm);
  picture(QStringLiteral("map.jpg"));
  session().select({});
  key(Qt::Key_E);
  key(Qt::Key_E);
  key(Qt::Key_E);
  picture(QStringLiteral("findings.jpg"));
  key(Qt::Key_F, Qt::ControlModifier);
  settle();
  for (const auto& repair : *document().take().repairs)
    if (std::holds_alternative<PlantRepair>(repair->action) && session().repair() == 0) session().setRepair(repair->id);
  session().setFrame(frameOfItem(document(), session().repair()));
  picture(QStringLiteral("repairs.jpg"));
  session().setRepair(0);
  selectRole(Role::leftUpperArm);
  window->timeline().showCurves(true);
  CurvesView& curves = window->timeline().curves().view();
  session().setFrame(60);
  curves.keyHere();
  settle();
  session().setFrame(84);
  curves.keyHere();
  settle();
  curves.shiftPicked(9, 0, {});
  settle();
  picture(QStringLiteral("curves.jpg"));
  window->timeline().showCurves(false);
  selectRole(Role::head);
  key(Qt::Key_M, Qt::ControlModifier);
  for (const char* text : {"look further down the broom", "good weight on this step"}) {
    QTest::keyClicks(&window->notes().text(), QString::fromLatin1(text));
    QTest::keyClick(&window->notes().text(), Qt::Key_Return, Qt::ControlModifier);
    session().setFrame(session().frame() + 40);
  }
  picture(QStringLiteral("notes.jpg"));
  key(Qt::Key_E, Qt::ControlModifier);
  picture(QStringLiteral("handover.jpg"));
  window->handOverDialog().close();
  const std::string clips = folder.file("clips");
  QDir().mkpath(QString::fromStdString(clips));
  writeFile(clips + "/sweep.bvh", readFile(samples + "sweep.bvh"));
  for (const auto& [name, frames] : {std::pair{"slow walk", 121}, {"two steps", 45}, {"walk", 61}}) writeFile(clips + "/" + name + ".bvh", makeWalkBvh({.frames = frames}));
  window->audition().open();
  window->audition().look(QString::fromStdString(clips));
  waitFor(window->audition().audition().lane());
  picture(QStringLiteral("audition.jpg"), &window->audition());
  window->audition().close();
}

}  // namespace
}  // namespace understudy::editor
