// Help: pages with pictures of the program, and the keys as they are set now.
#pragma once

#include <QDialog>

class QListWidget;
class QTextBrowser;

namespace understudy::editor {

class Actions;

class HelpDialog : public QDialog {
  Q_OBJECT
 public:
  HelpDialog(const Actions& actions, QWidget* parent = nullptr);
  /// Shows a page by its file's name without ending; "keys" is made when asked for.
  void showPage(const QString& name);
  [[nodiscard]] QTextBrowser& page() { return *page_; }
  [[nodiscard]] QListWidget& pages() { return *pages_; }
  /// Every command with its key, by menu, as HTML.
  [[nodiscard]] QString keysPage() const;

 private:
  const Actions& actions_;
  QListWidget* pages_;
  QTextBrowser* page_;
};

}  // namespace understudy::editor
