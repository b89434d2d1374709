// Files as people handle them: opening, saving, recent ones, autosave and recovery, leaving without loss.
#pragma once

#include <QObject>
#include <QStringList>
#include <QTimer>
#include <functional>
#include <optional>

#include "app/editor/document/document.h"

class QMenu;
class QWidget;

namespace understudy::editor {

class MessageBar;

class FileKeeper : public QObject {
  Q_OBJECT
 public:
  FileKeeper(Document& document, MessageBar& messages, QWidget* window);
  ~FileKeeper() override;

  void newReel();
  /// Asks for a file that becomes a prop of the take.
  void askProp();
  /// Asks for the name of a video, or of a folder of pictures.
  void askPreview();
  void askOpen(std::optional<Cast> as = {});
  void openPath(const QString& path, std::optional<Cast> as = {});
  void save(std::function<void()> after = {});
  void saveAs(std::function<void()> after = {});
  /// Runs `go` at once where nothing is unsaved, else asks first.
  void whenSafe(std::function<void()> go);
  void fillRecent(QMenu& menu);
  /// Offers the newest reel of a run that did not end properly.
  void offerRecovery();
  void setAutosaveFolder(const QString& folder) { folder_ = folder; }
  [[nodiscard]] QString autosaveFolder() const { return folder_; }
  void autosaveNow();

 Q_SIGNALS:
  void saved(const QString& path);

 private:
  void remember(const QString& path);
  Document& document_;
  MessageBar& messages_;
  QWidget* window_;
  QString folder_, session_;
  Reel autosaved_;
  QTimer timer_;
};

}  // namespace understudy::editor
