// The editor's entry: options, a check that there is OpenGL to draw with, the window.
#include <QApplication>
#include <QCommandLineParser>
#include <QGuiApplication>
#include <QIcon>
#include <QOffscreenSurface>
#include <QOpenGLContext>
#include <QScreen>
#include <QSettings>
#include <QTextStream>
#include <QTimer>
#include <QElapsedTimer>
#include <algorithm>

#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "app/editor/window/picture_script.h"
#include "core/store/cache_folder.h"

namespace {

/// Empty where OpenGL 3.3 works; else what is wrong.
QString missingOpenGl() {
  QOpenGLContext context;
  if (!context.create()) return QStringLiteral("there is no OpenGL on this display (platform '%1')").arg(QGuiApplication::platformName());
  if (context.format().version() < qMakePair(3, 3))
    return QStringLiteral("OpenGL %1.%2 is too old; 3.3 is needed").arg(context.format().majorVersion()).arg(context.format().minorVersion());
  QOffscreenSurface surface;
  surface.create();
  if (!context.makeCurrent(&surface)) return QStringLiteral("OpenGL cannot be used on this display");
  return {};
}

}  // namespace

int main(int argc, char** argv) {
  using namespace understudy::editor;
  understudy::useCacheFolder(understudy::userCacheFolder());
  QTextStream err(stderr);
  if (qEnvironmentVariableIsEmpty("DISPLAY") && qEnvironmentVariableIsEmpty("WAYLAND_DISPLAY") && qEnvironmentVariableIsEmpty("QT_QPA_PLATFORM")) {
    bool help = false;
    for (int i = 1; i < argc; ++i) help = help || QString::fromLocal8Bit(argv[i]) == QLatin1String("--help");
    if (!help) {
      err << "understudy: there is no display. Start it in a desktop session, or with\n"
             "  xvfb-run -a -s \"-screen 0 1600x1000x24\" understudy\n"
             "The command line, understudy-cli, needs no display.\n";
      return 1;
    }
    qputenv("QT_QPA_PLATFORM", "offscreen");
  }
  askForStageFormat();
  QCoreApplication::setOrganizationName(QStringLiteral("understudy"));
  QCoreApplication::setApplicationName(QStringLiteral("understudy"));
  QCoreApplication::setApplicationVersion(QStringLiteral("0.1.0"));
  QApplication app(argc, argv);
  QCommandLineParser parser;
  parser.setApplicationDescription(QStringLiteral("Understudy: puts a captured performance on your own character.\n"
                                                  "FILE: a reel, a capture (BVH, FBX, glTF) or a character (glTF, FBX, Collada)."));
  parser.addHelpOption();
  parser.addVersionOption();
  parser.addPositionalArgument(QStringLiteral("FILE"), QStringLiteral("Files to open"), QStringLiteral("[FILE…]"));
  PictureScript::addOptions(parser);
  parser.process(app);
  if (const QString missing = missingOpenGl(); !missing.isEmpty()) {
    err << "understudy: " << missing << ". Install a driver (Debian: libgl1-mesa-dri) or start it on a display, for example with xvfb-run.\n";
    return 1;
  }
  app.setWindowIcon(QIcon(QStringLiteral(":/understudy/icons/app.svg")));
  PictureScript script(parser);
  const bool light = script.active() ? script.light() : QSettings().value(QStringLiteral("light"), false).toBool();
  Appearance::instance().apply(light ? Appearance::Kind::light : Appearance::Kind::dark);
  MainWindow window;
  script.prepare(window);
  window.show();
  for (const QString& file : parser.positionalArguments()) window.files().openPath(file);
  if (!script.active()) window.files().offerRecovery();
  script.start(window);
  return app.exec();
}
