// What an empty window says: how to begin, the demo, and the reels of late with their pictures.
#pragma once

#include <QFrame>

#include "app/editor/document/document.h"

class QBoxLayout;
class QLabel;
class QListWidget;
class QPushButton;

namespace understudy::editor {

/// Keeps a small picture of a reel for the list of recent ones.
void keepThumbnail(const QString& reel, const QImage& picture);
[[nodiscard]] QImage thumbnailOf(const QString& reel);

class Welcome : public QFrame {
  Q_OBJECT
 public:
  /// Lies over `over` as long as the document has neither performer nor character.
  Welcome(Document& document, QWidget* over);
  [[nodiscard]] QListWidget& recent() { return *recent_; }
  [[nodiscard]] QPushButton& demoButton() { return *demo_; }
  /// Keeps out of the lower pixels of what it lies over: a message stands there.
  void setCovered(int height);

 Q_SIGNALS:
  void openAsked();
  void auditionAsked();
  void demoAsked();
  void tourAsked();
  void fileAsked(const QString& file);

 protected:
  bool event(QEvent* event) override;
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void refresh();
  void fill();
  void place();
  Document& document_;
  QWidget* over_;
  QLabel *title_, *what_, *heading_;
  QListWidget* recent_;
  QBoxLayout* rows_;
  QPushButton *demo_, *tour_;
  QString listed_;
  int covered_ = 0;
};

}  // namespace understudy::editor
