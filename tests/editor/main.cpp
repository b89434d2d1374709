// Runs the editor's tests on a real display (Xvfb in scripts): one QApplication, settings in a folder of their own.
#include <gtest/gtest.h>

#include <QApplication>
#include <QStandardPaths>
#include <QTemporaryDir>

#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"

int main(int argc, char** argv) {
  ::testing::InitGoogleTest(&argc, argv);
  if (::testing::GTEST_FLAG(list_tests)) return RUN_ALL_TESTS();
  QTemporaryDir settings;
  qputenv("XDG_CONFIG_HOME", settings.path().toLocal8Bit());
  qputenv("XDG_DATA_HOME", settings.path().toLocal8Bit());
  understudy::editor::askForStageFormat();
  QCoreApplication::setOrganizationName(QStringLiteral("understudy-tests"));
  QCoreApplication::setApplicationName(QStringLiteral("understudy"));
  QCoreApplication::setAttribute(Qt::AA_DontUseNativeDialogs);
  QApplication app(argc, argv);
  understudy::editor::Appearance::instance().apply(understudy::editor::Appearance::Kind::dark);
  return RUN_ALL_TESTS();
}
