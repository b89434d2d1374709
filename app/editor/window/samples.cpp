#include "app/editor/window/samples.h"

#include <QCoreApplication>
#include <QDir>
#include <QFileInfo>

namespace understudy::editor {

QString sampleFolder() {
  const QString beside = QCoreApplication::applicationDirPath();
  // Named, installed, unpacked beside the program, or in the tree it was built in.
  for (const QString& folder : {qEnvironmentVariable("UNDERSTUDY_SAMPLES"), beside + QStringLiteral("/../share/understudy/samples"), beside + QStringLiteral("/samples"),
                                beside + QStringLiteral("/../../../samples")})
    if (!folder.isEmpty() && QFileInfo::exists(folder + QStringLiteral("/keeper.glb"))) return QDir::cleanPath(QDir(folder).absolutePath());
  return {};
}

}  // namespace understudy::editor
