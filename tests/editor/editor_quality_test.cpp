// The whole window in many sizes, both lights and longer words: nothing cut, nothing covered, all of it readable, large enough to hit,
// and within reach of the keyboard. UNDERSTUDY_QUALITY_PICTURES=FOLDER keeps a picture of each.
#include <gtest/gtest.h>

#include <QInputDialog>
#include <QListWidget>
#include <QPointer>
#include <QProcess>
#include <QRegularExpression>
#include <QScreen>
#include <QTabWidget>
#include <filesystem>

#include "app/editor/document/marking.h"
#include "app/editor/document/set_and_locks.h"
#include "app/editor/look/appearance.h"
#include "app/editor/panels/audition_dialog.h"
#include "app/editor/panels/notes_panel.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/window/command_finder.h"
#include "app/editor/window/help_dialog.h"
#include "app/editor/window/preferences.h"
#include "app/editor/window/tour.h"
#include "tests/editor/editor_window.h"
#include "tests/editor/quality_checks.h"
#include "tests/support/run_program.h"

namespace understudy::editor {
namespace {

class EditorQuality : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
    const ProgramRun made = runProgram({std::string(UNDERSTUDY_BINARY) + "/bin/understudy-cli", "finish", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb",
                                        "--prop", samples + "broom.glb", "--lead", "right", "--out", folder_->file("done"), "--no-pictures", "--quiet"});
    ASSERT_EQ(made.exitCode, 0) << made.err;
  }
  static void TearDownTestSuite() { folder_.reset(); }
  static std::unique_ptr<TemporaryFolder> folder_;

  void open(double more) {
    words = std::make_unique<LongWords>(more);
    QCoreApplication::installTranslator(words.get());
    window = std::make_unique<MainWindow>();
    window->files().setAutosaveFolder(QString::fromStdString(folder_->file("autosave")));
    window->document().findings().setPatience(-1);
    window->show();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(window.get()));
    openReel();
  }
  void openReel() {
    window->document().clear();
    window->files().openPath(QString::fromStdString(folder_->file("done/result.reel")));
    settle();
    ASSERT_TRUE(window->document().evaluated() && window->document().evaluated()->complete());
    // Something on every lane and in every list.
    addToSet(window->document(), window->session(), SetKind::steps);
    lockSelection(window->document(), window->session());
    settle();
  }
  void TearDown() override {
    window.reset();
    if (words) QCoreApplication::removeTranslator(words.get());
    Appearance::instance().apply(Appearance::Kind::dark);
  }
  void settle() { ASSERT_TRUE(settled(*window, 120000)); }
  /// One repair of each kind there is in the demo, selected in turn.
  std::vector<std::uint64_t> oneOfEachKind() {
    std::vector<std::uint64_t> ids;
    std::set<std::size_t> kinds;
    for (const auto& repair : *window->document().take().repairs)
      if (kinds.insert(repair->action.index()).second) ids.push_back(repair->id);
    return ids;
  }
  void look(const QString& state, bool keys = false) {
    settle();
    lookAt(state, *window, keys);
  }
  void lookAt(const QString& state, QWidget& what, bool keys = false) {
    QCoreApplication::processEvents();
    const QImage picture = what.grab().toImage().convertToFormat(QImage::Format_RGB32);
    QStringList found = flawsOfTexts(what, picture, *words) + flawsOfTargets(what, picture);
    if (keys) found += flawsOfKeys(what);
    for (const QString& flaw : found) flaws << state + QStringLiteral(" · ") + flaw;
    if (const QString keep = qEnvironmentVariable("UNDERSTUDY_QUALITY_PICTURES"); !keep.isEmpty())
      picture.save(keep + QLatin1Char('/') + QString(state).remove(QRegularExpression(QStringLiteral("[/&|]"))).replace(QLatin1Char(' '), QLatin1Char('-')) + QStringLiteral(".png"));
  }
  /// A menu and those in it; they are filled as they open.
  void lookAtMenu(const QString& state, QMenu& menu) {
    menu.popup(window->mapToGlobal(QPoint(0, 0)));
    QCoreApplication::processEvents();
    if (!menu.isEmpty()) {
      QString name = menu.title();
      if (name.isEmpty() && menu.parentWidget()) name = menu.parentWidget()->accessibleName();
      for (const QString& flaw : flawsOfMenu(menu, window->height())) flaws << state + QStringLiteral(" · ") + flaw;
      lookAt(state + QStringLiteral(" menu ") + name.left(40), menu);
      for (QAction* action : menu.actions())
        if (action->menu()) lookAtMenu(state, *action->menu());
    }
    menu.close();
  }
  /// Every menu there is, of the bar and of buttons.
  void lookAtMenus(const QString& state) {
    QList<QPointer<QMenu>> menus;
    for (QMenu* menu : window->findChildren<QMenu*>())
      if (!qobject_cast<QMenu*>(menu->parentWidget())) menus << menu;
    for (const QPointer<QMenu>& menu : menus)
      if (menu) lookAtMenu(state, *menu);
    QCoreApplication::processEvents();
  }
  void lookAtDialogs(const QString& state, bool keys) {
    const auto at = [&](const QString& name, QDialog& dialog) {
      ASSERT_TRUE(QTest::qWaitForWindowExposed(&dialog));
      if (dialog.height() > 720 || dialog.width() > 1280) flaws << state + QStringLiteral(" · larger than the least screen: ") + name;
      lookAt(state + QLatin1Char(' ') + name, dialog, keys);
    };
    window->handOverDialog().open();
    at(QStringLiteral("hand over"), window->handOverDialog());
    window->handOverDialog().close();
    window->preferences().show();
    at(QStringLiteral("preferences"), window->preferences());
    window->preferences().close();
    window->help().show();
    for (int page = 0; page < window->help().pages().count(); ++page) {
      window->help().pages().setCurrentRow(page);
      at(QStringLiteral("help %1").arg(page + 1), window->help());
    }
    window->help().close();
    AuditionDialog& audition = window->audition();
    audition.open();
    audition.look(QString::fromStdString(clips()));
    for (JobLane& lane = audition.audition().lane(); lane.busy();) {
      QSignalSpy idle(&lane, &JobLane::idle);
      ASSERT_TRUE(idle.wait(120000));
    }
    at(QStringLiteral("audition"), audition);
    audition.close();
    // Asked before anything is lost.
    window->files().whenSafe([] {});
    auto* box = window->findChild<QMessageBox*>();
    ASSERT_TRUE(box);
    at(QStringLiteral("unsaved"), *box);
    delete box;
    window->findChild<ReelBar*>()->rename();
    auto* naming = window->findChild<QInputDialog*>();
    ASSERT_TRUE(naming);
    at(QStringLiteral("rename"), *naming);
    delete naming;
    QApplication::setActiveWindow(window.get());
    window->finder().ask();
    QTest::keyClicks(&window->finder(), QStringLiteral("fr"));
    QCoreApplication::processEvents();
    EXPECT_TRUE(window->finder().list().isVisible());
    if (window->finder().list().isVisible()) lookAt(state + QStringLiteral(" commands"), *window->finder().list().window());
    window->finder().list().hide();
    window->finder().clear();
    window->stage().setFocus();
  }
  /// What else the window can show: notes, markers, two takes, reference poses, messages, the tour, the empty window.
  void lookAtTheRest(const QString& state, bool keys) {
    window->session().setRepair(0);
    window->session().setFrame(40);
    ensureMarker(window->document(), 40);
    nameMarker(window->document(), ensureMarker(window->document(), 47), QStringLiteral("stroke"));
    Note note;
    note.text = "the broom leaves the floor";
    note.bone = "@leftHand";
    note.author = "Ada";
    window->document().edit(QStringLiteral("note"), addNote(window->document().take(), note));
    qobject_cast<QTabWidget*>(window->notes().parentWidget()->parentWidget())->setCurrentWidget(&window->notes());
    look(state + QStringLiteral(" notes"), keys);
    window->session().setLayout(StageLayout::references);
    window->session().select(Bone{Cast::character, window->document().map().character.joint(Role::leftUpperArm)});
    look(state + QStringLiteral(" references"));
    addTakeLike(window->document(), true);
    window->session().setLayout(StageLayout::twoTakes);
    look(state + QStringLiteral(" two takes"));
    window->document().undo();
    window->session().setLayout(StageLayout::sideBySide);
    window->document().tell(makeError(Fault::input, "The file holds neither motion nor skin", "gallery.txt", "Choose a capture with frames, or a character with a skinned mesh"));
    look(state + QStringLiteral(" message"));
    window->messages().dismiss();
    while (window->document().canUndo() && !window->document().take().markers->empty()) window->document().undo();
    settle();
  }
  void lookAtTheStart(const QString& state) {
    window->document().clear();
    look(state + QStringLiteral(" empty"));
    window->tour().start();
    settle();
    for (int step = 0; step < window->tour().steps(); ++step) {
      look(state + QStringLiteral(" tour %1").arg(step + 1));
      window->tour().next();
    }
    openReel();
  }
  /// A folder of one clip to try out.
  static std::string clips() {
    std::filesystem::create_directories(folder_->file("clips"));
    writeFile(folder_->file("clips/walk.bvh"), makeWalkBvh({.frames = 20}));
    return folder_->file("clips");
  }
  void lookAround(const QString& state, bool keys, bool every) {
    window->session().setRepair(0);
    window->session().setFrame(195);
    window->timeline().showCurves(false);
    auto* left = window->map().parentWidget()->parentWidget();
    auto* tabs = qobject_cast<QTabWidget*>(left);
    ASSERT_TRUE(tabs);
    tabs->setCurrentIndex(0);
    const auto& found = window->document().findings().findings();
    ASSERT_FALSE(found.empty());
    window->findings().choose(std::string(found.front().key));
    window->showStep(Step::repair);
    look(state + QStringLiteral(" findings"), keys);
    tabs->setCurrentIndex(1);
    window->session().select(Bone{Cast::character, window->document().map().character.joint(Role::leftHand)});
    window->timeline().showCurves(true);
    look(state + QStringLiteral(" match"), keys);
    window->timeline().showCurves(false);
    tabs->setCurrentIndex(2);
    look(state + QStringLiteral(" set"), keys);
    tabs->setCurrentIndex(0);
    // Forms are as wide in every size: all kinds in one, the longest in the others.
    std::vector<std::uint64_t> kinds = oneOfEachKind();
    if (!every) kinds.resize(1);
    for (const std::uint64_t id : kinds) {
      window->session().setRepair(id);
      look(state + QStringLiteral(" repair ") + QString::fromStdString(findRepair(window->document().take(), id)->kind()), keys && id == kinds.front());
    }
  }
  void all(double more) {
    open(more);
    if (qEnvironmentVariable("QT_SCALE_FACTOR") == QStringLiteral("2")) sizes.resize(1);
    for (const QSize size : sizes)
      for (const Appearance::Kind kind : {Appearance::Kind::dark, Appearance::Kind::light}) {
        window->resize(size);
        Appearance::instance().apply(kind);
        QCoreApplication::processEvents();
        lookAround(QStringLiteral("%1×%2 %3 +%4%").arg(size.width()).arg(size.height()).arg(kind == Appearance::Kind::dark ? QStringLiteral("dark") : QStringLiteral("light")).arg(more * 100),
                   more == 0 && size == sizes.front() && kind == Appearance::Kind::dark, size == sizes.front());
        if (size != sizes.front()) continue;
        // Dialogs and menus are as large in every window.
        const QString state = QStringLiteral("%1 +%2%").arg(kind == Appearance::Kind::dark ? QStringLiteral("dark") : QStringLiteral("light")).arg(more * 100);
        lookAtMenus(state);
        lookAtDialogs(state, more == 0 && kind == Appearance::Kind::dark);
        lookAtTheRest(state, more == 0 && kind == Appearance::Kind::dark);
        lookAtTheStart(state);
      }
    EXPECT_TRUE(flaws.isEmpty()) << flaws.size() << " flaws:\n" << flaws.join(QLatin1Char('\n')).toStdString();
  }

  std::vector<QSize> sizes{{1280, 720}, {1920, 1080}};
  std::unique_ptr<LongWords> words;
  std::unique_ptr<MainWindow> window;
  QStringList flaws;
};

std::unique_ptr<TemporaryFolder> EditorQuality::folder_;

TEST_F(EditorQuality, AllIsReadableAndWithinReach) { all(0); }
TEST_F(EditorQuality, SoItIsWithLongerWords) { all(0.4); }

// The factor holds for a whole program: these two run again in one of their own.
TEST(EditorQualityTwice, SoItIsAtTwiceTheScale) {
  if (qEnvironmentVariable("QT_SCALE_FACTOR") == QStringLiteral("2")) return;
  QProcess again;
  QProcessEnvironment environment = QProcessEnvironment::systemEnvironment();
  environment.insert(QStringLiteral("QT_SCALE_FACTOR"), QStringLiteral("2"));
  again.setProcessEnvironment(environment);
  again.setProcessChannelMode(QProcess::MergedChannels);
  again.start(QCoreApplication::applicationFilePath(), {QStringLiteral("--gtest_filter=EditorQuality.*")});
  ASSERT_TRUE(again.waitForFinished(600000));
  EXPECT_EQ(again.exitCode(), 0) << again.readAll().toStdString();
}

}  // namespace
}  // namespace understudy::editor
