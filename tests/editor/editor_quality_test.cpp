// The whole window in many sizes, both lights and longer words: nothing cut, nothing covered, all of it readable, large enough to hit,
// and within reach of the keyboard. UNDERSTUDY_QUALITY_PICTURES=FOLDER keeps a picture of each.
#include <gtest/gtest.h>

#include <QProcess>
#include <QScreen>
#include <QTabWidget>

#include "app/editor/document/set_and_locks.h"
#include "app/editor/look/appearance.h"
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
    window->show();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(window.get()));
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
  void settle() { ASSERT_TRUE(settled(*window, 60000)); }
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
    QCoreApplication::processEvents();
    const QImage picture = window->grab().toImage();
    QStringList found = flawsOfTexts(*window, picture, *words) + flawsOfTargets(*window, picture);
    if (keys) found += flawsOfKeys(*window);
    for (const QString& flaw : found) flaws << state + QStringLiteral(" · ") + flaw;
    if (const QString keep = qEnvironmentVariable("UNDERSTUDY_QUALITY_PICTURES"); !keep.isEmpty()) picture.save(keep + QLatin1Char('/') + QString(state).replace(QLatin1Char(' '), QLatin1Char('-')) + QStringLiteral(".png"));
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
  ASSERT_TRUE(again.waitForFinished(240000));
  EXPECT_EQ(again.exitCode(), 0) << again.readAll().toStdString();
}

}  // namespace
}  // namespace understudy::editor
