// How quick the editor is, measured from outside by events: the stage while it moves, a bone that is dragged, a long timeline, every
// handler of the window's thread, and auditions. Needs a display (xvfb-run) and prints what it finds; LP_NUM_THREADS=1 for one core.
#include <QApplication>
#include <QEventLoop>
#include <QElapsedTimer>
#include <QMouseEvent>
#include <QSignalSpy>
#include <QStandardPaths>
#include <QTemporaryDir>
#include <QTest>
#include <QScopeGuard>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <map>

#include "app/editor/document/audition.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/lanes_view.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/take/edits.h"
#include "tests/editor/idle.h"
#include "tests/support/fixtures.h"

namespace understudy::editor {
namespace {

double milliseconds(const QElapsedTimer& timer) { return static_cast<double>(timer.nsecsElapsed()) * 1e-6; }

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(q * static_cast<double>(values.size() - 1))];
}

/// One thing that was done: how long it took, and how long all threads of the program worked for it; milliseconds. On a machine that
/// others use as well only the second tells how quick the program is.
class Span {
 public:
  Span() { timer_.start(); }
  [[nodiscard]] double passed() const { return milliseconds(timer_); }
  [[nodiscard]] double worked() const { return processor() - from_; }

 private:
  static double processor() {
    timespec now{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) * 1e-6;
  }
  QElapsedTimer timer_;
  double from_ = processor();
};

struct Times {
  std::vector<double> passed, worked;
  void add(const Span& span) {
    passed.push_back(span.passed());
    worked.push_back(span.worked());
  }
};

void say(const char* what, const Times& times, const char* bar) {
  const double median = quantile(times.passed, 0.5);
  std::printf("%-56s median %7.2f ms  p95 %7.2f  worst %7.2f  = %6.1f a second  (%s); processor %6.2f ms = %5.1f a second\n", what, median, quantile(times.passed, 0.95), quantile(times.passed, 1),
              1000 / std::max(1e-6, median), bar, quantile(times.worked, 0.5), 1000 / std::max(1e-6, quantile(times.worked, 0.5)));
  std::fflush(stdout);
}

/// Times every event the window's thread handles; those of the picture itself apart.
class Watched : public QApplication {
 public:
  Watched(int& argc, char** argv) : QApplication(argc, argv) {}
  bool notify(QObject* receiver, QEvent* event) override {
    if (depth_ > 0 || !watching) return QApplication::notify(receiver, event);
    ++depth_;
    const QEvent::Type type = event->type();
    const std::string name = std::string(receiver->metaObject()->className()) + " · event " + std::to_string(static_cast<int>(type));
    QElapsedTimer timer;
    timer.start();
    drawing = 0;
    const bool done = QApplication::notify(receiver, event);
    --depth_;
    const double own = milliseconds(timer) - drawing;
    double& worst = (drawing > 0 ? painted : handled)[name];
    worst = std::max(worst, own);
    return done;
  }
  bool watching = false;
  double drawing = 0;                       ///< milliseconds of OpenGL within the event under way
  std::map<std::string, double> handled, painted;

 private:
  int depth_ = 0;
};

class Figures {
 public:
  explicit Figures(Watched& app) : app_(app) {}

  void settle(MainWindow& window) {
    if (!settled(window, 600000)) qFatal("A job did not end");
  }
  std::unique_ptr<MainWindow> open(const std::vector<std::string>& files, QSize size) {
    auto window = std::make_unique<MainWindow>();
    window->files().setAutosaveFolder(QString::fromStdString(folder_.file("autosave")));
    window->resize(size);
    window->show();
    (void)QTest::qWaitForWindowExposed(window.get());
    for (const std::string& file : files) window->files().openPath(QString::fromStdString(file));
    settle(*window);
    return window;
  }
  /// Draws once and waits for it.
  void drawn(StageWidget& stage) {
    QEventLoop loop;
    const auto done = QObject::connect(&stage, &StageWidget::drawn, &loop, &QEventLoop::quit);
    stage.update();
    loop.exec();
    QObject::disconnect(done);
  }

  /// The demo's character with its triangles divided until there are 30,000, and 80 bones.
  std::string heavyCharacter() {
    const auto read = readFigure(std::string(UNDERSTUDY_SOURCE) + "/samples/keeper.glb");
    if (!read) return {};
    Figure figure = read.value();
    std::size_t triangles = 0;
    for (const Mesh& mesh : figure.meshes) triangles += mesh.indices.size() / 3;
    // A triangle becomes two with the same corners, one turned: as much to draw, the same to see.
    for (Mesh& mesh : figure.meshes) {
      const std::size_t own = mesh.indices.size();
      for (std::size_t i = 0; i + 2 < own && triangles < 30000; i += 3, ++triangles)
        for (std::size_t k : {1U, 2U, 0U}) mesh.indices.push_back(mesh.indices[i + k]);
      for (std::size_t i = 0; i + 2 < own && triangles < 30000; i += 3, ++triangles)
        for (std::size_t k : {2U, 0U, 1U}) mesh.indices.push_back(mesh.indices[i + k]);
    }
    const int leaf = figure.skeleton.size() - 1;
    while (figure.skeleton.size() < 80) figure.skeleton.add("hair" + std::to_string(figure.skeleton.size()), leaf, {{0, 0.01, 0}, {}, {1, 1, 1}}, -1);
    Motion still;
    still.frames = 1;
    still.joints = figure.skeleton.size();
    for (const Trsd& rest : figure.skeleton.rest) still.rotations.emplace_back(rest.rotation);
    const std::string path = folder_.file("heavy.glb");
    BakedClip clip;
    clip.motion = &still;
    clip.rotated = {0};
    std::printf("character: %zu triangles, %d nodes\n", triangles, figure.skeleton.size());
    if (const Status written = writeNewGlb(figure, clip, path); !written) std::printf("cannot write the character: %s\n", written.error().text().c_str());
    return path;
  }

  void stage() {
    const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
    auto window = open({samples + "sweep.bvh", heavyCharacter()}, {1900, 1150});
    StageWidget& stage = window->stage();
    stage.setParent(nullptr);
    // It goes with its window.
    const auto back = qScopeGuard([&] { stage.setParent(window.get()); });
    stage.resize(1280, 720);
    stage.show();
    (void)QTest::qWaitForWindowExposed(&stage);
    Session& session = window->session();
    session.setLayout(StageLayout::characterAlone);
    drawn(stage);
    Times times;
    for (int f = 1; f < 160; ++f) {
      const Span span;
      session.setFrame(f);
      drawn(stage);
      times.add(span);
    }
    say("stage 1280 × 720, 30,000 triangles, 80 bones, moving", times, "at least 25");
    times = {};
    session.setLayout(StageLayout::sideBySide);
    for (int f = 1; f < 80; ++f) {
      const Span span;
      session.setFrame(f);
      drawn(stage);
      times.add(span);
    }
    say("the same with the performer beside it", times, "at least 25");
    // The mouse over the figure, nothing else: a look under each point.
    times = {};
    session.setFrame(20);
    drawn(stage);
    const auto hips = stage.pointOf({Cast::character, window->document().map().character.joint(Role::hips)});
    for (int i = 0; i < 200 && hips; ++i) {
      const QPointF at = *hips + QPointF(60 * std::cos(i * 0.31), 160 * std::sin(i * 0.17));
      QMouseEvent move(QEvent::MouseMove, at, stage.mapToGlobal(at), Qt::NoButton, Qt::NoButton, Qt::NoModifier);
      const Span span;
      QApplication::sendEvent(&stage, &move);
      times.add(span);
    }
    say("mouse over the figure", times, "each below 16 ms");
    // A bone by its ring: from each move of the mouse to the picture of the new pose.
    session.setLayout(StageLayout::characterAlone);
    const int arm = window->document().map().character.joint(Role::leftUpperArm);
    session.select(Bone{Cast::character, arm});
    drawn(stage);
    const auto ring = stage.ringPoint(3);
    const auto centre = stage.pointOf({Cast::character, arm});
    times = {};
    if (ring && centre) {
      QTest::mousePress(&stage, Qt::LeftButton, Qt::NoModifier, ring->toPoint());
      const QPointF out = *ring - *centre;
      for (int i = 1; i <= 90; ++i) {
        const double a = 0.6 * std::sin(i * 0.12);
        const QPointF at = *centre + QPointF(out.x() * std::cos(a) - out.y() * std::sin(a), out.x() * std::sin(a) + out.y() * std::cos(a));
        const Span span;
        QMouseEvent move(QEvent::MouseMove, at, stage.mapToGlobal(at), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
        QApplication::sendEvent(&stage, &move);
        while (window->document().evaluating()) QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
        drawn(stage);
        times.add(span);
      }
      QTest::mouseRelease(&stage, Qt::LeftButton, Qt::NoModifier, ring->toPoint());
    }
    say("a bone dragged: mouse to picture", times, "at least 25");
  }

  void timeline() {
    const std::string walk = folder_.file("long.bvh"), stick = folder_.file("stick.glb");
    writeFile(walk, makeWalkBvh({.frames = 36000}));
    writeFile(stick, makeStickCharacterGlb());
    auto window = open({walk, stick}, {1900, 1000});
    Document& document = window->document();
    Take take = document.take();
    const auto evaluated = document.evaluated();
    if (!evaluated) return;
    for (int i = 0; i < 1200; ++i) {
      Repair repair;
      repair.span = TimeRange{evaluated->rate.seconds(i * 30), evaluated->rate.seconds(i * 30 + 18)};
      PlantRepair plant;
      plant.part = i % 2 ? PlantPart::leftFoot : PlantPart::rightFoot;
      repair.action = plant;
      repair.muted = true;
      take = addRepair(take, repair);
    }
    document.edit(QStringLiteral("plants"), take);
    settle(*window);
    LanesView& lanes = window->timeline().lanes();
    std::printf("timeline of %d frames, %zu findings, %zu repairs\n", window->session().frames(), document.findings().findings().size(), document.take().repairs->size());
    window->stage().hide();
    Times times;
    for (int i = 0; i < 400; ++i) {
      window->session().setFrame((i * 7919) % 36000);
      const Span span;
      (void)lanes.grab();
      times.add(span);
    }
    say("timeline of 36,000 frames, the playhead moving", times, "at least 60");
    times = {};
    for (int i = 0; i < 200; ++i) {
      window->timeline().scale().zoom(i % 40 < 20 ? 0.8 : 1.25, 200 + 5 * i);
      const Span span;
      (void)lanes.grab();
      times.add(span);
    }
    say("the same, zoomed and scrolled", times, "at least 60");
  }

  /// A while of work on the demo: what handler takes longest.
  void handlers() {
    const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
    auto window = open({samples + "sweep.bvh", samples + "keeper.glb", samples + "broom.glb"}, {1440, 900});
    QElapsedTimer drawing;
    Session& session = window->session();
    StageWidget& stage = window->stage();
    QObject::connect(&stage, &StageWidget::drawing, &stage, [&] { drawing.start(); });
    QObject::connect(&stage, &StageWidget::drawn, &stage, [&] { app_.drawing += drawing.isValid() ? milliseconds(drawing) : 0; });
    app_.watching = true;
    const auto move = [&](QWidget& widget, QPointF at, Qt::MouseButtons buttons) {
      QMouseEvent event(QEvent::MouseMove, at, widget.mapToGlobal(at), Qt::NoButton, buttons, Qt::NoModifier);
      QApplication::sendEvent(&widget, &event);
      QCoreApplication::processEvents();
    };
    for (int f = 0; f < 400; f += 9) session.setFrame(f), QCoreApplication::processEvents();
    for (int i = 0; i < 150; ++i) move(stage, {stage.width() * 0.5 + 160 * std::sin(i * 0.13), stage.height() * 0.55 + 140 * std::sin(i * 0.21)}, Qt::NoButton);
    session.select(Bone{Cast::character, window->document().map().character.joint(Role::rightUpperArm)});
    drawn(stage);
    if (const auto ring = stage.ringPoint(3)) {
      QTest::mousePress(&stage, Qt::LeftButton, Qt::NoModifier, ring->toPoint());
      for (int i = 1; i <= 40; ++i) move(stage, *ring + QPointF(i, i / 2.0), Qt::LeftButton);
      QTest::mouseRelease(&stage, Qt::LeftButton, Qt::NoModifier, ring->toPoint());
    }
    settle(*window);
    for (int i = 0; i < 8; ++i) {
      QTest::keyClick(window.get(), Qt::Key_E);
      settle(*window);
    }
    QTest::keyClick(window.get(), Qt::Key_X);
    settle(*window);
    LanesView& lanes = window->timeline().lanes();
    QTest::mousePress(&lanes, Qt::LeftButton, Qt::NoModifier, {200, 10});
    for (int i = 0; i < 60; ++i) move(lanes, {200.0 + 8 * i, 10}, Qt::LeftButton);
    QTest::mouseRelease(&lanes, Qt::LeftButton, Qt::NoModifier, {680, 10});
    QTest::keyClick(window.get(), Qt::Key_C);
    settle(*window);
    for (int f = 0; f < 200; f += 9) session.setFrame(f), QCoreApplication::processEvents();
    QTest::keyClick(window.get(), Qt::Key_C);
    QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier);
    settle(*window);
    app_.watching = false;
    tell();
  }

  /// 36,000 frames worked by hand: scrubbed, zoomed, a plant's edge dragged, a bone nudged, and all of it taken back.
  void longClip() {
    const std::string walk = folder_.file("long.bvh"), stick = folder_.file("stick.glb");
    writeFile(walk, makeWalkBvh({.frames = 36000}));
    writeFile(stick, makeStickCharacterGlb());
    QElapsedTimer loading;
    loading.start();
    auto window = open({walk, stick}, {1440, 900});
    std::printf("36,000 frames loaded and looked at after %.1f s\n", milliseconds(loading) / 1000);
    Session& session = window->session();
    StageWidget& stage = window->stage();
    LanesView& lanes = window->timeline().lanes();
    QElapsedTimer drawing;
    QObject::connect(&stage, &StageWidget::drawing, &stage, [&] { drawing.start(); });
    QObject::connect(&stage, &StageWidget::drawn, &stage, [&] { app_.drawing += drawing.isValid() ? milliseconds(drawing) : 0; });
    app_.handled.clear();
    app_.painted.clear();
    app_.watching = true;
    const auto drag = [&](QWidget& widget, QPointF from, QPointF by, int steps) {
      QTest::mousePress(&widget, Qt::LeftButton, Qt::NoModifier, from.toPoint());
      for (int i = 1; i <= steps; ++i) {
        const QPointF at = from + by * (static_cast<double>(i) / steps);
        QMouseEvent event(QEvent::MouseMove, at, widget.mapToGlobal(at), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
        QApplication::sendEvent(&widget, &event);
        QCoreApplication::processEvents();
      }
      QTest::mouseRelease(&widget, Qt::LeftButton, Qt::NoModifier, (from + by).toPoint());
    };
    drag(lanes, {200, 10}, {600, 0}, 60);
    for (int i = 0; i < 24; ++i) {
      const QPointF at(500, 30);
      QWheelEvent wheel(at, lanes.mapToGlobal(at), QPoint(), QPoint(0, i < 16 ? 120 : -120), Qt::NoButton, Qt::ControlModifier, Qt::NoScrollPhase, false);
      QApplication::sendEvent(&lanes, &wheel);
      QCoreApplication::processEvents();
    }
    const auto until = [&](const char* what, const auto& run) {
      const Span span;
      run();
      while (window->document().evaluating()) QCoreApplication::processEvents(QEventLoop::WaitForMoreEvents);
      drawn(stage);
      std::printf("  %-32s %7.0f ms until it is seen, processor %7.0f ms\n", what, span.passed(), span.worked());
      settle(*window);
    };
    const SkeletonMap& roles = window->document().map().character;
    session.select(Bone{Cast::character, roles.joint(Role::leftFoot)});
    const auto kind = static_cast<std::size_t>(std::find(repairKinds().begin(), repairKinds().end(), "plant") - repairKinds().begin());
    until("a plant", [&] { window->repairs().add(kind); });
    if (const auto edge = lanes.gripOf(session.repair(), SpanPart::last))
      until("its edge dragged", [&] { drag(lanes, *edge, {30, 0}, 20); });
    session.select(Bone{Cast::character, roles.joint(Role::leftUpperArm)});
    drawn(stage);
    if (const auto ring = stage.ringPoint(3)) until("a bone nudged by its ring", [&] { drag(stage, *ring, {30, 15}, 20); });
    for (int i = 0; i < 3; ++i) until("undo", [&] { QTest::keyClick(window.get(), Qt::Key_Z, Qt::ControlModifier); });
    app_.watching = false;
    tell();
  }

  void audition() {
    const std::string clips = folder_.file("clips");
    QDir().mkpath(QString::fromStdString(clips));
    for (int i = 0; i < 20; ++i) writeFile(clips + "/walk" + std::to_string(i) + ".bvh", makeWalkBvh({.frames = 300 + 10 * i}));
    const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
    auto window = open({samples + "sweep.bvh", samples + "keeper.glb"}, {1440, 900});
    Audition audition(window->document());
    QElapsedTimer timer;
    double first = 0;
    int pictures = 0;
    QObject::connect(&audition, &Audition::added, &audition, [&](int row) {
      pictures += !audition.clips()[static_cast<std::size_t>(row)].loop.empty();
      if (first == 0 && pictures > 0) first = milliseconds(timer);
      if (pictures == 20) std::printf("audition: 20 clips have a picture after %.2f s\n", milliseconds(timer) / 1000);
    });
    timer.start();
    audition.start(QString::fromStdString(clips));
    QSignalSpy idle(&audition.lane(), &JobLane::idle);
    if (audition.lane().busy()) idle.wait(120000);
    std::printf("audition: first picture after %.2f s (at most 1), 20 clips whole after %.2f s (at most 10)\n", first / 1000, milliseconds(timer) / 1000);
  }

 private:
  void tell() {
    const auto list = [](const char* title, const std::map<std::string, double>& all) {
      std::vector<std::pair<double, std::string>> worst;
      for (const auto& [name, ms] : all) worst.emplace_back(ms, name);
      std::sort(worst.rbegin(), worst.rend());
      std::printf("%s\n", title);
      for (std::size_t i = 0; i < std::min<std::size_t>(8, worst.size()); ++i) std::printf("  %7.2f ms  %s\n", worst[i].first, worst[i].second.c_str());
    };
    list("longest handlers of the window's thread (each below 16 ms)", app_.handled);
    list("the rest of events that drew the stage, without its OpenGL", app_.painted);
    std::fflush(stdout);
  }
  Watched& app_;
  TemporaryFolder folder_;
};

}  // namespace
}  // namespace understudy::editor

int main(int argc, char** argv) {
  QTemporaryDir settings;
  qputenv("XDG_CONFIG_HOME", settings.path().toLocal8Bit());
  understudy::editor::askForStageFormat();
  QCoreApplication::setOrganizationName(QStringLiteral("understudy-figures"));
  QCoreApplication::setApplicationName(QStringLiteral("understudy"));
  understudy::editor::Watched app(argc, argv);
  understudy::editor::Appearance::instance().apply(understudy::editor::Appearance::Kind::dark);
  understudy::editor::Figures figures(app);
  const QString only = argc > 1 ? QString::fromLocal8Bit(argv[1]) : QString();
  if (only.isEmpty() || only == QLatin1String("stage")) figures.stage();
  if (only.isEmpty() || only == QLatin1String("timeline")) figures.timeline();
  if (only.isEmpty() || only == QLatin1String("handlers")) figures.handlers();
  if (only.isEmpty() || only == QLatin1String("long")) figures.longClip();
  if (only.isEmpty() || only == QLatin1String("audition")) figures.audition();
  return 0;
}
