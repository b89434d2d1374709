#include "app/editor/window/file_keeper.h"

#include <QDateTime>
#include <QDir>
#include <QFileDialog>
#include <QFileInfo>
#include <QMenu>
#include <QMessageBox>
#include <QPushButton>
#include <QSettings>
#include <QStandardPaths>

#include "app/editor/document/preview_writer.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/panels/bars.h"
#include "core/store/autosave.h"
#include "core/take/take.h"

namespace understudy::editor {
namespace {

constexpr int recentLimit = 10;
const char* const recentKey = "recentFiles";

}  // namespace

FileKeeper::FileKeeper(Document& document, MessageBar& messages, QWidget* window)
    : QObject(window), document_(document), messages_(messages), window_(window), session_(QString::fromStdString(newSessionName())) {
  folder_ = QStandardPaths::writableLocation(QStandardPaths::AppLocalDataLocation) + QStringLiteral("/autosave");
  timer_.setInterval(15000);
  connect(&timer_, &QTimer::timeout, this, &FileKeeper::autosaveNow);
  timer_.start();
  connect(&document, &Document::opened, this, &FileKeeper::remember);
}

FileKeeper::~FileKeeper() { discardAutosave(folder_.toStdString(), session_.toStdString()); }

void FileKeeper::autosaveNow() {
  if (!document_.modified() || autosaved_ == document_.reel()) return;
  const Status status = autosave(folder_.toStdString(), session_.toStdString(), document_.reel(), document_.path().toStdString());
  if (status)
    autosaved_ = document_.reel();
  else
    messages_.show(makeWarning("The reel could not be autosaved: " + status.error().what, status.error().where, status.error().todo));
}

void FileKeeper::offerRecovery() {
  for (const Recovery& recovery : findRecoveries(folder_.toStdString())) {
    if (recovery.running || recovery.session == session_.toStdString()) continue;
    const QString when = QLocale().toString(QDateTime::fromSecsSinceEpoch(recovery.savedAt), QLocale::ShortFormat);
    const QString what = recovery.reelPath.empty() ? tr("a reel that was never saved") : QFileInfo(QString::fromStdString(recovery.reelPath)).fileName();
    messages_.offer(tr("The editor did not end properly. Unsaved changes of %1 from %2 were kept.").arg(what, when), tr("Recover"),
                    [this, recovery] {
                      Issues issues;
                      const auto reel = recover(recovery, &issues);
                      if (!reel) return messages_.show(reel.error());
                      document_.restore(reel.value(), QString::fromStdString(recovery.reelPath));
                      discardAutosave(folder_.toStdString(), recovery.session);
                      for (const Issue& issue : issues) messages_.show(issue);
                    },
                    [this, recovery] { discardAutosave(folder_.toStdString(), recovery.session); });
    return;
  }
}

void FileKeeper::newReel() {
  whenSafe([this] { document_.clear(); });
}

void FileKeeper::askOpen(std::optional<Cast> as) {
  const QString title = !as ? tr("Open") : *as == Cast::performer ? tr("Choose the performer") : tr("Choose the character");
  const QString filter = as ? tr("Motion and models (*.bvh *.fbx *.glb *.gltf *.vrm *.vrma *.dae);;All files (*)")
                            : tr("All that can be opened (*.reel *.bvh *.fbx *.glb *.gltf *.vrm *.vrma *.dae);;Reels (*.reel);;All files (*)");
  const QString folder = QSettings().value(QStringLiteral("lastFolder")).toString();
  const QString file = QFileDialog::getOpenFileName(window_, title, folder, filter);
  if (!file.isEmpty()) openPath(file, as);
}

void FileKeeper::askProp() {
  const QString file = QFileDialog::getOpenFileName(window_, tr("Choose a prop"), QSettings().value(QStringLiteral("lastFolder")).toString(),
                                                    tr("Models (*.glb *.gltf *.fbx *.dae *.obj);;All files (*)"));
  if (!file.isEmpty()) document_.props().add(file);
}

void FileKeeper::askPreview() {
  const QString start = QSettings().value(QStringLiteral("lastFolder")).toString() + QStringLiteral("/preview.mp4");
  const QString file = QFileDialog::getSaveFileName(window_, tr("Write a preview: a video, or a folder of pictures"), start,
                                                    tr("Video (*.mp4 *.mov *.mkv *.webm *.gif);;Folder of pictures (*)"));
  if (!file.isEmpty()) writePreview(document_, file);
}

void FileKeeper::openPath(const QString& path, std::optional<Cast> as) {
  if (path.endsWith(QLatin1String(".reel"), Qt::CaseInsensitive))
    whenSafe([this, path] { document_.open(path); });
  else
    document_.open(path, as);
}

void FileKeeper::save(std::function<void()> after) {
  if (document_.path().isEmpty()) return saveAs(std::move(after));
  if (!document_.save(document_.path())) return;
  remember(document_.path());
  Q_EMIT saved(document_.path());
  discardAutosave(folder_.toStdString(), session_.toStdString());
  if (after) after();
}

void FileKeeper::saveAs(std::function<void()> after) {
  const QString start = document_.path().isEmpty() ? QSettings().value(QStringLiteral("lastFolder")).toString() + QStringLiteral("/untitled.reel") : document_.path();
  QString file = QFileDialog::getSaveFileName(window_, tr("Save reel"), start, tr("Reels (*.reel)"));
  if (file.isEmpty()) return;
  if (QFileInfo(file).suffix().isEmpty()) file += QStringLiteral(".reel");
  if (!document_.save(file)) return;
  remember(file);
  Q_EMIT saved(file);
  discardAutosave(folder_.toStdString(), session_.toStdString());
  if (after) after();
}

void FileKeeper::whenSafe(std::function<void()> go) {
  const Reel& reel = document_.reel();
  if (!document_.modified() || reel == understudy::newReel()) return go();
  auto* box = new QMessageBox(QMessageBox::NoIcon, tr("Unsaved changes"), tr("The reel has changes that are not saved."), QMessageBox::NoButton, window_);
  box->setAttribute(Qt::WA_DeleteOnClose);
  auto* keep = box->addButton(tr("Save"), QMessageBox::AcceptRole);
  auto* drop = box->addButton(tr("Discard"), QMessageBox::DestructiveRole);
  box->addButton(tr("Go back"), QMessageBox::RejectRole);
  box->setDefaultButton(qobject_cast<QPushButton*>(keep));
  connect(box, &QMessageBox::buttonClicked, this, [this, keep, drop, go](QAbstractButton* button) {
    if (static_cast<QObject*>(button) == keep) save(go);
    if (static_cast<QObject*>(button) == drop) go();
  });
  box->open();
}

void FileKeeper::remember(const QString& path) {
  QSettings settings;
  QStringList recent = settings.value(QLatin1String(recentKey)).toStringList();
  const QString file = QFileInfo(path).absoluteFilePath();
  recent.removeAll(file);
  recent.prepend(file);
  while (recent.size() > recentLimit) recent.removeLast();
  settings.setValue(QLatin1String(recentKey), recent);
  settings.setValue(QStringLiteral("lastFolder"), QFileInfo(path).absolutePath());
}

void FileKeeper::fillRecent(QMenu& menu) {
  menu.clear();
  const QStringList recent = QSettings().value(QLatin1String(recentKey)).toStringList();
  for (const QString& file : recent) {
    QAction* action = menu.addAction(QFileInfo(file).fileName(), this, [this, file] { openPath(file); });
    action->setToolTip(file);
    action->setEnabled(QFileInfo::exists(file));
  }
  if (recent.isEmpty()) menu.addAction(tr("No files yet"))->setEnabled(false);
}

}  // namespace understudy::editor
